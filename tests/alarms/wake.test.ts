import fc from 'fast-check'
import { expect, test } from 'vitest'
import { harmOf, nextOpen, threatOf, type HarmQuestion } from '../../gateway/alarms/harm.ts'
import { judgeWake, type WakeQuestion } from '../../gateway/alarms/wake.ts'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import { readHours } from '../../gateway/site/hours.ts'
import { testSite } from '../server/fake-gateway.ts'

const MIN = 60_000
const HOUR = 60 * MIN
/** A Wednesday in Lisbon, 22:00; the desk is staffed again at 07:00. */
const NIGHT = Date.UTC(2026, 2, 4, 22)
const SEVEN = NIGHT + 9 * HOUR

const question = (more: Partial<WakeQuestion> = {}): WakeQuestion => ({
  nowMs: NIGHT,
  priority: 'high',
  exempt: null,
  harm: { lowMs: NIGHT + 6 * HOUR, highMs: null },
  blind: null,
  driveMin: 60,
  yardMin: null,
  deskMs: SEVEN,
  onSite: null,
  asleep: null,
  ...more,
})
const in_ = (hours: number): WakeQuestion['harm'] => ({ lowMs: NIGHT + hours * HOUR, highMs: null })

test.each<[string, Partial<WakeQuestion>, string, string, boolean]>([
  ['harm after the desk is back and there', { harm: in_(10.1) }, 'morning', 'can-wait', false],
  ['harm just when the desk would get there', { harm: in_(10) }, 'wake', 'in-time', true],
  ['harm in the night, an hour by road', { harm: in_(6) }, 'wake', 'in-time', true],
  ['harm sooner than the road, yard staffed', { harm: in_(0.15), yardMin: 10 }, 'call-yard', 'too-late', true],
  ['harm in 20 min, yard acts in 10', { harm: in_(1 / 3), yardMin: 10 }, 'wake', 'in-time', true],
  ['harm sooner than the road, nobody there', { harm: in_(0.5) }, 'wake', 'too-late', true],
  ['harm begun an hour ago', { harm: in_(-1) }, 'wake', 'too-late', true],
  ['a release in progress that could wait by the figures', { exempt: 'release', harm: in_(30) }, 'wake', 'exempt', true],
  ['gas at an empty site', { exempt: 'people', harm: in_(30), yardMin: null }, 'wake', 'exempt', true],
  ['gas while somebody is on site', { exempt: 'people', onSite: 'Ada', harm: in_(30) }, 'wake', 'exempt', true],
  ['gas at a loop out of contract', { exempt: 'people', asleep: 'out of contract', harm: in_(30) }, 'wake', 'exempt', true],
  ['somebody is on site', { onSite: 'Ada' }, 'on-site', 'on-site', false],
  ['a loop out of contract', { asleep: 'out of contract' }, 'day', 'loop-state', false],
  ['a low alarm', { priority: 'low', harm: in_(1) }, 'day', 'low', false],
  ['an alert', { priority: 'alert', harm: in_(1) }, 'none', 'alert', false],
  ['any time in working hours', { deskMs: NIGHT, harm: in_(30) }, 'wake', 'desk-staffed', true],
  ['silent, all was well before', { blind: { abnormalBefore: false }, harm: in_(5) }, 'morning', 'blind-yet', false],
  ['silent, harm could have come unseen', { blind: { abnormalBefore: false }, harm: in_(-0.1) }, 'wake', 'too-late', true],
  ['silent, the air was off before', { blind: { abnormalBefore: true }, harm: in_(5) }, 'wake', 'in-time', true],
])('%s', (_, more, verdict, because, rings) => {
  expect(judgeWake(question(more))).toMatchObject({ verdict, because, rings })
})

test('the latest useful departure is the low end of harm less the way there', () => {
  expect(judgeWake(question({ harm: in_(6) }))).toMatchObject({ leaveByMs: NIGHT + 5 * HOUR, reachBy: 'drive', reachMin: 60 })
  expect(judgeWake(question({ harm: in_(6), yardMin: 10 }))).toMatchObject({ leaveByMs: NIGHT + 6 * HOUR - 10 * MIN, reachBy: 'yard', reachMin: 10 })
})

test('the morning list is judged again: what could wait is let wait only while the desk gets there before harm', () => {
  const verdicts = [0, 4, 8, 12].map((later) => judgeWake(question({ nowMs: NIGHT + later * HOUR, deskMs: Math.max(SEVEN, NIGHT + later * HOUR), harm: in_(10.5) })).verdict)
  expect(verdicts).toEqual(['morning', 'morning', 'morning', 'wake'])
})

test('sooner harm never makes a verdict milder, and a nearer desk never wakes who could sleep', () => {
  const rank = { none: 0, day: 0, 'on-site': 0, morning: 1, wake: 2, 'call-yard': 2 } as const
  fc.assert(
    fc.property(
      fc.integer({ min: -600, max: 2000 }),
      fc.integer({ min: 0, max: 600 }),
      fc.integer({ min: 0, max: 900 }),
      fc.option(fc.integer({ min: 1, max: 60 })),
      (harm, sooner, desk, yard) => {
        const q = question({ deskMs: NIGHT + (desk + 1) * MIN, yardMin: yard, harm: { lowMs: NIGHT + harm * MIN, highMs: null } })
        const earlier = judgeWake({ ...q, harm: { lowMs: q.harm.lowMs - sooner * MIN, highMs: null } })
        expect(rank[earlier.verdict]).toBeGreaterThanOrEqual(rank[judgeWake(q).verdict])
      },
    ),
  )
})

const site = { open: readHours({ 'mon-fri': '06:00-20:00' }) as Exclude<ReturnType<typeof readHours>, string>, zone: 'Europe/Lisbon' }
const harm = (more: Partial<HarmQuestion> = {}): ReturnType<typeof harmOf> =>
  harmOf({ threat: 'septic', sinceMs: NIGHT, nowMs: NIGHT, respondWithinMin: 8, air: { toShortMin: { low: 50, high: 90 }, celsius: 15 }, site, beforeLowMs: null, ...more })

test('without air harm is the smell: oxygen short first, then 16 h at 15 °C and a third sooner', () => {
  // Odour 8 h (25 °C) to 16 h (15 °C) after oxygen has gone: arithmetic on a reference loop, common practice, no source.
  expect(harm().lowMs).toBe(NIGHT + 50 * MIN + (16 / 1.5) * HOUR)
  expect(harm().highMs).toBe(NIGHT + 90 * MIN + 24 * HOUR)
  expect(harm({ air: { toShortMin: { low: 50, high: 90 }, celsius: 25 } }).lowMs).toBe(NIGHT + 50 * MIN + (8 / 1.5) * HOUR)
})

test('an uptake that was never measured is the shortest of such tanks, at the warmest that is usual, and has no high end', () => {
  expect(harm({ air: { toShortMin: null, celsius: null }, nowMs: NIGHT + HOUR })).toMatchObject({ lowMs: NIGHT + 5 * MIN + (8 / 1.5) * HOUR, highMs: null })
  expect(harm({ air: { toShortMin: null, celsius: null } }).from).toContain('no uptake measured on this loop')
})

test('once oxygen is gone the clock of the smell goes on and does not begin anew', () => {
  const first = harm({ air: { toShortMin: { low: 1, high: 2 }, celsius: 20 } })
  expect(harm({ nowMs: NIGHT + 3 * HOUR, air: { toShortMin: { low: 0, high: 0 }, celsius: 20 }, beforeLowMs: first.lowMs }).lowMs).toBe(first.lowMs)
  expect(harm({ nowMs: NIGHT + 3 * HOUR, air: { toShortMin: { low: 0, high: 0 }, celsius: 20 } }).lowMs).toBeLessThan(NIGHT + 3 * HOUR + 7 * HOUR)
})

test('washing is harmed when the yard opens, or at once while it is open', () => {
  expect(harm({ threat: 'washing', respondWithinMin: 10 }).lowMs).toBe(NIGHT + 8 * HOUR)
  const noon = NIGHT - 10 * HOUR
  expect(harm({ threat: 'washing', respondWithinMin: 10, sinceMs: noon, nowMs: noon }).lowMs).toBe(noon + 10 * MIN)
})

test('the next opening follows the wall clock over both changes of summer time', () => {
  // Lisbon, Sunday 2026-03-29 01:00 to 02:00 and Sunday 2026-10-25 02:00 to 01:00; Monday 06:00 is 05:00 UTC then 06:00 UTC.
  expect(nextOpen(site.open, site.zone, Date.UTC(2026, 2, 28, 12))).toBe(Date.UTC(2026, 2, 30, 5))
  expect(nextOpen(site.open, site.zone, Date.UTC(2026, 9, 24, 12))).toBe(Date.UTC(2026, 9, 26, 6))
  expect(nextOpen([], site.zone, NIGHT)).toBe(NIGHT)
})

test('what an alarm threatens follows from its record: gas people, a containment a release, air the biology, water the washing', () => {
  const defs = defaultAlarms(testSite('yard')).defs
  const of = (key: string): string => threatOf(defs.find((d) => d.id === `yard/${key}`) ?? expect.fail(`no ${key}`))
  expect(of('blower.no-air')).toBe('septic')
  expect(of('tu.do.low-low')).toBe('septic')
  expect(of('finished.level.low-low')).toBe('washing')
  expect(of('sump.level.high-high')).toBe('release')
  expect(of('sump.level.high')).toBe('respond')
  expect(of('site.silent')).toBe('blind')
})
