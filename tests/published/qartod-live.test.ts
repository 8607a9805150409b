/** The live form of the quality tests: the same flags as the series form, bounded memory, nothing altered in place. */
import fc from 'fast-check'
import { expect, test } from 'vitest'
import type { CheckRow } from '../../gateway/intake/qartod-series.ts'
import * as series from '../../gateway/intake/qartod-series.ts'
import type { CheckSpec } from '../../gateway/intake/qartod-spec.ts'
import * as stream from '../../gateway/intake/qartod-stream.ts'
import { checkRow, unchecked, type CheckState } from '../../gateway/intake/qartod-stream.ts'
import { flagOf, summary, TESTS, withFlag, worthOf, type TestName } from '../../gateway/intake/qartod.ts'
import type { QcFlag } from '../../gateway/site/reading.ts'
import { bare, flatSpec, rowsOf } from './qartod-cases.ts'
import { liveFlags } from './qartod-forms.ts'

const NOW = 1_772_438_400_000
const MIN = 60_000
const HOUR = 3_600_000

const told = (tests: number): Record<string, QcFlag | null> => Object.fromEntries(TESTS.map((t) => [t, flagOf(tests, t)]))
const liveOf = (rows: readonly CheckRow[], spec: CheckSpec, name: TestName): readonly (QcFlag | null)[] => liveFlags({ stream }, rows, spec).map((t) => flagOf(t, name))

/** Rows a loop may send: mostly on the minute, some holes, some without a figure, some a sensor cannot report. */
const step = fc.oneof(
  { weight: 8, arbitrary: fc.constant(MIN) },
  { weight: 2, arbitrary: fc.integer({ min: 1, max: 3 * MIN }) },
  { weight: 1, arbitrary: fc.integer({ min: 3 * MIN, max: 40 * MIN }) },
)
const value = (figure: fc.Arbitrary<number>) =>
  fc.oneof({ weight: 14, arbitrary: figure }, { weight: 1, arbitrary: fc.constant(null) }, { weight: 1, arbitrary: fc.constantFrom(-50, 1000) })
const movement = fc.option(fc.record({ ago: fc.integer({ min: 0, max: 6 * MIN }), by: fc.integer({ min: 0, max: 4 }), sd: fc.option(fc.integer({ min: 0, max: 2 })) }))
const around = fc.record({
  runs: fc.constantFrom(true, true, true, true, false, null),
  event: fc.option(fc.record({ from: fc.integer({ min: 0, max: 30 }), lasts: fc.integer({ min: 0, max: 20 }) })),
  partner: movement,
  second: movement,
})

const rowsFrom = (figure: fc.Arbitrary<number>): fc.Arbitrary<readonly CheckRow[]> =>
  fc.array(fc.tuple(step, value(figure), around), { minLength: 1, maxLength: 60 }).map((list) => {
    let atMs = NOW
    return list.map(([dt, x, a]) => {
      atMs += dt
      const moved = (m: typeof a.partner) => m && { atMs: atMs - m.ago, by: m.by, sd: m.sd }
      return {
        atMs,
        value: x,
        runs: a.runs,
        event: a.event && { fromMs: atMs - a.event.from * MIN, byMs: atMs - (a.event.from - a.event.lasts) * MIN },
        partner: moved(a.partner),
        second: moved(a.second),
      }
    })
  })

const threshold = fc.constantFrom(0.1, 0.2, 0.5, 1, 2)
const specs: fc.Arbitrary<CheckSpec> = fc
  .record({
    spike: fc.option(
      fc.record({ method: fc.constantFrom('average' as const, 'differential' as const), suspect: fc.constantFrom(0.1, 0.2, 0.5), fail: fc.constantFrom(0.7, 1, 5) }),
    ),
    rate: fc.option(
      fc.record({
        suspectPerS: fc.option(fc.constantFrom(0.5 / 60, 1 / 60)),
        failPerS: fc.option(fc.constantFrom(3 / 60)),
        deviations: fc.option(threshold),
        slack: fc.constantFrom(0, 0.1),
        leastMs: fc.constantFrom(0, 3 * MIN, 20 * MIN),
      }),
    ),
    spread: fc.record({ overMs: fc.constantFrom(10 * MIN, HOUR, 17 * MIN), minSamples: fc.integer({ min: 2, max: 6 }) }),
    flat: fc.option(
      fc.record({
        tol: fc.constantFrom(0.1, 0.35, 2),
        suspectMs: fc.option(fc.constantFrom(2 * MIN, 5 * MIN)),
        failMs: fc.option(fc.constantFrom(6 * MIN, HOUR)),
        minSamples: fc.integer({ min: 1, max: 3 }),
        ends: fc.record({ low: fc.option(fc.constant(0.1)), high: fc.option(fc.constant(1.9)) }),
        runWhen: fc.option(fc.constant('blower.run')),
      }),
    ),
    attenuated: fc.option(
      fc.record({
        method: fc.constantFrom('sd' as const, 'range' as const),
        suspect: fc.constantFrom(0.5, 1),
        fail: fc.constantFrom(0, 0.2),
        overMs: fc.constantFrom(10 * MIN, 2 * HOUR),
        minSamples: fc.integer({ min: 0, max: 5 }),
      }),
    ),
    multivariate: fc.option(fc.record({ own: threshold, other: threshold })),
    neighbour: fc.option(fc.record({ own: threshold, other: threshold })),
  })
  .map((s) => ({
    ...s,
    intervalMs: MIN,
    gross: { sensor: [-10, 100] as const, user: [0.3, 1.5] as const },
    flat: s.flat && { ...s.flat, moves: ['dose' as const] },
    multivariate: s.multivariate && { with: 'tu.temperature', ...s.multivariate },
    neighbour: s.neighbour && { with: 'tu.ph2', ...s.neighbour },
  }))

const tenths = (max: number): fc.Arbitrary<number> => fc.integer({ min: 0, max }).map((n) => n / 10)

test('whatever a signal sends, the live form with its corrections says what the series form says, test by test', () => {
  // 8 tenths apart at most within the widest tolerance of 0.35, and 7 values for the tolerance of 2.
  const figures = fc.constantFrom(tenths(20), tenths(3), fc.constantFrom(0, 0.25, 0.5, 0.9, 1.1, 1.6, 1.75)).chain((f) => f)
  const seen = new Set<string>()
  fc.assert(
    fc.property(rowsFrom(figures), specs, (rows, spec) => {
      const wide = spec.flat?.tol === 2
      const use = wide ? rows.map((r) => (r.value === null || r.value < 0 || r.value > 99 ? r : { ...r, value: Math.round(r.value * 3) / 3 })) : rows
      const expected = series.checkSeries(use, spec)
      expect(liveFlags({ stream }, use, spec).map(told)).toEqual(expected.map(told))
      for (const t of expected) for (const name of TESTS) seen.add(`${name} ${flagOf(t, name)}`)
    }),
    { numRuns: 3000 },
  )
  // The property means nothing where a flag never came up.
  const all = (name: TestName, ...flags: (QcFlag | null)[]) => flags.map((f) => `${name} ${f}`)
  const reached = [
    ...all('gross', 1, 3, 4, 9),
    ...(['spike', 'rate', 'flat', 'attenuated'] as const).flatMap((n) => all(n, null, 1, 2, 3, 4, 9)),
    ...(['multivariate', 'neighbour'] as const).flatMap((n) => all(n, null, 1, 2, 3, 9)),
  ]
  expect(reached.filter((f) => !seen.has(f))).toEqual([])
})

test('a signal of endless fine steps is never called flat earlier than the series form calls it, and keeps no more than its bound', () => {
  const spec = bare(60, { gross: { sensor: [0, 1], user: null }, flat: flatSpec({ tol: 0.5, suspectMs: 5 * MIN, failMs: 15 * MIN }) })
  fc.assert(
    fc.property(rowsFrom(fc.double({ min: 0, max: 1, noNaN: true })), (rows) => {
      const exact = series.flatLine(
        rows.map((r) => (r.value !== null && (r.value < 0 || r.value > 99) ? { ...r, value: null } : r)),
        spec.flat ?? flatSpec(),
        MIN,
      )
      liveOf(rows, spec, 'flat').forEach((f, i) => {
        const e = exact[i] ?? 9
        if (f === 4) expect(e).toBe(4)
        if (f === 3) expect([3, 4]).toContain(e)
      })
    }),
    { numRuns: 500 },
  )
})

test('where more corners stand out than are kept, the older value is taken for the later time: the flag comes late, not early', () => {
  // Falling by 0.01 a minute for 20 minutes, then to 0.42 at once: the readings above 0.92, the first eight, are no part of the new run.
  const values = [...Array.from({ length: 21 }, (_, i) => 1 - i / 100), ...Array.from({ length: 20 }, () => 0.42)]
  const rows = rowsOf(values, 60)
  const spec = bare(60, { flat: flatSpec({ tol: 0.5, suspectMs: 20 * MIN, failMs: null }) })
  const exact = series.flatLine(rows, flatSpec({ tol: 0.5, suspectMs: 20 * MIN, failMs: null }), MIN)
  const live = liveOf(rows, spec, 'flat')
  expect(exact.indexOf(3, 21)).toBe(28)
  // Seven older corners are kept beside the newest: the first stands for the first fourteen.
  expect(live.indexOf(3, 21)).toBe(34)
})

test('memory is bounded: a hundred thousand readings that never repeat leave a state of at most 8 corners and 8 summaries', () => {
  const spec = bare(10, {
    spike: { method: 'average', suspect: 1, fail: 2 },
    spread: { overMs: 25 * HOUR, minSamples: 10 },
    flat: flatSpec({ tol: 1e6 }),
    attenuated: { method: 'range', suspect: 1, fail: 0.5, overMs: 12 * HOUR, minSamples: 2 },
  })
  let state = unchecked
  let most = 0
  for (let i = 0; i < 100_000; i++) {
    // Ever smaller swings: each reading is a corner of both lists.
    state = checkRow(state, { atMs: NOW + i * 10_000, value: ((i % 2 === 0 ? 1 : -1) * 1000) / (1 + (i % 50)) }, spec).state
    most = Math.max(most, 1 + (state.flat?.highs.length ?? 0) / 2, 1 + (state.flat?.lows.length ?? 0) / 2, state.spread?.closed.length ?? 0, state.variation?.closed.length ?? 0)
  }
  expect(most).toBe(8)
  expect(state.spread?.closed).toHaveLength(7)
})

test('QAR-02 the newest reading is not evaluated for a spike; the next one corrects it, and says what was said before', () => {
  const spec = bare(60, { spike: { method: 'differential', suspect: 0.1, fail: 0.2 } })
  const rows = rowsOf([7.2, 7.21, 7.5, 7.21], 60)
  let state = unchecked
  const out = rows.map((row) => {
    const c = checkRow(state, row, spec)
    state = c.state
    return { spike: flagOf(c.tests, 'spike'), flag: c.flag, correction: c.correction && { atMs: c.correction.atMs, flag: c.correction.flag, was: c.correction.was } }
  })
  expect(out).toEqual([
    { spike: 2, flag: 1, correction: null },
    { spike: 2, flag: 1, correction: null },
    { spike: 2, flag: 1, correction: { atMs: 60_000, flag: 1, was: 1 } },
    { spike: 2, flag: 1, correction: { atMs: 120_000, flag: 4, was: 1 } },
  ])
})

test('a correction comes once for a reading, is of the reading just before, and never lowers what was said', () => {
  const rank = (f: QcFlag): number => [9, 2, 1, 3, 4].indexOf(f)
  fc.assert(
    fc.property(rowsFrom(tenths(20)), specs, (rows, spec) => {
      let state = unchecked
      rows.forEach((row, i) => {
        const c = checkRow(state, row, spec)
        state = c.state
        if (!c.correction) return
        expect(c.correction.atMs).toBe(rows[i - 1]?.atMs)
        expect(rank(c.correction.flag)).toBeGreaterThanOrEqual(rank(c.correction.was))
      })
    }),
    { numRuns: 500 },
  )
})

test('a state can be gone back to: the same row on the same state gives the same flags and the same next state', () => {
  const frozen = (s: CheckState): CheckState => {
    for (const part of [s.flat?.highs, s.flat?.lows, s.flat, s.spread?.closed, s.spread, s.variation?.closed, s.variation, s.movement, s]) if (part) Object.freeze(part)
    return s
  }
  fc.assert(
    fc.property(rowsFrom(tenths(20)), specs, (rows, spec) => {
      let state = frozen(unchecked)
      for (const row of rows) {
        const before = JSON.stringify(state)
        const c = checkRow(state, row, spec)
        expect(JSON.stringify(state)).toBe(before)
        expect(checkRow(state, row, spec)).toEqual(c)
        state = frozen(c.state)
      }
    }),
    { numRuns: 300 },
  )
})

test('QAR-21 a row not later than the newest gets its gross range and nothing else, and changes nothing', () => {
  const spec = bare(60, {
    gross: { sensor: [0, 14], user: [6, 9] },
    spike: { method: 'average', suspect: 0.1, fail: 0.2 },
    rate: { slack: 0, suspectPerS: 0.001, failPerS: null, deviations: null },
  })
  const { state } = checkRow(unchecked, { atMs: NOW, value: 7 }, spec)
  for (const [atMs, x, gross] of [
    [NOW, 9.5, 3],
    [NOW - MIN, 7.1, 1],
    [NOW - MIN, 15, 4],
  ] as const) {
    const c = checkRow(state, { atMs, value: x }, spec)
    expect(told(c.tests)).toMatchObject({ gross, spike: 2, rate: 2, flat: null })
    expect(c.state).toBe(state)
    expect(c.correction).toBeNull()
  }
  expect(checkRow(state, { atMs: NOW, value: null }, spec).flag).toBe(9)
  expect(() => series.checkSeries(rowsOf([1, 2], 0), spec)).toThrow('row 2 is of 0, not after the one before it (0)')
})

test('QAR-26 after a gap of more than three intervals the neighbour tests start with 2; three intervals exactly are no gap', () => {
  const spec = bare(60, { spike: { method: 'average', suspect: 0.5, fail: 1 }, rate: { slack: 0, suspectPerS: 1, failPerS: null, deviations: null } })
  const at = (hole: number): readonly CheckRow[] => [0, 60, 120, 120 + hole, 180 + hole, 240 + hole].map((t) => ({ atMs: t * 1000, value: 7 }))
  for (const form of [
    (rows: readonly CheckRow[], name: TestName) => liveOf(rows, spec, name),
    (rows: readonly CheckRow[], name: TestName) => series.checkSeries(rows, spec).map((t) => flagOf(t, name)),
  ]) {
    expect(form(at(180), 'spike')).toEqual([2, 1, 1, 1, 1, 2])
    expect(form(at(180.001), 'spike')).toEqual([2, 1, 2, 2, 1, 2])
    expect(form(at(180), 'rate')).toEqual([2, 1, 1, 1, 1, 1])
    expect(form(at(180.001), 'rate')).toEqual([2, 1, 1, 2, 1, 1])
  }
})

test('a figure no sensor can report says nothing about its neighbours, and stays out of every deviation', () => {
  const spec = bare(60, {
    gross: { sensor: [0, 14], user: null },
    spike: { method: 'average', suspect: 0.5, fail: 1 },
    rate: { slack: 0, suspectPerS: null, failPerS: null, deviations: 3 },
    spread: { overMs: HOUR, minSamples: 2 },
  })
  const rows = rowsOf([7, 7.1, 7, 99, 7.1, 7, 7.1, 7], 60)
  expect(liveOf(rows, spec, 'gross')).toEqual([1, 1, 1, 4, 1, 1, 1, 1])
  expect(liveOf(rows, spec, 'spike')).toEqual([2, 1, 2, 2, 2, 1, 1, 2])
  expect(liveOf(rows, spec, 'rate')).toEqual([2, 2, 1, 2, 1, 1, 1, 1])
})

test('QAR-15 a step of more than three standard deviations of what came before is suspect, three exactly are not', () => {
  // 0 2 4: mean 2, standard deviation 2 (sample). From 4 a step of 6 is three of them.
  const spec = (slack: number) => bare(60, { rate: { slack, suspectPerS: null, failPerS: null, deviations: 3 }, spread: { overMs: HOUR, minSamples: 3 } })
  expect(liveOf(rowsOf([0, 2, 4, 10], 60), spec(0), 'rate')).toEqual([2, 2, 2, 1])
  expect(liveOf(rowsOf([0, 2, 4, 10.01], 60), spec(0), 'rate')).toEqual([2, 2, 2, 3])
  expect(liveOf(rowsOf([0, 2, 4, 10.5], 60), spec(0.5), 'rate')).toEqual([2, 2, 2, 1])
  expect(liveOf(rowsOf([0, 2, 4, 10.51], 60), spec(0.5), 'rate')).toEqual([2, 2, 2, 3])
})

test('QAR-18 a variation of exactly the threshold is enough', () => {
  const spec = bare(60, { attenuated: { method: 'range', suspect: 3, fail: 2, overMs: HOUR, minSamples: 2 } })
  expect(liveOf(rowsOf([0, 2, 1.999, 3], 60), spec, 'attenuated')).toEqual([2, 3, 3, 1])
  expect(liveOf(rowsOf([0, 1.999], 60), spec, 'attenuated')).toEqual([2, 4])
})

test('QAR-17 and QAR-19 a signal that moves while its company rests is suspect; together, or alone in the dark, it is not', () => {
  const spec = bare(60, { spread: { overMs: HOUR, minSamples: 3 }, multivariate: { with: 'tu.do', own: 2, other: 2 }, neighbour: { with: 'tu.ph2', own: 2, other: 2 } })
  const jump = (partner: CheckRow['partner'], second: CheckRow['second']): readonly (QcFlag | null)[] => {
    const rows: readonly CheckRow[] = [...rowsOf([0, 2, 4], 60), { atMs: 180_000, value: 9, ...(partner !== undefined && { partner }), ...(second !== undefined && { second }) }]
    return (['multivariate', 'neighbour'] as const).map((t) => liveOf(rows, spec, t).at(-1) ?? null)
  }
  const rests = { atMs: 180_000, by: 1.9, sd: 1 }
  const moves = { atMs: 180_000, by: 2, sd: 1 }
  expect(jump(rests, moves)).toEqual([3, 1])
  expect(jump(moves, rests)).toEqual([1, 3])
  expect(jump(null, undefined)).toEqual([2, 2])
  expect(jump({ ...rests, sd: null }, { ...rests, atMs: -1 })).toEqual([2, 2])
})

test('what a signal tells its company is its movement with the newest figure, and nothing once a figure is missing', () => {
  const spec = bare(60, { spread: { overMs: HOUR, minSamples: 3 } })
  const after = (values: readonly (number | null)[]): CheckState => rowsOf(values, 60).reduce((s, r) => checkRow(s, r, spec).state, unchecked)
  expect(after([0, 2, 4, 9]).movement).toEqual({ atMs: 180_000, by: 5, sd: 2 })
  expect(after([0, 2, 4, 9, null]).movement).toBeNull()
  expect(rowsOf([0, 2, 4], 60).reduce((s, r) => checkRow(s, r, bare(60)).state, unchecked).movement).toBeNull()
})

test('only a value outside the range of the sensor, or none, is bad and may hold an alarm; every other flag is shown as uncertain at most', () => {
  expect(worthOf(withFlag(0, 'gross', 4))).toEqual({ quality: 'bad', sub: 'sensor_failure', qc: 4 })
  expect(worthOf(withFlag(0, 'gross', 9))).toEqual({ quality: 'bad', sub: 'missing', qc: 9 })
  for (const name of TESTS.slice(1)) {
    for (const flag of [1, 2, 3, 4] as const) {
      const tests = withFlag(withFlag(0, 'gross', 1), name, flag)
      expect([name, worthOf(tests)]).toEqual([name, flag > 2 ? { quality: 'uncertain', sub: 'qc_suspect', qc: flag } : { quality: 'good', sub: 'ok', qc: 1 }])
    }
  }
  expect(worthOf(withFlag(0, 'gross', 3))).toEqual({ quality: 'uncertain', sub: 'eu_exceeded', qc: 3 })
})

test('the flags of a reading fit one number below 2^28, and come out of it as they went in', () => {
  const flag = fc.constantFrom<QcFlag | null>(null, 1, 2, 3, 4, 9)
  fc.assert(
    fc.property(fc.array(flag, { minLength: TESTS.length, maxLength: TESTS.length }), (flags) => {
      let tests = withFlag(0, 'gross', 4)
      tests = 0
      TESTS.forEach((name, i) => {
        const f = flags[i]
        if (f) tests = withFlag(withFlag(tests, name, 4), name, f)
      })
      expect(Number.isInteger(tests) && tests >= 0 && tests < 2 ** 28).toBe(true)
      expect(TESTS.map((name) => flagOf(tests, name))).toEqual(flags)
      const order: readonly (QcFlag | null)[] = [4, 3, 1, 2, 9]
      expect(summary(tests)).toBe(order.find((f) => flags.includes(f)) ?? 2)
    }),
  )
})
