import fc from 'fast-check'
import { expect, test } from 'vitest'
import type { NotObservable } from '../../gateway/process/range.ts'
import { demandOf } from '../../gateway/trends/demand.ts'
import { LIMIT, type LimitPlan } from '../../gateway/trends/limit-plan.ts'
import type { Forecast, Outlook } from '../../gateway/trends/outlook.ts'
import { DAY_MS, type Point } from '../../gateway/trends/points.ts'
import { type ComingDay, runOut } from '../../gateway/trends/run-out.ts'
import { timeToLevel } from '../../gateway/trends/time-to-level.ts'
import { timeToLimit } from '../../gateway/trends/time-to-limit.ts'
import { washRate } from '../../gateway/trends/wash-rate.ts'
import { because, real } from '../process/noise.ts'

const forecast = (o: Outlook): Forecast => {
  if (o.kind !== 'forecast') throw new Error(`no forecast: ${because(o)}`)
  return o
}

const PH: Omit<LimitPlan, 'limit'> = { ...LIMIT, side: 'below', resolution: 0.01, gapMs: 5 * DAY_MS, leastSpanMs: 10 * DAY_MS, freshMs: 4 * DAY_MS }

const kindOf = (day: number): string => (day % 7 === 6 ? 'closed' : day % 7 === 5 ? 'sat' : 'work')
const comingFrom = (day: number, days: number): ComingDay[] =>
  Array.from({ length: days }, (_, i) => ({ fromMs: (day + i) * DAY_MS, toMs: (day + i + 1) * DAY_MS, kind: kindOf(day + i), share: 1 }))

const daily = (values: readonly (number | null)[]): Point[] => values.map((value, day) => ({ atMs: day * DAY_MS, value }))
const line = (n: number, slope: number): Point[] => daily(Array.from({ length: n }, (_, i) => 7 + slope * i + 0.02 * (i % 3)))
const withheld = (points: readonly Point[], over: Partial<LimitPlan> = {}, nowDay = points.length - 1): string =>
  because(timeToLimit(points, nowDay * DAY_MS, { ...PH, limit: 6, ...over }))

test('a forecast of a limit is withheld with its reason when the readings do not support one', () => {
  expect(withheld(line(8, -0.02))).toBe('only 8 readings are there since the last gap and 10 are needed')
  expect(withheld(line(20, -0.02), { leastSpanMs: 30 * DAY_MS })).toBe('the readings span 19 days and 30 days are needed')
  expect(withheld(line(20, -0.02), {}, 30)).toBe('the newest reading is 11 days old')
  expect(withheld(daily(Array.from({ length: 20 }, () => 7)))).toBe('the signal did not move by more than its smallest step')
  expect(withheld(daily(Array.from({ length: 20 }, (_, i) => 7 + 0.01 * (i % 2))))).toBe('the signal did not move by more than its smallest step')
  expect(withheld(line(20, 0.02))).toBe('the level does not move towards the limit')
  expect(withheld(daily(Array.from({ length: 20 }, (_, i) => 7 + 0.3 * Math.sin(2.4 * i) - 0.0005 * i)))).toMatch(/drift cannot be told from none|does not move towards/)
  expect(withheld(line(20, -0.01), { limit: 5 })).toMatch(/^at this pace the limit is 1\d\d days away, more than 3 times the 19 days observed$/)
})

test('a course that stepped or bent on the way is no line: the forecast is withheld and says when', () => {
  const course = (of: (day: number) => number): Point[] => daily(Array.from({ length: 40 }, (_, day) => of(day) + 0.02 * ((day * 7) % 5)))
  expect(withheld(course((day) => 7 - 0.005 * day - (day >= 24 ? 0.4 : 0)))).toBe('the course stepped or bent 15 days ago: it is no one line')
  expect(withheld(course((day) => 7 - (day >= 25 ? 0.03 * (day - 25) : 0)))).toMatch(/^the course stepped or bent 1[0-6] days ago/)
  expect(
    forecast(
      timeToLimit(
        course((day) => 7 - 0.02 * day),
        39 * DAY_MS,
        { ...PH, limit: 6 },
      ),
    ).from,
  ).toBe(40)
})

test('a limit that is passed already is reached, on either side', () => {
  expect(timeToLimit(line(20, -0.05), 19 * DAY_MS, { ...PH, limit: 6.5 })).toEqual({ kind: 'reached' })
  expect(timeToLimit(line(20, 0.05), 19 * DAY_MS, { ...PH, side: 'above', limit: 7.5 })).toEqual({ kind: 'reached' })
})

test('only what came after the last gap counts: a refill before it does not bend the line', () => {
  const before = line(30, 0.1)
  const after = line(20, -0.02).map((p) => ({ ...p, atMs: p.atMs + 40 * DAY_MS }))
  expect(timeToLimit([...before, ...after], 59 * DAY_MS, { ...PH, limit: 6.4 })).toEqual(timeToLimit(after, 59 * DAY_MS, { ...PH, limit: 6.4 }))
})

test('missing readings are left out of a forecast, and a straight line meets its limit where it must', () => {
  const holes = line(30, -0.02).map((p, i) => (i % 7 === 3 ? { ...p, value: i % 2 ? null : Number.NaN } : p))
  const f = forecast(timeToLimit(holes, 29 * DAY_MS, { ...PH, limit: 6 }))
  expect(f.from).toBe(26)
  expect(f.medianMs / DAY_MS).toBeCloseTo(51, 0)
  expect(f.lowMs).toBeLessThanOrEqual(f.medianMs)
  expect(f.highMs).toBeGreaterThanOrEqual(f.medianMs)
})

test('readings after now, times that run backwards and senseless plans are errors', () => {
  expect(() => withheld(line(20, -0.02), {}, 10)).toThrow('leave out what is to come')
  expect(() => withheld([...line(20, -0.02)].reverse(), {}, 30)).toThrow('points run backwards')
  expect(() => withheld(line(20, -0.02), { resolution: 0 })).toThrow('resolution is 0')
  for (const field of ['gapMs', 'leastSpanMs', 'freshMs']) expect(() => withheld(line(20, -0.02), { [field]: Number.NaN })).toThrow('is NaN ms')
})

const WEEK = Array.from({ length: 42 }, (_, day) => ({
  kind: kindOf(day),
  washedM3: kindOf(day) === 'closed' ? 0 : 8 + (day % 3),
  used: kindOf(day) === 'closed' ? 0 : 4 + (day % 2),
}))
const demand = demandOf(WEEK.map((d) => ({ kind: d.kind, amount: d.washedM3 })))
const rate = washRate(WEEK)

test('idle weeks in the calendar push the date out: paper goes by the water, not by the day', () => {
  const open = forecast(runOut({ left: 60, error: 0 }, demand, rate, comingFrom(42, 90)))
  const idle = comingFrom(42, 90).map((d, i) => (i < 14 ? { ...d, kind: 'closed' } : d))
  const later = forecast(runOut({ left: 60, error: 0 }, demand, rate, idle))
  expect(later.medianMs - open.medianMs).toBeGreaterThan(10 * DAY_MS)
})

test('a roll, a drum or a service without what it takes to know is withheld with the reason', () => {
  const say = (left: number | null, d: typeof demand, r: ReturnType<typeof washRate> | null, coming = comingFrom(42, 60)): string =>
    because(runOut({ left, error: 0 }, d, r, coming))
  expect(say(null, demand, rate)).toBe('how much is left is not known: write the next refill into the site log')
  expect(say(10, demandOf(WEEK.slice(0, 10).map((d) => ({ kind: d.kind, amount: d.washedM3 }))), rate)).toBe('only 10 days have a figure and 14 are needed')
  expect(say(10, demand, washRate(WEEK.slice(0, 4)))).toBe('only 4 days with washing have both figures and 5 are needed')
  expect(say(10, demand, washRate(WEEK.map((d) => ({ ...d, used: 0 }))))).toBe('nothing was used while washing: check what counts the use')
  expect(say(10, demand, washRate(WEEK.map((d) => ({ ...d, used: 3 }))))).toBe('14 % was used on days without washing: washing does not drive the use')
  expect(
    say(
      10,
      demand,
      rate,
      comingFrom(42, 60).map((d) => ({ ...d, kind: 'closed' })),
    ),
  ).toBe('nothing is expected to be taken in the time looked ahead')
  expect(runOut({ left: 0, error: 0 }, demand, rate, comingFrom(42, 60))).toEqual({ kind: 'reached' })
  expect(runOut({ left: 1e6, error: 0 }, demand, rate, comingFrom(42, 60))).toEqual({ kind: 'beyond', untilMs: 102 * DAY_MS })
})

test('days without a figure or with a counter that fell are left out of demand and rate, and counted', () => {
  const odd = [...WEEK, { kind: 'work', washedM3: null, used: 3 }, { kind: 'work', washedM3: 9, used: -200 }, { kind: 'work', washedM3: Number.NaN, used: 1 }]
  expect(washRate(odd)).toEqual(rate)
  const d = demandOf(odd.map((x) => ({ kind: x.kind, amount: x.washedM3 }))) as Exclude<typeof demand, NotObservable>
  expect(d.leftOut).toBe(2)
})

test('the less is known of what is left, the wider the interval', () => {
  const sharp = forecast(runOut({ left: 60, error: 0 }, demand, rate, comingFrom(42, 90)))
  const vague = forecast(runOut({ left: 60, error: 10 }, demand, rate, comingFrom(42, 90)))
  expect(vague.highMs - vague.lowMs).toBeGreaterThan(2 * (sharp.highMs - sharp.lowMs))
  expect(Math.abs(vague.medianMs - sharp.medianMs)).toBeLessThan(3_600_000)
})

test('coming days out of order, twice or without length are errors', () => {
  const [a, b] = comingFrom(42, 2) as [ComingDay, ComingDay]
  for (const coming of [[b, a], [a, a], [{ ...a, toMs: a.fromMs }]]) expect(() => runOut({ left: 60, error: 0 }, demand, rate, coming)).toThrow('give them in order, each once')
  expect(() => runOut({ left: 60, error: 0 }, demand, rate, [{ ...a, share: 2 }])).toThrow('share of a day is 2')
  expect(() => runOut({ left: 60, error: -1 }, demand, rate, [a])).toThrow('error of what is left is -1')
})

test('a kind of day never seen is taken to be like all days together', () => {
  const holidays = comingFrom(42, 90).map((d) => ({ ...d, kind: 'holiday' }))
  const f = forecast(runOut({ left: 60, error: 0 }, demand, rate, holidays))
  const perDay = WEEK.reduce((sum, d) => sum + d.used, 0) / WEEK.length
  expect((f.medianMs - 42 * DAY_MS) / DAY_MS).toBeCloseTo(60 / perDay, 1)
})

test('a tank that empties by fits and starts: the further ahead the wider, withheld when it fills, and reached when it is there', () => {
  const MIN_MS = 60_000
  const plan: LimitPlan = { ...LIMIT, limit: 20, side: 'below', resolution: 0.5, gapMs: 10 * MIN_MS, leastSpanMs: 15 * MIN_MS, freshMs: 3 * MIN_MS }
  const bursts = (perMin: number): Point[] => Array.from({ length: 60 }, (_, i) => ({ atMs: i * MIN_MS, value: 60 - perMin * (i - 2 * Math.sin(i / 3)) }))
  const width = (limit: number): number => {
    const f = forecast(timeToLevel(bursts(0.4), 59 * MIN_MS, MIN_MS, { ...plan, limit }))
    expect(f.lowMs).toBeLessThanOrEqual(f.medianMs)
    expect(f.medianMs).toBeLessThanOrEqual(f.highMs)
    return f.highMs - f.lowMs
  }
  expect(width(10)).toBeGreaterThan(width(25))
  expect(because(timeToLevel(bursts(-0.4), 59 * MIN_MS, MIN_MS, plan))).toBe('the level does not move towards the limit')
  expect(timeToLevel(bursts(0.4), 59 * MIN_MS, MIN_MS, { ...plan, limit: 50 })).toEqual({ kind: 'reached' })
  expect(because(timeToLevel(bursts(0.4), 63 * MIN_MS, MIN_MS, plan))).toBe('the newest reading is 4 min old')
  expect(() => timeToLevel(bursts(0.4), 59 * MIN_MS, 0, plan)).toThrow('step is 0 ms')
})

const near = (a: Outlook, b: Outlook, shiftMs: number): void => {
  expect(a.kind).toBe(b.kind)
  if (a.kind !== 'forecast' || b.kind !== 'forecast') return
  for (const field of ['lowMs', 'medianMs', 'highMs'] as const) expect(Math.abs(a[field] - b[field] - shiftMs)).toBeLessThan(1000)
}

test('a forecast of a limit does not depend on the calendar, on the unit, or on which way is down', () => {
  fc.assert(
    fc.property(fc.array(real(-0.2, 0.2), { minLength: 12, maxLength: 40 }), real(-0.06, -0.02), fc.integer({ min: 1, max: 10_000 }), (noise, slope, days) => {
      const points = daily(noise.map((v, i) => 7 + slope * i + v))
      const nowMs = (points.length - 1) * DAY_MS
      const plan = { ...PH, limit: 7 + slope * points.length * 1.5 }
      const one = timeToLimit(points, nowMs, plan)
      near(
        timeToLimit(
          points.map((p) => ({ ...p, atMs: p.atMs + days * DAY_MS })),
          nowMs + days * DAY_MS,
          plan,
        ),
        one,
        days * DAY_MS,
      )
      const turned = points.map((p) => ({ ...p, value: -64 * (p.value ?? 0) }))
      near(timeToLimit(turned, nowMs, { ...plan, side: 'above', limit: -64 * plan.limit, resolution: 64 * plan.resolution }), one, 0)
    }),
    { numRuns: 60 },
  )
})

test('paper counted in another length gives the same date', () => {
  fc.assert(
    fc.property(real(0.01, 100), real(5, 200), (unit, left) => {
      const other = washRate(WEEK.map((d) => ({ ...d, used: unit * d.used })))
      near(runOut({ left: unit * left, error: 0 }, demand, other, comingFrom(42, 90)), runOut({ left, error: 0 }, demand, rate, comingFrom(42, 90)), 0)
    }),
  )
})

test('days that resemble each other widen the span by the sum of all their products, not by what they come to in the long run', () => {
  const r = 0.5
  // Days that vary by 2, Sundays on which nothing goes; of a mean that is known.
  const demand = {
    byKind: new Map([
      ['work', { days: 1e9, mean: 10, variance: 4 }],
      ['sat', { days: 1e9, mean: 5, variance: 1 }],
      ['closed', { days: 1e9, mean: 0, variance: 0 }],
    ]),
    all: { days: 1e9, mean: 8, variance: 4 },
    days: 1e9,
    leftOut: 0,
    inflation: (1 + r) / (1 - r),
  }
  const coming = comingFrom(0, 60)
  const spread = coming.map((d) => Math.sqrt(demand.byKind.get(d.kind)?.variance ?? 0))
  const left = 120
  // By the book: every pair of days, as far apart as they lie.
  const missing = coming.map((_, n) => {
    let variance = 0
    for (let i = 0; i <= n; i++) for (let j = 0; j <= n; j++) variance += (spread[i] as number) * (spread[j] as number) * r ** Math.abs(i - j)
    const mean = coming.slice(0, n + 1).reduce((sum, d) => sum + (demand.byKind.get(d.kind)?.mean ?? 0), 0)
    return (left - mean) / Math.sqrt(variance)
  })
  const crossing = (reach: number): number => {
    const i = missing.findIndex((v) => v <= reach)
    return i + ((missing[i - 1] as number) - reach) / ((missing[i - 1] as number) - (missing[i] as number))
  }
  const f = forecast(runOut({ left, error: 0 }, demand, null, coming))
  // Nine in ten of the standard normal.
  expect(f.lowMs / DAY_MS).toBeCloseTo(crossing(1.2815515655446004), 6)
  expect(f.highMs / DAY_MS).toBeCloseTo(crossing(-1.2815515655446004), 6)
})
