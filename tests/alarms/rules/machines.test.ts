/** Pumps, doses, probes that stand still, trips. Sizes of faults and look-alikes: arithmetic on a reference loop, or common practice, no source. */
import { expect, test } from 'vitest'
import type { Rule } from '../../../gateway/alarms/alarm.ts'
import { begin, changes, DAY, HOUR, MIN, noise, rows } from './yard.ts'
import type { Watch } from '../watch.ts'

const overRun: Rule = { kind: 'over-run', run: 'acid.run', factor: 3, floorMs: MIN, unlearnedMs: 5 * MIN, offDelayMs: MIN }

/** One pulse in the middle of a quiet hour, told when it changes. */
function pulse(w: Watch, seconds: number): void {
  rows(w, 30 * MIN, { 'acid.run': 0 })
  for (let s = 0; s < seconds; s += 10) {
    w.row({ 'acid.run': 1 })
    w.wait(10)
  }
}

test('an acid relay that sticks is raised at three of its longest normal pulses, at that moment and not at the next reading', () => {
  const w = begin(overRun)
  for (let i = 0; i < 20; i++) pulse(w, [20, 40, 30, 40][i % 4] ?? 0)
  rows(w, 30 * MIN, { 'acid.run': 0 })
  expect(changes(w)).toEqual([])
  const start = (w.clock.nowMs() - w.t0) / MIN
  rows(w, 6 * MIN, { 'acid.run': 1 })
  expect(changes(w)).toEqual([`raised ${start + 2}`])
  expect(w.view('x')).toMatchObject({ limit: 2, unit: 'min' })
})

test('until ten pulses are known a run may last five minutes, and one odd long pulse does not set what is normal', () => {
  const w = begin(overRun)
  pulse(w, 280)
  rows(w, 30 * MIN, { 'acid.run': 0 })
  expect(changes(w)).toEqual([])
  for (let i = 0; i < 12; i++) pulse(w, 40)
  rows(w, 30 * MIN, { 'acid.run': 0 })
  const start = (w.clock.nowMs() - w.t0) / MIN
  rows(w, 5 * MIN, { 'acid.run': 1 })
  expect(changes(w)).toEqual([`raised ${start + 2}`])
})

const noResponse: Rule = { kind: 'no-response', run: 'acid.run', signal: 'tu.ph', side: 'down', doses: 5, settleMs: 10 * MIN, share: 0.3, onDelayMs: 0, offDelayMs: 0 }

/** `n` doses of a minute that take `fall` each, with noise of the probe; pH comes back before the next one. */
function doses(w: Watch, n: number, fall: number, r: () => number): void {
  for (let i = 0; i < n; i++) {
    rows(w, 50 * MIN, () => ({ 'tu.ph': 7.3 + 0.02 * r(), 'acid.run': 0 }))
    rows(w, MIN, () => ({ 'tu.ph': 7.3 + 0.02 * r(), 'acid.run': 1 }))
    rows(w, 20 * MIN, () => ({ 'tu.ph': 7.3 - fall + 0.02 * r(), 'acid.run': 0 }))
  }
}

test('five doses that do nothing are found although each normal one moves pH by less than a tenth; noise on normal ones is not', () => {
  const w = begin(noResponse)
  const r = noise(4)
  doses(w, 40, 0.08, r)
  expect(changes(w)).toEqual([])
  doses(w, 4, 0, r)
  doses(w, 2, 0, r)
  expect(changes(w).map((c) => c.split(' ')[0])).toEqual(['raised'])
  doses(w, 6, 0.08, r)
  expect(changes(w).map((c) => c.split(' ')[0])).toEqual(['cleared'])
})

test('alkalinity that slowly halves the response is no dose without one', () => {
  const w = begin(noResponse)
  const r = noise(8)
  for (let i = 0; i < 12; i++) doses(w, 5, 0.08 + 0.01 * i, r)
  for (let i = 0; i < 12; i++) doses(w, 5, 0.2 - 0.01 * i, r)
  expect(changes(w)).toEqual([])
})

const noEffect = (more: Partial<Extract<Rule, { kind: 'no-effect' }>> = {}): Rule => ({
  kind: 'no-effect',
  run: 'transfer.run',
  flow: null,
  source: 'sump.level',
  target: 'finished.level',
  change: 5,
  withinMs: 20 * MIN,
  idle: 'hp.run',
  onDelayMs: 0,
  offDelayMs: 0,
  ...more,
})

test('a pump that runs airlocked while somebody washes: the sump rises and the finished tank falls', () => {
  const w = begin(noEffect())
  // 23 L/min out of 5.7 m3 are 0.4 % a minute; the sump of 1.1 m3 takes what runs off the pad.
  rows(w, HOUR, (since) => ({ 'transfer.run': 1, 'hp.run': 1, 'sump.level': Math.min(95, 40 + since / MIN), 'finished.level': 90 - (0.4 * since) / MIN }))
  expect(changes(w)[0]).toMatch(/^raised/)
})

test('a pump that keeps pace with a wash moves no level, and is no fault', () => {
  const w = begin(noEffect())
  rows(w, 4 * HOUR, { 'transfer.run': 1, 'hp.run': 1, 'sump.level': 40, 'finished.level': 80 })
  expect(changes(w)).toEqual([])
})

test('a pump that runs while nobody washes must move water; at rest nothing is said, and what stands goes on until it does', () => {
  const w = begin(noEffect())
  const idle = { 'hp.run': 0, 'sump.level': 40, 'finished.level': 80 }
  rows(w, 2 * HOUR, { ...idle, 'transfer.run': 0 })
  expect(changes(w)).toEqual([])
  rows(w, 30 * MIN, { ...idle, 'transfer.run': 1 })
  expect(changes(w)).toEqual(['raised 140'])
  rows(w, HOUR, { ...idle, 'transfer.run': 0 })
  expect(changes(w)).toEqual([])
  rows(w, 30 * MIN, (since) => ({ 'hp.run': 0, 'transfer.run': 1, 'sump.level': 40 - (since - 3.5 * HOUR) / (2 * MIN), 'finished.level': 80 }))
  expect(changes(w).map((c) => c.split(' ')[0])).toEqual(['cleared'])
})

test('flow is the better proof: running without it for its time raises, whatever the levels say', () => {
  const w = begin(noEffect({ flow: { signal: 'transfer.flow', low: 5 }, withinMs: 3 * MIN, onDelayMs: 2 * MIN }))
  const still = { 'hp.run': 0, 'sump.level': 40, 'finished.level': 80 }
  rows(w, 30 * MIN, { ...still, 'transfer.run': 1, 'transfer.flow': 25 })
  rows(w, 30 * MIN, { ...still, 'transfer.run': 0, 'transfer.flow': 0 })
  expect(changes(w)).toEqual([])
  rows(w, 10 * MIN, { ...still, 'transfer.run': 1, 'transfer.flow': 0.5 })
  expect(changes(w)).toEqual(['raised 65'])
})

const stuckWash: Rule = {
  kind: 'stuck',
  signal: 'tu.do',
  change: 0.3,
  forMs: 20 * MIN,
  through: { signal: 'hp.run', settleMs: 30 * MIN, times: 2 },
  restsLow: 0.1,
  restsHigh: null,
  onDelayMs: 0,
  offDelayMs: 0,
}

/** Washes of 40 min with an hour of rest; oxygen as told by the minute since the wash began (negative: before). */
function washes(w: Watch, n: number, oxygen: (sinceWash: number) => number): void {
  for (let i = 0; i < n; i++) {
    const from = w.clock.nowMs() - w.t0 + HOUR
    rows(w, HOUR, { 'tu.do': oxygen(-1), 'hp.run': 0 })
    rows(w, 40 * MIN, (since) => ({ 'tu.do': oxygen((since - from) / MIN), 'hp.run': 1 }))
  }
  rows(w, HOUR, { 'tu.do': oxygen(-1), 'hp.run': 0 })
}

test('an oxygen probe that stands still through two washes is stuck; an idle weekend without a wash proves nothing', () => {
  const w = begin(stuckWash)
  rows(w, 2 * DAY, { 'tu.do': 8.4, 'hp.run': 0 })
  expect(changes(w)).toEqual([])
  washes(w, 3, () => 8.4)
  expect(changes(w).map((c) => c.split(' ')[0])).toEqual(['raised'])
})

test('a dip in either wash is movement, and oxygen that lies at 0 after air is lost is at its end and not stuck', () => {
  const w = begin(stuckWash)
  washes(w, 4, (m) => (m < 0 ? 8.4 : 8.4 - 0.1 * m))
  washes(w, 4, () => 0)
  expect(changes(w)).toEqual([])
})

test('the same value for a day is suspect, a value at its end never, and a gap in the readings does not count', () => {
  const rule: Rule = { kind: 'stuck', signal: 'sump.level', change: 2, forMs: DAY, through: null, restsLow: 0, restsHigh: 100, onDelayMs: 0, offDelayMs: 0 }
  const w = begin(rule)
  rows(w, 2 * DAY, { 'sump.level': 0 })
  rows(w, 20 * HOUR, { 'sump.level': 41 })
  w.wait(6 * 3600)
  rows(w, 3 * HOUR, { 'sump.level': 41 })
  expect(changes(w)).toEqual([])
  rows(w, 2 * HOUR, { 'sump.level': 41 })
  expect(changes(w).map((c) => c.split(' ')[0])).toEqual(['raised'])
  rows(w, 5 * MIN, { 'sump.level': 44 })
  expect(changes(w).map((c) => c.split(' ')[0])).toEqual(['cleared'])
})

test.each([
  [8.44, 8.45],
  [7.31, 7.32],
  [7.32, 7.31],
])('a value that goes by one step of its resolution, %d to %d, has moved, however the difference rounds', (a, b) => {
  const w = begin({ kind: 'stuck', signal: 'tu.ph', change: 0.01, forMs: 2 * HOUR, through: null, restsLow: null, restsHigh: null, onDelayMs: 0, offDelayMs: 0 })
  rows(w, DAY, (since) => ({ 'tu.ph': Math.floor(since / HOUR) % 2 === 0 ? a : b }))
  expect(changes(w)).toEqual([])
  rows(w, 3 * HOUR, { 'tu.ph': a })
  expect(changes(w).map((c) => c.split(' ')[0])).toEqual(['raised'])
})

test('redox while ozone is made: two runs far below the own usual raise, one does not, and the nights between are nobody’s business', () => {
  const rule: Rule = {
    kind: 'per-run',
    run: 'ozone.run',
    signal: 'finished.orp',
    take: 'max',
    side: 'low',
    limit: -150,
    deadband: 30,
    times: 2,
    leastRunMs: 30 * MIN,
    onDelayMs: 0,
    offDelayMs: 0,
  }
  const w = begin(rule)
  const night = (top: number): void => {
    rows(w, 12 * HOUR, { 'finished.orp': 220, 'ozone.run': 0 }, 3 * MIN)
    rows(w, 2 * HOUR, { 'finished.orp': top, 'ozone.run': 1 }, 3 * MIN)
  }
  for (let i = 0; i < 8; i++) night(650 + 5 * i)
  night(400)
  night(660)
  night(400)
  rows(w, HOUR, { 'finished.orp': 220, 'ozone.run': 0 })
  expect(changes(w)).toEqual([])
  night(420)
  rows(w, HOUR, { 'finished.orp': 220, 'ozone.run': 0 })
  expect(changes(w).map((c) => c.split(' ')[0])).toEqual(['raised'])
})

test('twice the acid for the water washed is raised; two and a half times the washing with its own acid is a heavy day', () => {
  const rule: Rule = { kind: 'day-total', signal: 'acid.run', wash: 'hp.volume', factor: 2, least: 10, onDelayMs: 0, offDelayMs: 0 }
  const w = begin(rule)
  let litres = 0
  const day = (washL: number, dosedMin: number): void =>
    rows(
      w,
      DAY,
      (since) => {
        const hour = Math.floor((since % DAY) / HOUR)
        const minute = (since % HOUR) / MIN
        if (hour >= 8 && hour < 16) litres += washL / 160
        return { 'hp.volume': Math.round(litres), 'acid.run': hour >= 8 && hour < 16 && minute < dosedMin ? 1 : 0 }
      },
      3 * MIN,
    )
  for (let i = 0; i < 10; i++) day(9000, 9)
  day(24_000, 24)
  expect(changes(w)).toEqual([])
  day(9000, 24)
  expect(changes(w)[0]).toMatch(/^raised/)
})
