/** Rates, distances, drifts and forecasts. Sizes of faults and look-alikes: arithmetic on a reference loop, or common practice, no source. */
import fc from 'fast-check'
import { expect, test } from 'vitest'
import { createSlottedMedian } from '../../../gateway/alarms/rules/slotted-median.ts'
import type { Rule } from '../../../gateway/alarms/alarm.ts'
import { begin, changes, DAY, HOUR, MIN, noise, rows } from './yard.ts'

const fallingPh: Rule = { kind: 'rate', signal: 'tu.ph', side: 'low', limit: -0.1, deadband: 0.05, spanMs: 10 * MIN, perMs: 5 * MIN, onDelayMs: 0, offDelayMs: 5 * MIN }

test('ALM-38 an acid pump that is stuck moves pH 0.9 in 8 min: the rate raises within its span, long before pH 5', () => {
  const w = begin(fallingPh)
  rows(w, HOUR, { 'tu.ph': 7.4 })
  const ph = (since: number): number => 7.4 - (0.9 / 8) * ((since - HOUR) / MIN)
  rows(w, 20 * MIN, (since) => ({ 'tu.ph': ph(since) }))
  const [first] = changes(w)
  const at = Number(first?.split(' ')[1])
  expect(first).toMatch(/^raised/)
  expect(at - 60).toBeLessThanOrEqual(10)
  expect(ph(at * MIN)).toBeGreaterThan(5.5)
})

test.each([3.1, 14])('a single spike of pH %d raises no rate, wherever in the span it falls', (spike) => {
  const w = begin(fallingPh)
  for (let k = 0; k < 40; k++) rows(w, 24 * MIN, (since) => ({ 'tu.ph': since / MIN === 24 * k + (k % 12) ? spike : 7.4 }))
  expect(changes(w)).toEqual([])
})

test.each([
  [5.1, 5],
  [5.2, 5.1],
  [8.8, 8.7],
])('a step of the resolution, %d to %d, is no rate, however steep it looks and however its difference rounds', (before, after) => {
  const w = begin({ ...fallingPh, signal: 'tu.do', limit: -0.02, deadband: 0 })
  rows(w, 2 * HOUR, (since) => ({ 'tu.do': since < HOUR ? before : after }))
  expect(changes(w)).toEqual([])
})

test('a rate that cannot be seen, for want of readings in its span, is not judged', () => {
  const w = begin(fallingPh)
  rows(w, 5 * MIN, (since) => ({ 'tu.ph': 8 - since / MIN }))
  expect(changes(w)).toEqual([])
  expect(w.view('x').heldSinceMs).toBeNull()
})

const step: Rule = {
  kind: 'deviation',
  signal: 'tu.orp',
  from: { kind: 'median', spanMs: 7 * DAY, leastMs: 2 * DAY },
  as: 'difference',
  side: 'low',
  limit: -150,
  deadband: 30,
  withinMs: 2 * HOUR,
  onDelayMs: 10 * MIN,
  offDelayMs: 10 * MIN,
  when: { value: { signal: 'tu.do', side: 'low', limit: 0.5 } },
}

test('redox 150 mV below its own week within 2 h while oxygen is gone raises; the same step with oxygen there does not', () => {
  for (const [oxygen, expected] of [
    [0.1, ['raised 4390']],
    [3, []],
  ] as const) {
    const w = begin(step)
    const r = noise(1)
    rows(w, 3 * DAY, () => ({ 'tu.orp': 250 + 20 * r(), 'tu.do': oxygen === 0.1 ? 0.3 : 3 }))
    rows(w, HOUR, (since) => ({ 'tu.orp': since === 3 * DAY ? 150 : 60, 'tu.do': oxygen }))
    expect(changes(w).map((c) => c.replace(/43[89]\d|433\d/, '4390'))).toEqual(expected)
  }
})

test('a drift of the same size over days is no step', () => {
  const w = begin({ ...step, when: {} })
  rows(w, 2.5 * DAY, { 'tu.orp': 250 })
  rows(w, 2 * DAY, (since) => ({ 'tu.orp': 250 - (250 * (since - 2.5 * DAY)) / (2 * DAY) }))
  expect(changes(w)).toEqual([])
})

test('until enough of the span has been seen nothing is judged, and nothing is called blind', () => {
  const w = begin(step)
  rows(w, DAY, { 'tu.orp': 250, 'tu.do': 0.3 })
  rows(w, HOUR, { 'tu.orp': -100, 'tu.do': 0.3 })
  expect(changes(w)).toEqual([])
  expect(w.view('x').heldSinceMs).toBeNull()
})

test('a fault does not become its own normal within its span, and what stood for the whole span does', () => {
  const own: Rule = { ...step, withinMs: 3 * HOUR, from: { kind: 'median', spanMs: 2 * DAY, leastMs: DAY }, when: {} }
  const w = begin(own)
  rows(w, 2 * DAY, { 'tu.orp': 250 })
  rows(w, 1.9 * DAY, { 'tu.orp': 50 }, 5 * MIN)
  expect(changes(w).map((c) => c.split(' ')[0])).toEqual(['raised'])
  rows(w, 2 * DAY, { 'tu.orp': 50 }, 5 * MIN)
  expect(changes(w).map((c) => c.split(' ')[0])).toEqual(['cleared'])
})

test('the current of a running pump 35 % below its own raises; at rest it says nothing, and what stands is not cleared by switching off', () => {
  const w = begin({
    kind: 'deviation',
    signal: 'transfer.current',
    from: { kind: 'median', spanMs: 7 * DAY, leastMs: 12 * HOUR },
    as: 'ratio',
    side: 'low',
    limit: 0.75,
    deadband: 0.1,
    onDelayMs: 3 * MIN,
    offDelayMs: 3 * MIN,
    when: { signal: 'transfer.run', signalForMs: MIN, both: true },
  })
  const r = noise(3)
  const on = (amps: number) => (): Record<string, number> => ({ 'transfer.current': amps + 0.1 * r(), 'transfer.run': 1 })
  const off = { 'transfer.current': 0, 'transfer.run': 0 }
  for (let i = 0; i < 20; i++) {
    rows(w, HOUR, on(4))
    rows(w, 30 * MIN, off)
  }
  expect(changes(w)).toEqual([])
  rows(w, HOUR, on(2.6))
  expect(changes(w)).toEqual(['raised 1804'])
  rows(w, HOUR, off)
  expect(changes(w)).toEqual([])
  rows(w, 30 * MIN, on(4))
  expect(changes(w)).toHaveLength(1)
})

test('turbidity judged by medians of 5 min passes over the bubbles of a single reading', () => {
  const rule: Rule = { kind: 'limit', signal: 'bio1.turbidity', side: 'high', limit: 15, deadband: 2, medianOverMs: 5 * MIN, onDelayMs: 0, offDelayMs: 0 }
  const w = begin(rule)
  rows(w, 2 * HOUR, (since) => ({ 'bio1.turbidity': (since / MIN) % 5 === 0 ? 80 : 6 }))
  expect(changes(w)).toEqual([])
  rows(w, 10 * MIN, { 'bio1.turbidity': 30 })
  expect(changes(w)).toHaveLength(1)
})

const drift: Rule = { kind: 'drift', signal: 'tu.ph', side: 'low', perDay: -0.015, deadband: 0.005, spanMs: 7 * DAY, onDelayMs: 0, offDelayMs: 0 }

test('a pH that falls 0.05 a day is a drift, one that only scatters by 0.1 is none', () => {
  for (const [perDay, raised] of [
    [-0.05, true],
    [0, false],
  ] as const) {
    const w = begin(drift)
    const r = noise(9)
    rows(w, 8 * DAY, (since) => ({ 'tu.ph': 7.4 + (perDay * since) / DAY + 0.1 * r() }), 10 * MIN)
    expect(changes(w).length > 0).toBe(raised)
  }
})

test('a forecast raises when the early end of the time left falls below its limit, never for a course that leads nowhere', () => {
  const rule: Rule = { kind: 'forecast', signal: 'tu.ph', side: 'low', limit: 6.5, spanMs: 4 * DAY, belowMs: 3 * DAY, deadbandMs: DAY, onDelayMs: 0, offDelayMs: 0 }
  const w = begin(rule)
  const r = noise(5)
  // 8.0 falling 0.1 a day is at 6.5 after 15 days: three days before is day 12.
  rows(w, 14 * DAY, (since) => ({ 'tu.ph': 8 - (0.1 * since) / DAY + 0.01 * r() }), 10 * MIN)
  const day = Number(changes(w)[0]?.split(' ')[1]) / 1440
  expect(day).toBeGreaterThan(10.5)
  expect(day).toBeLessThanOrEqual(12.2)
  const level = begin(rule)
  const s = noise(6)
  rows(level, 10 * DAY, () => ({ 'tu.ph': 6.9 + 0.05 * s() }), 10 * MIN)
  expect(changes(level)).toEqual([])
})

test('the streaming median is that of the first reading of each slot of the span, whatever comes and however it comes', () => {
  fc.assert(
    fc.property(fc.array(fc.tuple(fc.integer({ min: 1, max: 200 }), fc.integer({ min: -50, max: 50 })), { minLength: 1, maxLength: 400 }), (steps) => {
      const spanMs = 168 * 100
      const median = createSlottedMedian(spanMs)
      const all: { slot: number; value: number }[] = []
      let at = 0
      for (const [dt, value] of steps) {
        at += dt
        median.add(value, at)
        const slot = Math.floor(at / 100)
        if (slot !== all[all.length - 1]?.slot) all.push({ slot, value })
        const newest = all[all.length - 1]?.slot ?? 0
        const inSpan = all.filter((x) => x.slot > newest - 168).map((x) => x.value)
        inSpan.sort((a, b) => a - b)
        const n = inSpan.length
        expect(median.median()).toBe(n % 2 === 1 ? inSpan[n >> 1] : ((inSpan[n / 2 - 1] ?? 0) + (inSpan[n / 2] ?? 0)) / 2)
      }
      const again = createSlottedMedian(spanMs)
      again.resume(median.keep())
      expect(again.median()).toBe(median.median())
      expect(again.seenMs()).toBe(median.seenMs())
    }),
    { numRuns: 60 },
  )
})

test('the rate is that of a plain computation over all readings of the span', () => {
  const middle = (v: readonly number[]): number => {
    const s = v.toSorted((a, b) => a - b)
    return ((s[(s.length - 1) >> 1] ?? 0) + (s[s.length >> 1] ?? 0)) / 2
  }
  const rule: Rule = { ...fallingPh, side: 'high', limit: 1000, deadband: 0, spanMs: 30 * MIN }
  const w = begin(rule)
  const r = noise(11)
  const seen: { at: number; v: number }[] = []
  rows(w, 3 * HOUR, (since) => {
    const v = 7 + r()
    seen.push({ at: since, v })
    return { 'tu.ph': v }
  })
  const end = seen[seen.length - 1]?.at ?? 0
  const early = seen.filter((x) => x.at >= end - 30 * MIN && x.at <= end - 20 * MIN)
  const late = seen.filter((x) => x.at >= end - 10 * MIN)
  const mean = (of: typeof seen): number => of.reduce((sum, x) => sum + x.at / of.length, 0)
  const rate = (5 * MIN * (middle(late.map((x) => x.v)) - middle(early.map((x) => x.v)))) / (mean(late) - mean(early))
  const run = [...w.engine.runs.values()][0]
  expect(run?.rule.value()).toBeCloseTo(rate, 9)
})
