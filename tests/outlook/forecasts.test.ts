import { expect, test } from 'vitest'
import { fallsByDay } from '../../gateway/outlook/day-amounts.ts'
import { beforeDoses } from '../../gateway/outlook/before-dose.ts'
import { type Expected, openEnded } from '../../gateway/outlook/expected.ts'
import { forecasts } from '../../gateway/outlook/forecasts.ts'
import type { StoredLoop } from '../../gateway/outlook/stored.ts'
import type { HistoryReading } from '../../gateway/history/history.ts'
import type { Forecast } from '../../gateway/trends/outlook.ts'
import { ALL, alarmsOf, bucket, counter, DAY, DAYS, DRUMS, entry, HOUR, NOW, site, stored } from './store.ts'

const full = site(ALL, DRUMS)
const of = (s: StoredLoop, id: string): Expected => {
  const found = forecasts(s).find((e) => e.id === id)
  if (!found) throw new Error(`no line ${id}`)
  return found
}
const told = (e: Expected): Forecast => {
  if (e.outlook.kind !== 'forecast') throw new Error(`${e.what}: ${JSON.stringify(e.outlook)}`)
  return e.outlook
}
const because = (e: Expected): string => (e.outlook.kind === 'not-observable' ? e.outlook.because : `said ${e.outlook.kind}`)

/** 9 to 11 m3 on a weekday, none at the weekend; 1 h of the acid pump (3 L) for 10 m3. */
const litres = (kind: string, i: number): number => (kind === 'weekday' ? 9000 + 1000 * (i % 3) : 0)
const WASH = counter(DAYS, (d, i) => litres(d.kind, i), 500_000)
const RUN = [...DAYS.map((d, i) => litres(d.kind, i) / 10_000), 0]
const acid = (log: StoredLoop['log'], more: Partial<StoredLoop> = {}): StoredLoop =>
  stored(full, { hours: new Map([['hp.volume', WASH]]), runHours: new Map([['acid.run', RUN]]), log, ...more })

test('a drum runs out by what a cubic metre takes times the cubic metres to come, from the refill on', () => {
  // Filled to 60 L fourteen days ago: ten weekdays of about 3 L leave 30 L; ten more weekdays from Wednesday 4 March end on the 17th.
  const line = of(acid([entry('refill', 14, { item: 'acid', value: 60, unit: 'L' })]), 'acid')
  const f = told(line)
  expect(line.left?.value).toBeCloseTo(60 - 3 * DAYS.slice(-14).reduce((sum, d, i) => sum + litres(d.kind, i + 28) / 10_000, 0), 6)
  expect(line.left?.value).toBeGreaterThan(28)
  expect(f.medianMs).toBeGreaterThan(Date.UTC(2026, 2, 16))
  expect(f.medianMs).toBeLessThan(Date.UTC(2026, 2, 19))
  expect(f.lowMs).toBeLessThan(f.medianMs)
  expect(f.highMs).toBeGreaterThan(f.medianMs)
  expect(line.basis).toMatch(/^at 0\.30 L\/m³ and 7\.\d m³ a day, by the run time of acid pump$/)
})

test('without a refill in the site log a drum without a level is withheld, and the entry is what unlocks it', () => {
  const line = of(acid([]), 'acid')
  expect(because(line)).toBe('how much is left is not known: write the next refill into the site log')
  expect(line.unlock).toBe('A refill of acid in the site log, with what is now in it')
  expect(line.left).toBeNull()
})

test('a refill that a later entry corrects no longer counts', () => {
  const wrong = entry('refill', 14, { item: 'acid', value: 600, unit: 'L', id: 7 })
  const right = entry('refill', 14, { item: 'acid', value: 60, unit: 'L', id: 8, corrects: 7 })
  expect(of(acid([right, wrong]), 'acid').left?.value).toBeLessThan(35)
})

test('a level in the drum says what is left, and what the pump truly gives', () => {
  const withLevel = site(`${ALL}\n  acid.level:`, DRUMS)
  // The drum loses half of what the nameplate of the pump says.
  let pct = 90
  const level = DAYS.flatMap((d, i) =>
    Array.from({ length: 24 }, (_, h) => {
      const from = pct
      if (h === 10) pct -= (100 / 60) * 1.5 * (litres(d.kind, i) / 10_000)
      return bucket(d.fromMs + h * HOUR, from, pct)
    }),
  )
  const hours = new Map([
    ['hp.volume', WASH],
    ['acid.level', level],
  ])
  const line = of({ ...acid([], { hours }), site: withLevel, alarms: alarmsOf(withLevel) }, 'acid')
  expect(line.left?.value).toBeCloseTo(0.6 * pct, 6)
  expect(line.basis).toMatch(/^at 0\.15 L\/m³/)
  expect(line.basis).toContain('and the fall of the level in its drum')
  told(line)
})

test('days of an empty drum teach nothing, however long its pump ran on', () => {
  const withLevel = site(`${ALL}\n  acid.level:`, DRUMS)
  let pct = 90
  const empty = (i: number): boolean => i < 7
  const level = DAYS.flatMap((d, i) =>
    Array.from({ length: 24 }, (_, h) => {
      const from = empty(i) ? 0 : pct
      if (!empty(i) && h === 10) pct -= (100 / 60) * 1.5 * (litres(d.kind, i) / 10_000)
      return bucket(d.fromMs + h * HOUR, from, empty(i) ? 0 : pct)
    }),
  )
  const hours = new Map([
    ['hp.volume', WASH],
    ['acid.level', level],
  ])
  const run = RUN.map((h, i) => (empty(i) ? 20 : h))
  const line = of({ ...acid([], { hours, runHours: new Map([['acid.run', run]]) }), site: withLevel, alarms: alarmsOf(withLevel) }, 'acid')
  expect(line.basis).toMatch(/^at 0\.15 L\/m³/)
})

test('days of which too little is known have no figure: with fewer than fourteen known ones the forecast is withheld', () => {
  const gaps = WASH.map((b) => (b.fromMs < NOW - 10 * DAY ? bucket(b.fromMs, null) : b))
  const run = RUN.map((h, i) => (i < 32 ? null : h))
  const s = acid([entry('refill', 5, { item: 'acid', value: 60, unit: 'L' })], { hours: new Map([['hp.volume', gaps]]), runHours: new Map([['acid.run', run]]) })
  expect(because(of(s, 'acid'))).toBe('only 10 days have a figure and 14 are needed')
  expect(of(s, 'acid').unlock).toBe('Time: nothing else is missing')
})

test('a paper roll is dated by the advances of the roll before it, whatever their length', () => {
  const index = counter(DAYS, (d, i) => litres(d.kind, i) / 100, 20)
  const hours = new Map([
    ['hp.volume', WASH],
    ['filter.index', index],
  ])
  const one = stored(full, { hours, log: [entry('replacement', 7, { item: 'paper roll' })] })
  expect(because(of(one, 'paper'))).toContain('one roll change stands in the site log in 42 days and two are needed')
  // A roll of 28 days, changed 7 days ago: three quarters of it are left, and three weeks at the same pace.
  const two = stored(full, { hours, log: [entry('replacement', 7, { item: 'paper roll' }), entry('replacement', 35, { item: 'paper roll' })] })
  const line = of(two, 'paper')
  expect(line.left?.value).toBeCloseTo(75, -1)
  expect(Math.abs(told(line).medianMs - (NOW + 21 * DAY))).toBeLessThan(2.5 * DAY)
})

test('service hours: from the entry that says when it was done, by the hour meter', () => {
  const meter = counter(DAYS, (d) => (d.kind === 'weekday' ? 1 : 0), 4000)
  // 1 h a weekday, 20 weekdays in 28 days.
  const s = stored(full, { hours: new Map([['hp.hours', meter]]), log: [entry('replacement', 28, { about: 'hp', item: 'oil' })] })
  const line = of(s, 'hp')
  expect(line.left).toEqual({ value: 280, unit: 'h' })
  expect(line.outlook).toEqual({ kind: 'beyond', untilMs: NOW + 120 * DAY })
  expect(because(of(stored(full, { hours: new Map([['hp.hours', meter]]) }), 'hp'))).toBe('no service of it stands in the site log in 42 days')
})

test('pH goes by the values before each dose, day by day, towards the side it drifts to', () => {
  // Two doses a day; a twentieth of a pH up each day from 7.6: the limit is 9.
  const points = DAYS.slice(-28).flatMap((d, i) => [8, 15].map((h) => ({ atMs: d.fromMs + h * HOUR, value: 7.4 + 0.04 * i + 0.01 * (h % 2) })))
  const line = of(stored(full, { beforeDoses: new Map([['tu.ph', points]]) }), 'tu.ph')
  const f = told(line)
  expect(line.what).toBe('pH over 9, treatment unit')
  // 7.4 + 0.04 i = 9 at i = 40: twelve days after the 28th, which was yesterday.
  expect(Math.abs(f.medianMs - (NOW + 12.5 * DAY))).toBeLessThan(1.5 * DAY)
  expect(line.basis).toBe('at the drift of 28 days, before each dose')
})

test('a late end further off than the method looks ahead is no date', () => {
  const f: Forecast = { kind: 'forecast', lowMs: NOW + DAY, medianMs: NOW + 20 * DAY, highMs: NOW + 700 * DAY, from: 24 }
  expect(openEnded(f, NOW + 84 * DAY)).toEqual({ ...f, highMs: Number.POSITIVE_INFINITY })
  expect(openEnded(f, NOW + 701 * DAY)).toBe(f)
  expect(openEnded({ kind: 'reached' }, NOW)).toEqual({ kind: 'reached' })
})

test('a pH probe that was set in buffers has a course of its own from there', () => {
  const points = DAYS.slice(-28).flatMap((d, i) => [8, 15].map((h) => ({ atMs: d.fromMs + h * HOUR, value: 7.4 + 0.04 * i })))
  const s = stored(full, { beforeDoses: new Map([['tu.ph', points]]), log: [entry('calibration', 4, { about: 'tu.ph' })] })
  expect(because(of(s, 'tu.ph'))).toBe('only 4 readings are there since the last gap and 10 are needed')
})

test('the value before a dose is the newest pH before the contact closes; an unknown contact begins no dose', () => {
  const r = (minute: number, value: number | null, quality: HistoryReading['quality'] = 'good'): HistoryReading => ({
    sourceMs: minute * 60_000,
    receivedMs: 0,
    value,
    quality,
    sub: 'ok',
    qc: 1,
  })
  const ph = [r(0, 7.2), r(1, 7.3), r(2, 7.1), r(3, 3, 'bad'), r(4, 7.25), r(9, 7.4)]
  const run = [r(0, 0), r(1.5, 1), r(2.5, 0), r(3.5, 1), r(3.8, null), r(5, 1), r(6, 0), r(20, 1)]
  expect(beforeDoses(ph, run, 5 * 60_000)).toEqual([
    { atMs: 60_000, value: 7.3 },
    { atMs: 2 * 60_000, value: 7.1 },
  ])
})

test('finished water that falls while washing is dated by the clock; at night it is not in sight', () => {
  const falling = Array.from({ length: 60 }, (_, m) => ({ atMs: NOW - (59 - m) * 60_000, value: Math.round(80 - 0.5 * m - (m % 2 ? 0.3 : 0)) }))
  const line = of(stored(full, { recent: new Map([['finished.level', falling]]) }), 'finished.level')
  expect(line.what).toBe('Finished water at 10 %')
  // 50 % now, 0.5 % a minute: 80 minutes to 10 %.
  expect(Math.abs(told(line).medianMs - (NOW + 80 * 60_000))).toBeLessThan(8 * 60_000)
  const still = Array.from({ length: 60 }, (_, m) => ({ atMs: NOW - (59 - m) * 60_000, value: 70 }))
  const night = of(stored(full, { recent: new Map([['finished.level', still]]) }), 'finished.level')
  expect(because(night)).toBe('the signal did not move by more than its smallest step')
  expect(night.unlock).toBeNull()
})

test('a fall over a day is what was taken, and a rise makes the day unknown', () => {
  const two = DAYS.slice(0, 2)
  const day = (d: number, of: (h: number) => number) => Array.from({ length: 24 }, (_, h) => bucket((DAYS[d]?.fromMs ?? 0) + h * HOUR, of(h)))
  expect(fallsByDay([...day(0, (h) => 50 - h), ...day(1, (h) => 20 + h)], two, 1)).toEqual([23, null])
  expect(fallsByDay(day(0, () => 50).slice(0, 10), two, 1)).toEqual([null, null])
  // An empty drum does not say that nothing is used.
  expect(fallsByDay([...day(0, () => 1), ...day(1, () => 50)], two, 2)).toEqual([null, 0])
})

test('on a poor loop nothing is dated: every line says why, and which signal, field or entry would unlock it', () => {
  const poor = site(
    '  blower.run:\n  sump.high:\n  hp.run:',
    'consumables:\n  paper: { name: Filter paper, full: 100, unit: m }\n  microbes: { name: Microbe culture, full: 20, unit: L }',
  )
  const lines = forecasts(stored(poor, { runHours: new Map([['hp.run', DAYS.map(() => 2)]]) }))
  expect(lines.map((l) => l.what)).toEqual([
    'Sump full',
    'Finished water used up',
    'pH at its limit, treatment unit',
    'Filter paper used up',
    'Microbe culture used up',
    'Service of pressure washer',
  ])
  for (const l of lines) {
    expect(l.outlook.kind).toBe('not-observable')
    expect(l.unlock).toMatch(/\w{5}/)
    expect(l.basis).toBeNull()
  }
})
