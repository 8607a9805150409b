import { expect, test } from 'vitest'
import type { AlarmEvent } from '../../gateway/alarms/alarm.ts'
import { conditionsOf, firstNormal, type Learned, normalOf } from '../../gateway/outlook/normal.ts'
import { pausesOf } from '../../gateway/outlook/pauses.ts'
import type { Pause } from '../../gateway/trends/learning.ts'
import { ALL, alarmsOf, bucket, DAY, entry, HOUR, NOW, site } from './store.ts'

const HOURS = 60 * 24
const FROM = NOW - HOURS * HOUR
/** Washed from 8 to 12 each day; saturation is 90 idle and 70 while washing, give or take 2. */
const washes = (k: number): boolean => k % 24 >= 8 && k % 24 < 12
const value = (k: number): number => (washes(k) ? 70 : 90) + ((k * 7) % 5) - 2
const conditions = (hours = HOURS, from = FROM) =>
  conditionsOf(
    from,
    hours,
    Array.from({ length: hours }, (_, k) => (washes(k) ? 900 : 0)),
    null,
  )
const learned = (more: Partial<Learned> = {}, of = value): Learned => ({
  id: 'tu.do.saturation',
  resolution: 1,
  isWater: false,
  hours: Array.from({ length: HOURS }, (_, k) => bucket(FROM + k * HOUR, of(k))),
  replacedMs: [],
  value: 88,
  ...more,
})

test('the band is that of hours like this one: an idle night is not held against a busy morning', () => {
  const night = normalOf(learned(), conditions(), [], null, NOW)
  if ('because' in night.band) throw new Error(night.band.because)
  expect(night.band.low).toBeGreaterThan(80)
  expect(night.against?.band).toBe('inside')
  const atTen = NOW - 14 * HOUR + 1
  const busy = normalOf(learned(), conditions(), [], null, atTen)
  if ('because' in busy.band) throw new Error(busy.band.because)
  expect(busy.band.high).toBeLessThan(80)
  expect(busy.against?.band).toBe('above')
  expect(busy.band.notCompared).toContain('waterCel')
})

test('on a loop that measures neither washing nor temperature the band is that of four weeks, not of the newest two days', () => {
  const blind = conditionsOf(FROM, HOURS, null, null)
  const n = normalOf(learned(), blind, [], null, NOW)
  if ('because' in n.band) throw new Error(n.band.because)
  expect(n.band.days).toBe(28)
  expect(n.band.notCompared).toEqual(['washedM3', 'sinceWashH', 'waterCel'])
})

test('before four weeks there is no band, and the days so far are told', () => {
  const young = learned({ hours: learned().hours.map((h) => (h.fromMs < NOW - 12 * DAY ? bucket(h.fromMs, null) : h)) })
  const n = normalOf(young, conditions(), [], null, NOW)
  expect(n.band).toEqual({ kind: 'not-observable', because: 'only 12 days of this loop are known and 28 are needed: no band yet' })
  expect([n.days, n.needed]).toEqual([12, 28])
  expect(firstNormal(young, conditions(), [])).toBeNull()
})

test('the first normal is the middle of the first 28 days that may be learned from, and later days do not move it', () => {
  const drifting = (k: number): number => value(k) - (k >= 28 * 24 ? 30 : 0)
  const first = firstNormal(learned({}, drifting), conditions(), [])
  expect(first).toMatchObject({ value: 89.5, atMs: FROM + 28 * DAY })
  const n = normalOf(learned({ value: 60 }, drifting), conditions(), [], first, NOW)
  expect(n.against).toMatchObject({ offCommissioning: -29.5, crept: true })
})

test('hours while an alarm stood teach nothing, nor do those before a probe was replaced', () => {
  const dying = (k: number): number => (k >= 30 * 24 && k < 50 * 24 ? 20 : value(k))
  const pause: Pause = { why: 'alarm', fromMs: FROM + 30 * DAY, toMs: FROM + 50 * DAY }
  const n = normalOf(learned({}, dying), conditions(), [pause], null, NOW)
  if ('because' in n.band) throw new Error(n.band.because)
  expect(n.band.low).toBeGreaterThan(80)
  expect(n.days).toBe(40)
  expect(normalOf(learned({ replacedMs: [NOW - 5 * DAY] }), conditions(), [], null, NOW).days).toBe(5)
})

test('alarms of the plant and visits pause the learning; notices to watch and the link do not', () => {
  const s = site(ALL)
  const alarms = alarmsOf(s)
  const event = (alarm: string, kind: AlarmEvent['kind'], daysAgo: number): AlarmEvent => ({
    alarm,
    occurrence: alarm,
    kind,
    atMs: NOW - daysAgo * DAY,
    recordedMs: NOW,
    state: 'normal',
    value: null,
    limit: null,
    unit: '',
    by: null,
    note: null,
    defVersion: 1,
  })
  const air = alarms.find((a) => a.def.rule.kind === 'no-air')
  const silent = alarms.find((a) => a.def.rule.kind === 'silent')
  if (!air || !silent) throw new Error('the loop has no such alarms')
  const events = [event(air.def.id, 'cleared', 8), event(air.def.id, 'raised', 9), event(silent.def.id, 'raised', 3), event(silent.def.id, 'cleared', 2)]
  const log = [entry('visit-in', 1, {}), entry('visit-in', 6, {}), entry('visit-out', 5.9, {})]
  expect(pausesOf(events, alarms, log, NOW)).toEqual([
    { why: 'alarm', fromMs: NOW - 9 * DAY, toMs: NOW - 8 * DAY },
    { why: 'on-site', fromMs: NOW - 6 * DAY, toMs: NOW - 5.9 * DAY },
    // Nobody signed out: half a day is the longest a visit is taken to last.
    { why: 'on-site', fromMs: NOW - DAY, toMs: NOW - DAY / 2 },
  ])
  // Whether anybody was told makes no difference to the plant.
  const hidden = events.map((e) => ({ ...e, kind: e.kind === 'raised' ? ('raised-hidden' as const) : e.kind === 'cleared' ? ('cleared-hidden' as const) : e.kind }))
  expect(pausesOf(hidden, alarms, log, NOW)).toEqual(pausesOf(events, alarms, log, NOW))
  const standing = alarms.map((a) => (a.def.id === air.def.id ? { ...a, state: 'acknowledged' as const, raisedMs: NOW - HOUR } : a))
  expect(pausesOf([], standing, [], NOW)).toEqual([{ why: 'alarm', fromMs: NOW - HOUR, toMs: null }])
})
