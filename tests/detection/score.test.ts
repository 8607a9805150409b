/** The scorer itself: a detector that is perfect, silent or shrill by construction gets the figures it must get. */
import { expect, test } from 'vitest'
import { always, bestElapsed, elapsed, meanScore, never, random } from './controls.ts'
import { troubleOf } from './groups.ts'
import type { Annunciation, Label, LoopRun } from './label.ts'
import { airInTime, chatters, foundBy, quantile, score, WEIGHTS } from './score.ts'
import { report } from './table.ts'
import { ringOf, wakesOf } from './wake.ts'

const MIN = 60_000
const HOUR = 60 * MIN
const DAY = 24 * HOUR
const label = (over: Partial<Label> = {}): Label => ({
  id: 'a fault',
  site: 'yard',
  level: 'normal',
  scenario: 'F1',
  alike: false,
  onsetMs: 10 * DAY,
  endMs: 10 * DAY + 8 * HOUR,
  helpsToMs: 10 * DAY + 4 * HOUR,
  explainsToMs: 11 * DAY,
  names: ['air'],
  follows: ['oxygen'],
  seen: 'yes',
  air: true,
  ...over,
})
const told = (over: Partial<Annunciation> = {}): Annunciation => ({
  site: 'yard',
  alarm: 'yard/blower.no-air',
  trouble: 'air',
  priority: 'high',
  wokeMs: over.toldMs ?? 10 * DAY,
  called: false,
  atMs: over.toldMs ?? 10 * DAY,
  toldMs: 10 * DAY,
  clearedMs: (over.toldMs ?? 10 * DAY) + HOUR,
  soInTruth: null,
  value: null,
  ...over,
})
const run = (labels: readonly Label[], list: readonly Annunciation[]): LoopRun => ({
  site: 'yard',
  level: 'normal',
  fromMs: 0,
  toMs: 90 * DAY,
  reportEveryMs: MIN,
  labels,
  told: list,
  counters: {},
  troubles: [],
})
const faults = [label(), label({ id: 'second', onsetMs: 40 * DAY, endMs: 40 * DAY + HOUR, helpsToMs: 40 * DAY + 4 * HOUR, explainsToMs: 41 * DAY })]

test('a perfect detector finds all at once, wakes nobody in vain and costs nothing', () => {
  const s = score([
    run(
      faults,
      faults.map((l) => told({ toldMs: l.onsetMs })),
    ),
  ])
  expect(s).toMatchObject({ recall: 1, observableFound: 2, medianDelayMs: 0, falseWakes: 0, wakes: 2, trueWakesPerFault: 1, falseItems: 0, cost: 0, youden: 1, airInTime: [2, 2] })
  expect(s.wakesPerLoopYear).toBe(WEIGHTS.faultsPerLoopYear)
})

test('a detector that never speaks finds nothing and costs every fault in full', () => {
  const s = never([run(faults, [])])
  expect(s).toMatchObject({ recall: 0, wakes: 0, medianDelayMs: null, youden: 0, cost: WEIGHTS.faultsPerLoopYear * WEIGHTS.missed })
})

test('a detector that speaks at every report finds all and wakes somebody every hour of the quiet days', () => {
  const s = always([run(faults, [])])
  expect(s.recall).toBe(1)
  expect(s.medianDelayMs).toBe(0)
  expect(s.youden).toBe(0)
  // 90 days of 24 wakes, less the two spans of a day that a fault explains.
  expect(s.wakes).toBe(90 * 24)
  expect(s.falseWakes).toBeGreaterThanOrEqual(88 * 24 - 2)
  expect(s.falseWakes).toBeLessThanOrEqual(88 * 24)
})

test('an alarm every N hours, and alarms at random, cost more than silence on faults that are rare', () => {
  const runs = [run(faults, [told({ toldMs: 10 * DAY + 5 * MIN }), told({ toldMs: 40 * DAY + 5 * MIN })])]
  expect(elapsed(runs, 24).wakes).toBe(89)
  expect(bestElapsed(runs).score.cost).toBeGreaterThan(score(runs).cost)
  const tries = random(runs, 50, 1)
  expect(meanScore(tries).cost).toBeGreaterThan(score(runs).cost)
  expect(meanScore(tries)).toEqual(meanScore(random(runs, 50, 1)))
  expect(meanScore(tries).wakes).toBeCloseTo(2, 1)
  expect(report(runs, 1).beatsAll).toBe(true)
  expect(report([run(faults, [])], 1).beatsAll).toBe(false)
})

test('a fault is found only by an alarm that names it, told after its onset and while that still helps', () => {
  const l = label()
  expect(foundBy(l, [told({ toldMs: l.onsetMs + HOUR })]).delayMs).toBe(HOUR)
  expect(foundBy(l, [told({ toldMs: l.onsetMs - MIN })]).by).toBeNull()
  expect(foundBy(l, [told({ toldMs: l.helpsToMs + 1 })]).by).toBeNull()
  expect(foundBy(l, [told({ toldMs: l.onsetMs + MIN, trouble: 'oxygen' })]).by).toBeNull()
  expect(foundBy(l, [told({ toldMs: l.onsetMs + MIN, site: 'another' })]).by).toBeNull()
})

test('what may follow from a fault is no detection and no false alarm; anything else in its span is false', () => {
  const at = 10 * DAY + HOUR
  expect(score([run([label()], [told({ toldMs: at, trouble: 'oxygen' })])])).toMatchObject({ recall: 0, falseWakes: 0, wakes: 1 })
  expect(score([run([label()], [told({ toldMs: at, trouble: 'frost' })])])).toMatchObject({ recall: 0, falseWakes: 1 })
})

test('a look-alike explains only what it says it may bring', () => {
  const alike = label({ alike: true, names: [], follows: ['link'], seen: 'no', air: false })
  expect(score([run([alike], [told({ toldMs: alike.onsetMs + MIN, trouble: 'link' })])])).toMatchObject({ falseWakes: 0, faults: 0, alikes: 1, recall: null })
  expect(score([run([alike], [told({ toldMs: alike.onsetMs + MIN })])]).falseWakes).toBe(1)
  // Not even a control that names everything is right about one.
  expect(score([run([alike], [told({ toldMs: alike.onsetMs + MIN, trouble: 'any' })])]).falseWakes).toBe(1)
})

test('a fault that a level cannot see counts as neither found nor missed', () => {
  const s = score([run([label({ seen: 'no' }), label({ seen: 'partly' })], [])])
  expect(s).toMatchObject({ cannotTell: 1, partly: 1, observable: 0, recall: null, faults: 2 })
})

test('calls of one loop within an hour of the first are one wake; a waking alarm among them that is explained makes it a true one', () => {
  const list = [0, 20, 59, 61].map((m) => told({ toldMs: 10 * DAY + m * MIN, trouble: m === 0 ? 'frost' : 'air' }))
  expect(wakesOf(list).map((w) => w.by.length)).toEqual([3, 1])
  expect(score([run([label()], list)]).falseWakes).toBe(0)
})

test('a verdict that turns to a wake hours after the alarm was told wakes then; one that rings while the desk is staffed is a call and a line of the day list', () => {
  const late = told({ toldMs: 10 * DAY, wokeMs: 10 * DAY + 5 * HOUR })
  expect(wakesOf([late]).map((w) => w.atMs)).toEqual([10 * DAY + 5 * HOUR])
  expect(ringOf({ rings: true, deskMs: 100 }, 99)).toBe('wake')
  expect(ringOf({ rings: true, deskMs: 100 }, 100)).toBe('call')
  expect(ringOf({ rings: false, deskMs: 100 }, 99)).toBe('none')
  expect(score([run([], [told({ wokeMs: null, called: true })])])).toMatchObject({ wakes: 0, calls: 1, falseCalls: 1, items: 1, falseItems: 1 })
})

test('the day list holds one line per alarm and day, chatter is the third time within an hour, standing is longer than a day', () => {
  const low = (toldMs: number): Annunciation => told({ toldMs, wokeMs: null, priority: 'low', trouble: 'frost', alarm: 'yard/cabinet.low' })
  expect(score([run([], [low(0), low(HOUR), low(DAY)])])).toMatchObject({ items: 2, falseItems: 2, wakes: 0 })
  expect(chatters([0, 20, 40, 60].map((m) => low(m * MIN)))).toBe(1)
  expect(chatters([0, 40, 80, 120].map((m) => low(m * MIN)))).toBe(0)
  expect(
    score([
      run(
        [],
        [
          { ...low(0), clearedMs: DAY + 1 },
          { ...low(0), clearedMs: DAY },
        ],
      ),
    ]).standing,
  ).toBe(1)
})

test('an aerator alarm is early enough before a quarter of the time to 1 mg/L, or at once where that is short', () => {
  const slow = label({ noOxygenMs: 10 * DAY + 80 * MIN })
  expect(airInTime(foundBy(slow, [told({ toldMs: 10 * DAY + 19 * MIN })]), MIN)).toBe(true)
  expect(airInTime(foundBy(slow, [told({ toldMs: 10 * DAY + 21 * MIN })]), MIN)).toBe(false)
  const fast = label({ noOxygenMs: 10 * DAY + 6 * MIN })
  expect(airInTime(foundBy(fast, [told({ toldMs: 10 * DAY + 12 * MIN })]), MIN)).toBe(true)
  expect(airInTime(foundBy(fast, [told({ toldMs: 10 * DAY + 13 * MIN })]), MIN)).toBe(false)
  expect(airInTime(foundBy(label({ level: 'poor' }), []), MIN)).toBeNull()
})

test('quantiles lie between ranks', () => {
  expect(quantile([], 0.5)).toBeNull()
  expect(quantile([1, 2, 3, 4], 0.5)).toBe(2.5)
  expect(quantile([0, 10], 0.9)).toBe(9)
})

test.each([
  ['yard/blower.no-air', 'air'],
  ['yard/bio1.do.low', 'oxygen'],
  ['yard/tu.ph.low-low-acid', 'dosing'],
  ['yard/tu.ph.low-low', 'acid'],
  ['yard/acid.run.long', 'dosing'],
  ['yard/tu.ph.high', 'alkaline'],
  ['yard/sump.high.wet', 'sump'],
  ['yard/finished.level.low-low', 'water'],
  ['yard/finished.low.dry', 'water'],
  ['yard/containment.leak.wet', 'spill'],
  ['yard/tu.do.blind', 'blind'],
  ['yard/site.silent', 'link'],
  ['yard/mains.present.absent', 'power'],
  ['yard/cabinet.temperature.low', 'frost'],
  ['yard/tu.temperature.high', 'heat'],
  ['yard/sump.h2s.high', 'gas'],
  ['yard/filter.roll-end.reached', 'paper'],
  ['yard/panel.auto.off', 'selector'],
])('%s names %s', (alarm, trouble) => {
  expect(troubleOf(alarm)).toBe(trouble)
})
