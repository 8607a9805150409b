/** Nine days of pH of a small membrane plant by the hour, and what the forecast said as the hours came in: for its test and its picture. */
import { gridOf } from '../../gateway/trends/grid.ts'
import type { LimitPlan } from '../../gateway/trends/limit-plan.ts'
import type { Outlook } from '../../gateway/trends/outlook.ts'
import type { Point } from '../../gateway/trends/points.ts'
import { timeToLimit } from '../../gateway/trends/time-to-limit.ts'
import { readRows, readTimes } from './open-data.ts'

export const SLUDGE = 'sbmbr/mines_sbmbr_2010_10min_apr10_19.csv'
export const HOUR_MS = 3_600_000

/** A reading that is there. */
export type Seen = Point & { readonly value: number }

export function sludgePh(): readonly Seen[] {
  const times = readTimes(SLUDGE, 'datetime')
  return readRows(SLUDGE).map((r, i) => ({ atMs: times[i] ?? Number.NaN, value: r.ras_ph ?? Number.NaN }))
}

/** Medians of the hours, each at the middle of its hour. */
export function hourly(points: readonly Point[]): readonly Seen[] {
  const fromMs = points[0]?.atMs ?? 0
  const steps = Math.floor(((points.at(-1)?.atMs ?? 0) - fromMs) / HOUR_MS) + 1
  const grid = gridOf(points, { fromMs, stepMs: HOUR_MS, steps, leastPerStep: 3 })
  return Array.from(grid.value, (value, i) => ({ atMs: fromMs + (i + 0.5) * HOUR_MS, value })).filter((p) => !Number.isNaN(p.value))
}

/** pH 6.5 is where nitrifying life begins to suffer; common practice, no source. */
export const PH_LIMIT: LimitPlan = {
  limit: 6.5,
  side: 'below',
  resolution: 0.1,
  gapMs: 6 * HOUR_MS,
  leastPoints: 10,
  leastSpanMs: 12 * HOUR_MS,
  freshMs: 3 * HOUR_MS,
  aheadSpans: 3,
}

/** The outlook at a moment, from the hours that had been seen by then, so far back. */
export function outlookAt(hours: readonly Point[], nowMs: number, backMs: number): Outlook {
  return timeToLimit(
    hours.filter((p) => p.atMs <= nowMs && p.atMs > nowMs - backMs),
    nowMs,
    PH_LIMIT,
  )
}
