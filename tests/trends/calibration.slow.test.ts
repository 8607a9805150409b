/**
 * Do the intervals keep their word? Plants of known course are run by the hundred from seeds, forecast from their first part, and what
 * came is held against what was said: four in five inside, and as many too early as too late.
 */
import { expect, test } from 'vitest'
import { bendOf } from '../../gateway/trends/bend.ts'
import { CHANGE, changePoint } from '../../gateway/trends/change-point.ts'
import { demandOf } from '../../gateway/trends/demand.ts'
import { driftPerDay } from '../../gateway/trends/drift.ts'
import { LIMIT, type LimitPlan } from '../../gateway/trends/limit-plan.ts'
import { mannKendall, mannKendallCorrected } from '../../gateway/trends/mann-kendall.ts'
import type { Outlook } from '../../gateway/trends/outlook.ts'
import { DAY_MS, type Point, usable } from '../../gateway/trends/points.ts'
import { type ComingDay, runOut } from '../../gateway/trends/run-out.ts'
import { timeToLevel } from '../../gateway/trends/time-to-level.ts'
import { timeToLimit } from '../../gateway/trends/time-to-limit.ts'
import { washRate } from '../../gateway/trends/wash-rate.ts'
import { seen } from '../process/noise.ts'
import { chance, normalOf } from './chance.ts'

const RUNS = 500
const MIN_MS = 60_000

interface Run {
  readonly outlook: Outlook
  readonly trueMs: number
}

/** Share of the runs with a forecast whose interval holds what came; too early and too late are counted apart, so that it is in the middle. */
function coverage(run: (seed: number) => Run | null): { readonly held: number; readonly early: number; readonly late: number; readonly told: number } {
  let told = 0
  let early = 0
  let late = 0
  for (let seed = 1; told < RUNS && seed <= 2 * RUNS; seed += 1) {
    const r = run(seed)
    if (r?.outlook.kind !== 'forecast') continue
    told += 1
    if (r.trueMs < r.outlook.lowMs) early += 1
    if (r.trueMs > r.outlook.highMs) late += 1
  }
  return { held: (told - early - late) / told, early: early / told, late: late / told, told }
}

const PH: Omit<LimitPlan, 'limit'> = { ...LIMIT, side: 'below', resolution: 0.01, gapMs: 5 * DAY_MS, leastSpanMs: 10 * DAY_MS, freshMs: 4 * DAY_MS }

/** A pH that sinks by 0.006-0.016 a day, read at about the same hour, one day in twenty missing, 3 % wild, with memory `rho` from day to day. */
function sinkingPh(seed: number, days: number, rho: number): Run {
  const next = chance(seed)
  const normal = normalOf(next)
  const slope = -0.006 - 0.01 * next()
  const sd = 0.03 + 0.04 * next()
  let wave = sd * normal()
  const points: Point[] = []
  for (let day = 0; day < days; day += 1) {
    const at = day + 0.3 * (next() - 0.5)
    wave = rho * wave + Math.sqrt(1 - rho * rho) * sd * normal()
    if (next() < 0.05) continue
    points.push({ atMs: at * DAY_MS, value: Math.round(100 * (7.3 + slope * at + wave + (next() < 0.03 ? 1.5 * (next() - 0.5) : 0))) / 100 })
  }
  const trueDay = days * (1.3 + 0.7 * next())
  return { trueMs: trueDay * DAY_MS, outlook: timeToLimit(points, days * DAY_MS, { ...PH, limit: 7.3 + slope * trueDay }) }
}

test.each([
  [40, 0],
  [40, 0.3],
  [80, 0],
  [80, 0.6],
])('the interval of a sinking pH holds in 80 +- 5 of 100 of 500 seeded runs: %i days, memory %f', (days, rho) => {
  const c = coverage((seed) => sinkingPh(seed, days, rho))
  expect(c.told).toBe(RUNS)
  expect(c.held).toBeGreaterThanOrEqual(0.75)
  expect(c.held).toBeLessThanOrEqual(0.85)
  expect(Math.max(c.early, c.late)).toBeLessThan(0.15)
})

test('one straight course in fifty at most is called bent, one in twenty where days resemble each other strongly', () => {
  const bent = (rho: number): number => {
    let found = 0
    for (let seed = 1; seed <= 1000; seed += 1) {
      const normal = normalOf(chance(seed))
      let wave = normal()
      const y = Array.from({ length: 40 }, () => (wave = rho * wave + Math.sqrt(1 - rho * rho) * normal()))
      if ((bendOf([...y.keys()], y, 0.01)?.strength ?? 0) > 1) found += 1
    }
    return found / 1000
  }
  expect(bent(0)).toBeLessThan(0.02)
  expect(bent(0.3)).toBeLessThan(0.03)
  expect(bent(0.6)).toBeLessThan(0.05)
})

/** A finished-water tank read each minute in steps of 0.5 %, emptied by washing in bursts. */
function tankInBursts(seed: number, minutes: number, onMin: number, offMin: number): Run | null {
  const next = chance(seed)
  const normal = normalOf(next)
  const perMin = 0.35 + 0.2 * next()
  const limit = 80 - ((perMin * onMin) / (onMin + offMin)) * minutes * (1.3 + 1.2 * next())
  const points: Point[] = []
  let level = 80
  let washing = true
  for (let minute = 0; ; minute += 1) {
    if (next() < 1 / (washing ? onMin : offMin)) washing = !washing
    if (washing) level -= perMin
    if (minute < minutes) points.push({ atMs: minute * MIN_MS, value: 0.5 * Math.round(2 * (level + 0.15 * normal())) })
    if (level > limit) continue
    if (minute < minutes) return null
    const trueMs = (minute - (limit - level) / perMin) * MIN_MS
    const plan: LimitPlan = { ...LIMIT, limit, side: 'below', resolution: 0.5, gapMs: 10 * MIN_MS, leastSpanMs: 15 * MIN_MS, freshMs: 3 * MIN_MS }
    return { trueMs, outlook: timeToLevel(points, (minutes - 1) * MIN_MS, MIN_MS, plan) }
  }
}

test.each([
  [30, 3, 2],
  [60, 3, 2],
  [120, 6, 3],
  [60, 1e9, 1],
])('the interval of a tank emptied in bursts, or steadily, holds in 80 +- 5 of 100 of 500 seeded runs: %i min seen, %i min on, %i off', (minutes, on, off) => {
  const c = coverage((seed) => tankInBursts(seed, minutes, on, off))
  expect(c.told).toBe(RUNS)
  expect(c.held).toBeGreaterThanOrEqual(0.75)
  expect(c.held).toBeLessThanOrEqual(0.85)
  expect(Math.max(c.early, c.late)).toBeLessThan(0.15)
})

const kindOf = (day: number): string => (day % 7 === 6 ? 'closed' : day % 7 === 5 ? 'sat' : 'work')
const comingFrom = (day: number, days: number): ComingDay[] =>
  Array.from({ length: days }, (_, i) => ({ fromMs: (day + i) * DAY_MS, toMs: (day + i + 1) * DAY_MS, kind: kindOf(day + i), share: 1 }))

/** Paper of a yard that washes 4-12 m3 on working days, less on Saturdays, sometimes not at all, with busy days in rows (`rows`). */
function paperRoll(seed: number, days: number, weeksLeft: number, rows: number): Run {
  const next = chance(seed)
  const normal = normalOf(next)
  const scale = 4 + 8 * next()
  const perM3 = 0.3 + 0.4 * next()
  let busy = normal()
  const washed = (day: number): number => {
    busy = rows * busy + Math.sqrt(1 - rows * rows) * normal()
    if (kindOf(day) === 'closed' || next() < 0.08) return 0
    return Math.max(0, scale * (kindOf(day) === 'sat' ? 0.4 : 1) * (1 + 0.35 * busy))
  }
  const advanced = (m3: number): number => {
    let out = 0
    for (let half = 0; half < Math.round(2 * m3); half += 1) out += (perM3 / 2) * (0.5 + next())
    return out
  }
  const past = Array.from({ length: days }, (_, day) => {
    const washedM3 = washed(day)
    return { kind: kindOf(day), washedM3, used: advanced(washedM3) }
  })
  const left = weeksLeft * scale * perM3 * 5.4
  let used = 0
  for (let day = days; ; day += 1) {
    const today = advanced(washed(day))
    if (used + today < left) {
      used += today
      continue
    }
    const demand = demandOf(past.map((d) => ({ kind: d.kind, amount: d.washedM3 })))
    return { trueMs: (day + (left - used) / today) * DAY_MS, outlook: runOut({ left, error: 0 }, demand, washRate(past), comingFrom(days, 300)) }
  }
}

test.each([
  [28, 1, 0],
  [28, 3, 0.4],
  [28, 8, 0.4],
  [56, 3, 0],
  [56, 8, 0.4],
])('the interval of a roll of paper holds in 80 +- 5 of 100 of 500 seeded runs: %i days known, %i weeks left, rows %f', (days, weeks, rows) => {
  const c = coverage((seed) => paperRoll(seed, days, weeks, rows))
  expect(c.told).toBe(RUNS)
  expect(c.held).toBeGreaterThanOrEqual(0.75)
  expect(c.held).toBeLessThanOrEqual(0.85)
  expect(Math.max(c.early, c.late)).toBeLessThan(0.15)
})

/** Service of a blower: hours a day from its counter, due after `interval`. */
function serviceHours(seed: number): Run {
  const next = chance(seed)
  const normal = normalOf(next)
  const usual = 6 + 10 * next()
  const run = (day: number): number => Math.min(24, Math.max(0, (kindOf(day) === 'closed' ? 0.3 : 1) * usual * (1 + 0.25 * normal())))
  const past = Array.from({ length: 42 }, (_, day) => ({ kind: kindOf(day), amount: run(day) }))
  const left = usual * (5 + 30 * next())
  let used = 0
  for (let day = 42; ; day += 1) {
    const today = run(day)
    if (used + today >= left) return { trueMs: (day + (left - used) / today) * DAY_MS, outlook: runOut({ left, error: 0 }, demandOf(past), null, comingFrom(42, 200)) }
    used += today
  }
}

test('the interval of a service by running hours holds in 80 +- 5 of 100 of 500 seeded runs', () => {
  const c = coverage(serviceHours)
  expect(c.told).toBe(RUNS)
  expect(c.held).toBeGreaterThanOrEqual(0.75)
  expect(c.held).toBeLessThanOrEqual(0.85)
})

/** Share of 300 trendless series of 120 days with memory from day to day that are called a trend at 5 %. */
function falseTrends(rho: number, called: (v: readonly number[]) => boolean): number {
  let found = 0
  for (let seed = 1; seed <= 300; seed += 1) {
    const normal = normalOf(chance(seed))
    let wave = normal()
    if (called(Array.from({ length: 120 }, () => (wave = rho * wave + Math.sqrt(1 - rho * rho) * normal())))) found += 1
  }
  return found / 300
}

test('memory makes the plain test cry trend four times in ten; its correction takes half of that away, the drift all but the last', () => {
  expect(falseTrends(0.7, (v) => mannKendall(v).p < 0.05)).toBeGreaterThan(0.35)
  expect(falseTrends(0.7, (v) => seen(mannKendallCorrected(v)).p < 0.05)).toBeLessThan(0.25)
  const drifts = (v: readonly number[]): boolean =>
    seen(
      driftPerDay(
        v.map((value, day) => ({ atMs: day * DAY_MS, value })),
        { fromMs: 0, days: 120, leastPerDay: 1, level: 0.9, chance: 0.05 },
      ),
    ).says !== 'none told'
  expect(falseTrends(0.7, drifts)).toBeLessThan(0.12)
  expect(falseTrends(0, drifts)).toBeLessThan(0.07)
})

const SET = { ...CHANGE, resolution: 0.01 }
const series = (values: readonly number[]) => usable(values.map((value, i) => ({ atMs: 3_600_000 * i, value })))

test('the 95 % interval of a break holds the true one in at least 95 of 100 seeded runs, with memory between values too', () => {
  for (const rho of [0, 0.5]) {
    let held = 0
    for (let seed = 1; seed <= 400; seed += 1) {
      const normal = normalOf(chance(seed))
      let wave = normal()
      const at = 40 + (seed % 40)
      const y = Array.from({ length: 120 }, (_, i) => (wave = rho * wave + Math.sqrt(1 - rho * rho) * normal()) + (i > at ? 1.5 : 0))
      const c = seen(changePoint(series(y), SET))
      if ((c.earliest ?? 0) <= at && (c.latest ?? 119) >= at) held += 1
    }
    expect(held / 400).toBeGreaterThan(rho === 0 ? 0.93 : 0.88)
  }
})

test('no break is told in noise more often than about 1 in 20, nor in a slow wave much more', () => {
  for (const [rho, most] of [
    [0, 0.07],
    [0.6, 0.2],
  ] as const) {
    let told = 0
    for (let seed = 1; seed <= 400; seed += 1) {
      const normal = normalOf(chance(seed))
      let wave = normal()
      const y = Array.from({ length: 150 }, () => (wave = rho * wave + Math.sqrt(1 - rho * rho) * normal()))
      if (seen(changePoint(series(y), SET)).evidence !== 'none') told += 1
    }
    expect(told / 400, `memory ${rho}`).toBeLessThan(most)
  }
})
