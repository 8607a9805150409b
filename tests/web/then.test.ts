import { expect, test } from 'vitest'
import type { JournalBody } from '../../server/wire.ts'
import { inSpan, loopAt, meanAt, stageOf, standings } from '../../web/state/then.ts'
import { detail, historyOf, MIN, NOW, signalOf } from './bodies.ts'

type Event = JournalBody['events'][number]
const event = (kind: string, atMs: number, more: Partial<Event> = {}): Event => ({
  seq: 1,
  alarm: 'yard/tu.do.low',
  occurrence: 'one',
  kind,
  atMs,
  recordedMs: atMs,
  state: 'unacknowledged',
  value: 1,
  digits: 1,
  limit: 2,
  unit: 'mg/L',
  by: null,
  note: null,
  what: 'Little oxygen',
  priority: 'low',
  ...more,
})
const story = [event('raised', NOW), event('acknowledged', NOW + 5 * MIN, { by: 'Ruth A.', state: 'acknowledged' }), event('cleared', NOW + 9 * MIN, { state: 'normal' })]

test('an occurrence is one line from its raise, whatever order the journal gives', () => {
  const told = { what: 'Little oxygen', letter: 'C', fromMs: NOW, answeredMs: NOW + 5 * MIN, by: 'Ruth A.', clearedMs: NOW + 9 * MIN, endMs: NOW + 9 * MIN }
  expect(standings(story)).toMatchObject([told])
  expect(standings(story.toReversed())).toMatchObject([told])
})

test('gone before anybody answered: it is cleared, and stands until it is answered', () => {
  const [it] = standings([event('raised', NOW), event('cleared', NOW + MIN, { state: 'returned' })])
  expect(it).toMatchObject({ clearedMs: NOW + MIN, answeredMs: null, endMs: null })
})

test('an alarm raised before the span and standing in it belongs to the span, one that had cleared does not', () => {
  const open = standings([event('raised', NOW)])
  expect(inSpan(open, NOW + 60 * MIN, NOW + 90 * MIN)).toHaveLength(1)
  expect(inSpan(standings(story), NOW + 60 * MIN, NOW + 90 * MIN)).toHaveLength(0)
  expect(inSpan(open, NOW - 90 * MIN, NOW - 60 * MIN)).toHaveLength(0)
})

test('the stage of an alarm follows from the signal or machine its id begins with, the longest first', () => {
  const l = detail({
    signals: [signalOf({ id: 'tu', stage: 'sump' }), signalOf({ id: 'tu.do', stage: 'tu' })],
    equipment: [{ id: 'blower', kind: 'aerator', name: 'Blower', serves: ['bio1', 'bio2'], run: null, current: null }],
  })
  expect([stageOf(l, 'yard/tu.do.low'), stageOf(l, 'yard/blower.no-air'), stageOf(l, 'yard/site.silent')]).toEqual(['tu', 'bio1', null])
})

test('a figure at a moment is that of a reading that still holds, and none in a gap', () => {
  const h = historyOf([1, 2, null, null, null, null, null, 8])
  expect(meanAt(h, NOW + 90_000, MIN)).toBe(2)
  expect(meanAt(h, NOW + 3 * MIN, MIN)).toBe(2)
  expect(meanAt(h, NOW + 5.5 * MIN, MIN)).toBeNull()
  expect(meanAt(h, NOW + 7.5 * MIN, MIN)).toBe(8)
  // Past its end the last span is asked, which holds no longer than a reading does.
  expect(meanAt(historyOf([1]), NOW - MIN, MIN)).toBeNull()
})

test('the ring then: alarms as they stood, water as it was, silent where nothing was heard', () => {
  const level = signalOf({ id: 'finished.level', quantity: 'level', unit: '%', at: 'finished', stage: 'finished' })
  const l = detail({ signals: [level, signalOf()] })
  const trends = new Map([['finished.level', historyOf([80, 78, 76, ...Array<null>(20).fill(null)])]])
  const all = standings(story)
  const at = (ms: number) => loopAt(l, all, trends, ms)
  expect(at(NOW - MIN).alarms).toEqual([])
  expect(at(NOW + MIN).alarms).toMatchObject([{ stage: 'tu', state: 'unacknowledged', priority: 'low' }])
  expect(at(NOW + 6 * MIN).alarms).toMatchObject([{ state: 'acknowledged' }])
  expect(at(NOW + 10 * MIN).alarms).toEqual([])
  expect(at(NOW + 90_000)).toMatchObject({ waterPct: 78, silent: false })
  expect(at(NOW + 20 * MIN)).toMatchObject({ waterPct: null, silent: true })
})

test('a latched alarm stands until its reset, although it is gone and answered', () => {
  const latched = standings([
    event('raised', NOW),
    event('cleared', NOW + MIN, { state: 'latched-unacknowledged' }),
    event('acknowledged', NOW + 2 * MIN, { state: 'latched-acknowledged' }),
    event('reset', NOW + 5 * MIN, { state: 'normal' }),
  ])
  const states = [0.5, 1.5, 3, 6].map((min) => loopAt(detail({ signals: [signalOf()] }), latched, new Map(), NOW + min * MIN).alarms.map((a) => a.state))
  expect(states).toEqual([['unacknowledged'], ['returned'], ['latched-acknowledged'], []])
})
