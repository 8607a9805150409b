/** What is tested of a signal unless a person says otherwise, and what standing still means (practice 2.3, 2.4; QAR-03, QAR-16, QAR-18, QAR-27). */
import { expect, test } from 'vitest'
import { checksFor, STARTS, STILL } from '../../gateway/intake/qartod-defaults.ts'
import { checkOverrideSchema } from '../../gateway/intake/qartod-override.ts'
import type { CheckRow } from '../../gateway/intake/qartod-series.ts'
import { troublesOf, type CheckSpec } from '../../gateway/intake/qartod-spec.ts'
import * as stream from '../../gateway/intake/qartod-stream.ts'
import { flagOf, summary, worthOf, type TestName } from '../../gateway/intake/qartod.ts'
import { QUANTITIES, QUANTITY_NAMES } from '../../gateway/site/quantity.ts'
import type { Signal, StageKind } from '../../gateway/site/site.ts'
import { liveFlags } from './qartod-forms.ts'

const MIN = 60_000
const HOUR = 3_600_000
const DAY = 24 * HOUR

function signal(quantity: Signal['quantity'], over: Partial<Signal> = {}): Signal {
  const q = QUANTITIES[quantity]
  return {
    id: `tu.${quantity}`,
    name: q.word,
    quantity,
    unit: q.unit,
    at: 'tu',
    stage: 'tu',
    sampleEveryMs: MIN,
    reportEveryMs: MIN,
    range: q.range,
    resolution: q.resolution,
    digits: q.digits,
    checks: null,
    ...over,
  }
}

/** One reading a minute from `fromMs` until `untilMs`, both included. */
function minutes(fromMs: number, untilMs: number, value: (atMs: number) => number, over: Partial<CheckRow> = {}): CheckRow[] {
  const out: CheckRow[] = []
  for (let atMs = fromMs; atMs <= untilMs; atMs += MIN) out.push({ atMs, value: value(atMs), ...over })
  return out
}

const flags = (rows: readonly CheckRow[], spec: CheckSpec, name: TestName) => liveFlags({ stream }, rows, spec).map((t) => flagOf(t, name))
/** Time of the first flag of a kind, or null. */
const first = (rows: readonly CheckRow[], spec: CheckSpec, name: TestName, flag: number): number | null => rows[flags(rows, spec, name).indexOf(flag as 1)]?.atMs ?? null
const quiet = (rows: readonly CheckRow[], spec: CheckSpec, name: TestName): boolean => flags(rows, spec, name).every((f) => f === null || f <= 2)

const doSpec = (stage: StageKind = 'treatment') => checksFor(signal('do'), { stage })

test('an oxygen probe that says the same for 24 h is suspect, for 72 h it fails, and an idle night is neither', () => {
  const rows = minutes(0, 80 * HOUR, () => 8.5)
  expect(
    quiet(
      minutes(0, 23 * HOUR, () => 8.5),
      doSpec(),
      'flat',
    ),
  ).toBe(true)
  expect(first(rows, doSpec(), 'flat', 3)).toBe(DAY)
  expect(first(rows, doSpec(), 'flat', 4)).toBe(72 * HOUR)
  expect(STILL).toMatchObject({ suspectMs: DAY, failMs: 3 * DAY })
})

test('one step of the resolution is life, however long ago it began to be rare', () => {
  expect(
    quiet(
      minutes(0, 90 * HOUR, (t) => (Math.floor(t / (23 * HOUR)) % 2 === 0 ? 8.5 : 8.6)),
      doSpec(),
      'flat',
    ),
  ).toBe(true)
})

test.each([
  ['dead water at 0 mg/L', 'do', 0, 'treatment'],
  ['dead water at one step above 0', 'do', 0.1, 'treatment'],
  ['an empty sump', 'level', 0, 'sump'],
  ['a full finished tank', 'level', 100, 'finished'],
  ['a finished tank one step below full', 'level', 99, 'finished'],
  ['a bio tank at its weir', 'level', 93, 'bio'],
  ['no flow', 'flow', 0, null],
  ['clean air', 'h2s', 0, null],
  ['a pump that is off', 'current', 0, null],
  ['a paper roll nobody uses', 'paper', 40, 'filter'],
] as const)('at a physical end standing still is never flagged: %s', (_what, quantity, value, stage) => {
  expect(
    quiet(
      minutes(0, 100 * HOUR, () => value),
      checksFor(signal(quantity), { stage }),
      'flat',
    ),
  ).toBe(true)
})

test('what happened at a physical end counts for nothing afterwards: the 24 h begin anew', () => {
  const rows = [...minutes(0, 40 * HOUR, () => 0), ...minutes(40 * HOUR + MIN, 70 * HOUR, () => 6)]
  expect(first(rows, doSpec(), 'flat', 3)).toBe(64 * HOUR + MIN)
})

test('no change through a wash that must have moved it is suspect at once, though only minutes have passed', () => {
  const wash = { fromMs: 4 * HOUR, byMs: 4 * HOUR + 20 * MIN }
  const frozen = minutes(0, 5 * HOUR, () => 8.5, { event: wash })
  expect(first(frozen, doSpec(), 'flat', 3)).toBe(wash.byMs)
  const alive = minutes(0, 5 * HOUR, (t) => (t > wash.fromMs ? 8.3 : 8.5), { event: wash })
  expect(quiet(alive, doSpec(), 'flat')).toBe(true)
  // Watched only since the middle of it: who knows.
  expect(quiet(frozen.slice(4 * 60 + 10), doSpec(), 'flat')).toBe(true)
})

test('which happenings must move a signal depends on where it stands', () => {
  const moves = (q: Signal['quantity'], stage: StageKind | null) => checksFor(signal(q), { stage }).flat?.moves
  expect(moves('do', 'treatment')).toEqual(['air-off', 'wash'])
  expect(moves('do', 'bio')).toEqual(['air-off'])
  expect(moves('ph', 'treatment')).toEqual(['dose'])
  expect(moves('temperature', null)).toEqual(['day-night'])
  expect(moves('temperature', 'bio')).toEqual([])
  expect(moves('level', 'finished')).toEqual(['wash'])
  expect(moves('level', 'bio')).toBeUndefined()
})

test('a link that drops for five minutes does not start the 24 h anew, half a day of silence does', () => {
  const holed = (hole: number) => [...minutes(0, 20 * HOUR, () => 8.5), ...minutes(20 * HOUR + hole, 60 * HOUR, () => 8.5)]
  expect(first(holed(5 * MIN), doSpec(), 'flat', 3)).toBe(DAY)
  expect(first(holed(12 * HOUR), doSpec(), 'flat', 3)).toBe(56 * HOUR)
})

test('QAR-27 with runWhen the flat line waits for the machine, and what it said while it was off counts for nothing', () => {
  const spec = checksFor(signal('pressure'), {
    override: checkOverrideSchema.parse({ flat: { runWhen: 'blower.run', suspectAfter: '1h', failAfter: '3h' }, why: 'the blower rests at night' }),
  })
  const off = minutes(0, 10 * HOUR, () => 210, { runs: false })
  const on = minutes(10 * HOUR + MIN, 12 * HOUR, () => 210, { runs: true })
  expect(quiet(off, spec, 'flat')).toBe(true)
  expect(
    quiet(
      minutes(0, 10 * HOUR, () => 210),
      spec,
      'flat',
    ),
  ).toBe(true)
  expect(first([...off, ...on], spec, 'flat', 3)).toBe(11 * HOUR + MIN)
})

test('a stuck acid pump fails no reading: pH falling 0.9 in 5 min is shown as suspect, and stays usable by its alarm', () => {
  const spec = checksFor(signal('ph'), { stage: 'treatment' })
  const tests = liveFlags(
    { stream },
    minutes(0, 30 * MIN, (t) => Math.round((7.4 - (t / MIN) * 0.18) * 100) / 100),
    spec,
  )
  // 0.18 within a minute is within 0.2 and what rounding may do; 0.36 is not.
  expect(tests.slice(1, 8).map((t) => flagOf(t, 'rate'))).toEqual([1, 3, 3, 3, 3, 3, 3])
  for (const t of tests) expect(worthOf(t).quality).not.toBe('bad')
  // Ten-second readings of the same pump, and of one that works as it should.
  const fine = checksFor(signal('ph', { sampleEveryMs: 10_000 }), { stage: 'treatment' })
  const every10s = (value: (i: number) => number): readonly CheckRow[] => Array.from({ length: 31 }, (_, i) => ({ atMs: i * 10_000, value: value(i) }))
  expect(
    flags(
      every10s((i) => Math.round((7.4 - i * 0.03) * 100) / 100),
      fine,
      'rate',
    ).filter((f) => f === 3),
  ).toHaveLength(23)
  expect(
    flags(
      every10s((i) => 7.4 - (i % 2) * 0.02),
      fine,
      'rate',
    ).filter((f) => f === 3),
  ).toHaveLength(0)
  expect(
    flags(
      minutes(0, HOUR, (t) => 7.4 - (t / MIN) * 0.04),
      spec,
      'rate',
    )
      .slice(1)
      .every((f) => f === 1),
  ).toBe(true)
})

test('ordinary noise on every quantity raises no flag in two days', () => {
  // A small generator with a fixed start: the promise is about this noise, not about luck.
  let seed = 1
  const noise = (): number => {
    seed = (seed * 48_271) % 2_147_483_647
    return seed / 2_147_483_647 - 0.5
  }
  const middle: Partial<Record<Signal['quantity'], number>> = { ph: 7.3, do: 6, temperature: 18, orp: 120, level: 60, strength: -80 }
  for (const quantity of QUANTITY_NAMES) {
    const s = signal(quantity)
    const spec = checksFor(s, { stage: 'treatment' })
    const centre = middle[quantity] ?? 50 * s.resolution
    const at = (): number =>
      QUANTITIES[quantity].kind === 'analogue' ? Math.round((centre + 4 * s.resolution * noise()) / s.resolution) * s.resolution : Math.round(0.5 + noise() / 2)
    const bad = liveFlags({ stream }, minutes(0, 2 * DAY, at), spec).filter((t) => summary(t) !== 1)
    expect([quantity, bad.length]).toEqual([quantity, 0])
  }
})

test('every quantity has sound checks; states and counters are asked for their range alone', () => {
  for (const quantity of QUANTITY_NAMES) {
    for (const stage of [null, 'sump', 'treatment', 'bio', 'finished'] as const) {
      const spec = checksFor(signal(quantity), { stage })
      expect([quantity, troublesOf(spec)]).toEqual([quantity, []])
      expect(spec.gross.sensor).toEqual(QUANTITIES[quantity].range)
      if (QUANTITIES[quantity].kind !== 'analogue') expect(spec).toMatchObject({ spike: null, rate: null, flat: null, spread: null, gross: { user: null } })
      expect(spec).toMatchObject({ attenuated: null, multivariate: null, neighbour: null })
    }
  }
})

test('the starting thresholds of pH, oxygen and temperature are the ones their sources print', () => {
  const of = (q: Signal['quantity'], stage: StageKind | null = 'treatment') => checksFor(signal(q), { stage })
  expect(of('ph').gross).toEqual({ sensor: [0, 14], user: [6, 9] })
  expect(of('ph', 'sump').gross.user).toBeNull()
  expect(of('ph').spike).toEqual({ method: 'differential', suspect: 0.25, fail: 0.5 })
  expect(of('ph').rate?.suspectPerS).toBeCloseTo(0.2 / 300, 12)
  expect(of('do').gross).toEqual({ sensor: [0, 25], user: [0, 15] })
  expect(of('do').spike).toEqual({ method: 'differential', suspect: 4, fail: 8 })
  expect(of('do').rate?.deviations).toBe(3)
  expect(of('do').spread).toEqual({ overMs: 25 * HOUR, minSamples: 750 })
  expect(of('temperature').spread?.overMs).toBe(24 * HOUR)
  const sources = Object.values(STARTS).flatMap((s) => [s.user, s.spike, s.rate].flatMap((x) => x?.source ?? []))
  expect(sources.length).toBe(7)
  expect(sources.filter((s) => s.length < 10)).toEqual([])
})

test('a narrower sensor narrows the user range, and user limits outside the sensor say nothing', () => {
  const user = (range: readonly [number, number]) => checksFor(signal('ph', { range }), { stage: 'bio' }).gross.user
  expect(user([2, 8])).toEqual([6, 8])
  expect(user([10, 14])).toBeNull()
})

test('QAR-03 a person changes any test of one signal, or switches it off, and must say why', () => {
  const o = checkOverrideSchema.parse({
    userRange: [6.5, 8.5],
    spike: { suspect: 0.3 },
    rate: { suspect: { by: 0.6, within: '10min' }, fail: { by: 3, within: '10min' } },
    flat: 'off',
    attenuated: { method: 'sd', suspect: 0.05, fail: 0.01, over: '12h' },
    neighbour: { with: 'tu.ph2' },
    why: 'second probe since March',
    by: 'Ines',
    on: '2026-03-02',
  })
  const spec = checksFor(signal('ph'), { stage: 'treatment', override: o })
  expect(spec).toMatchObject({
    gross: { sensor: [0, 14], user: [6.5, 8.5] },
    spike: { method: 'differential', suspect: 0.3, fail: null },
    rate: { slack: 0.02, suspectPerS: 0.001, failPerS: 0.005, deviations: null },
    spread: { overMs: 25 * HOUR, minSamples: 750 },
    flat: null,
    attenuated: { method: 'sd', suspect: 0.05, fail: 0.01, overMs: 12 * HOUR, minSamples: 360 },
    multivariate: null,
    neighbour: { with: 'tu.ph2', own: 2, other: 2 },
  })
  expect(troublesOf(spec)).toEqual([])
  const kept = checksFor(signal('do'), { stage: 'bio', override: checkOverrideSchema.parse({ flat: { failAfter: '5d', ends: [0.3, null] }, why: 'short cable' }) })
  expect(kept.flat).toEqual({ tol: 0.05, suspectMs: DAY, failMs: 5 * DAY, minSamples: 3, ends: { low: 0.3, high: null }, moves: ['air-off'], runWhen: null })
  expect(kept.spike).toEqual(checksFor(signal('do'), { stage: 'bio' }).spike)
  for (const bad of [{ spike: 'off' }, { flat: { tolerance: 0 }, why: 'x' }, { flat: { suspectAfter: 24 }, why: 'x' }, { spkie: 'off', why: 'x' }, { userRange: [1], why: 'x' }])
    expect(checkOverrideSchema.safeParse(bad).success).toBe(false)
})

test('every test but gross range can be switched off', () => {
  const all = { userRange: 'off', spike: 'off', rate: 'off', flat: 'off', attenuated: 'off', multivariate: 'off', neighbour: 'off', why: 'bench' }
  const spec = checksFor(signal('ph'), { stage: 'bio', override: checkOverrideSchema.parse(all) })
  expect(spec).toMatchObject({ gross: { user: null }, spike: null, rate: null, flat: null, attenuated: null, multivariate: null, neighbour: null })
})

test.each([
  [
    'an empty band in the attenuated test (QAR-18)',
    { attenuated: { method: 'range', suspect: 0.1, fail: 0.2, over: '12h' } },
    'attenuated: fail 0.2 must be less than suspect 0.1',
  ],
  ['a spike that fails before it is suspect', { spike: { suspect: 2, fail: 1 } }, 'spike: suspect 2 must be less than fail 1'],
  ['a spike test without a threshold', { spike: { method: 'average' } }, 'spike: neither a suspect nor a fail threshold'],
  ['a rate that fails before it is suspect', { rate: { suspect: { by: 1, within: '1min' }, fail: { by: 1, within: '5min' } } }, 'rate: suspect'],
  ['a rate within no time', { rate: { suspect: { by: 1, within: '0s' } } }, 'rate threshold is Infinity'],
  ['a rate without a threshold', { rate: {} }, 'rate: no threshold'],
  ['a flat line that fails before it is suspect', { flat: { failAfter: '1h' } }, 'flat line, ms: suspect 86400000 must be less than fail 3600000'],
  ['a user range wider than the sensor', { userRange: [-1, 9] }, 'user range -1 to 9 must lie inside the sensor range 0 to 14'],
  ['a user range upside down', { userRange: [9, 6] }, 'user range 9 to 6: the lower limit must come first'],
] as const)('%s is refused with its figures', (_what, over, message) => {
  const spec = checksFor(signal('ph'), { stage: 'bio', override: checkOverrideSchema.parse({ ...over, why: 'a slip' }) })
  expect(troublesOf(spec).join('\n')).toContain(message)
})
