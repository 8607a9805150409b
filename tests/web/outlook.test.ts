import { expect, test } from 'vitest'
import { normalAtLength, saidComing, saidNormal, sorted, type Coming, type NormalOf } from '../../web/state/outlook.ts'

const NOW = Date.UTC(2026, 10, 25, 9)
const HOUR = 3_600_000
const DAY = 24 * HOUR
const coming = (more: Partial<Coming> = {}): Coming => ({
  id: 'acid',
  what: 'Acid used up',
  stage: 'tu',
  kind: 'stock',
  says: 'told',
  lowMs: NOW + 8 * DAY,
  medianMs: NOW + 10 * DAY,
  highMs: NOW + 14 * DAY,
  untilMs: null,
  from: 40,
  basis: 'at 3 L a day',
  left: { value: 28.4, unit: 'L' },
  why: null,
  unlock: null,
  ...more,
})

test.each([
  ['days away, by the day', coming(), 'about 5 Dec', '3 to 9 Dec'],
  ['over the turn of the year', coming({ medianMs: NOW + 40 * DAY, highMs: NOW + 50 * DAY }), 'about 4 Jan 2027', '3 Dec to 14 Jan 2027'],
  ['next year', coming({ lowMs: NOW + 38 * DAY, medianMs: NOW + 40 * DAY, highMs: NOW + 80 * DAY }), 'about 4 Jan 2027', '2 Jan to 13 Feb 2027'],
  ['hours away, by the clock', coming({ lowMs: NOW + HOUR, medianMs: NOW + 2 * HOUR, highMs: NOW + 3 * HOUR }), 'in about 2\u00a0h', '10:00 to 12:00'],
  ['without a sure end', coming({ highMs: null }), 'about 5 Dec', '3 Dec or later, with no sure end'],
  ['both ends on one day', coming({ lowMs: NOW + 10 * DAY, highMs: NOW + 10 * DAY + HOUR }), 'about 5 Dec', '5 Dec'],
  ['reached', coming({ says: 'reached', lowMs: null, medianMs: null, highMs: null }), 'now', ''],
  ['far off', coming({ says: 'beyond', lowMs: null, medianMs: null, highMs: null, untilMs: NOW + 120 * DAY }), 'not before 25 Mar 2027', 'more likely than not'],
  ['withheld', coming({ says: 'withheld', lowMs: null, medianMs: null, highMs: null, basis: null }), '–', ''],
])('what comes %s', (_, e, when, between) => {
  expect(saidComing(e, 'UTC', NOW)).toMatchObject({ when, between })
})

test('a line says what is left and on what it rests', () => {
  expect(saidComing(coming(), 'UTC', NOW).rests).toBe('28\u00a0L left, at 3 L a day')
  expect(saidComing(coming({ left: null }), 'UTC', NOW).rests).toBe('at 3 L a day')
})

test('what only does not come near is kept apart from what cannot be told', () => {
  const near = coming({ says: 'withheld', why: 'the level does not move towards the limit' })
  const blind = coming({ says: 'withheld', why: 'pH is not measured', unlock: 'pH in the treatment unit' })
  expect(sorted([coming(), near, blind])).toEqual({ told: [coming()], notInSight: [near], withheld: [blind] })
})

const normal = (more: Partial<NormalOf> = {}): NormalOf => ({
  id: 'tu.do.saturation',
  band: { low: 84.6, middle: 91, high: 98.2, hours: 40, days: 12, notCompared: ['hourOfDay'] },
  why: null,
  days: 60,
  needed: 28,
  first: { value: 93, sd: 1.4, atMs: NOW - 40 * DAY },
  against: null,
  ...more,
})
const none = normal({ band: null, why: 'only 12 days of this loop are known and 28 are needed: no band yet', days: 12, first: null })

test('a band stands beside the figure, and a figure outside it says on which side', () => {
  expect(saidNormal(normal(), 0, '%', 90)).toEqual({ text: 'usually 85 to 98\u00a0%', has: true, outside: null })
  expect(saidNormal(normal(), 0, '%', 60)?.outside).toBe('below')
  expect(saidNormal(normal(), 0, '%', 99)?.outside).toBe('above')
  expect(saidNormal(none, 0, '%', 90)).toEqual({ text: 'no band yet: 12 of 28 days', has: false, outside: null })
  expect(saidNormal(normal({ band: null, why: 'x' }), 0, '%', 90)?.text).toBe('no band for an hour like this yet')
  expect(saidNormal(undefined, 0, '%', 90)).toBeNull()
})

test('the panel gives both numbers, what could not be compared, and whether the band has crept', () => {
  const crept = normal({ against: { offFirst: -2, offBand: 0, band: 'inside', crept: true } })
  expect(normalAtLength(crept, 0, '%', 'an alarm stands')).toEqual([
    'Now: 85 to 98\u00a0%, middle 91, from 40 hours like this one on 12 days (as much washed, as long since the last wash, water as warm).',
    'First weeks, up to 16 Oct 2026: 93, its days differing by 1. Frozen.',
    'The band has left the first weeks by more than three of their deviations.',
    'Learning is paused: an alarm stands.',
  ])
  expect(normalAtLength(none, 0, '%', null)).toEqual([
    'No band yet: only 12 days of this loop are known and 28 are needed.',
    'First weeks: not yet; 28 days that may be learned from are needed.',
  ])
})
