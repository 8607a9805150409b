/**
 * Does a signal drift, and how fast? Medians of days, the trend test corrected for memory, and the Theil-Sen slope with its interval.
 * A drift that may be none is still given with its interval: "less than 0.01 per day either way" is an answer too.
 *
 * A day needs `leastPerDay` figures, else it is a hole. The test's own correction takes part of a slow wave for the trend and still cries
 * trend too often; so the memory of the days about the line counts as well, whichever widens more, and never less than independent days.
 * sources  as in mann-kendall.ts and theil-sen.ts
 * cost     O(n + days^2) time
 */
import { type Estimate, type NotObservable, notObservable, within } from '../process/range.ts'
import { type Grid, gridOf } from './grid.ts'
import { mannKendall, mannKendallCorrected } from './mann-kendall.ts'
import { memoryAboutLine } from './memory.ts'
import { twoSided } from './normal.ts'
import { DAY_MS, type Point } from './points.ts'
import { theilSen } from './theil-sen.ts'

export interface DriftPlan {
  /** Local midnight of the first day. */
  readonly fromMs: number
  /** 10-1,000. */
  readonly days: number
  readonly leastPerDay: number
  /** Chance that the interval holds the slope, 0.5-0.99. */
  readonly level: number
  /** Two-sided chance under which a drift is said to be one, 0.001-0.2. */
  readonly chance: number
}

export interface Drift {
  readonly says: 'rising' | 'falling' | 'none told'
  /** Unit of the signal per day. */
  readonly perDay: Estimate
  readonly p: number
  /** Days with a figure. */
  readonly days: number
  readonly holes: number
  readonly daily: Grid
}

/** points ascending; for a dosed pH the values before each dose, whose mean follows the dosing. throws RangeError for a plan outside its ranges */
export function driftPerDay(points: readonly Point[], p: DriftPlan): Drift | NotObservable {
  within('days', p.days, 10, 1000, '')
  within('level of the interval', p.level, 0.5, 0.99, '')
  within('chance', p.chance, 0.001, 0.2, '')
  const daily = gridOf(points, { fromMs: p.fromMs, stepMs: DAY_MS, steps: p.days, leastPerStep: p.leastPerDay })
  const at = Array.from({ length: p.days }, (_, i) => i).filter((i) => !Number.isNaN(daily.value[i] as number))
  if (at.length < 10) return notObservable(`only ${at.length} of ${p.days} days have ${p.leastPerDay} readings or more and 10 are needed`)
  const values = at.map((i) => daily.value[i] as number)
  const plain = mannKendall(values)
  const corrected = mannKendallCorrected(daily.value)
  const inflation = Math.max(1, 'because' in corrected ? 1 : corrected.inflation, memoryAboutLine(daily.value, theilSen(at, values).slope))
  const chance = twoSided(plain.z / Math.sqrt(inflation))
  const line = theilSen(at, values, { level: p.level, ranks: 'rounded', inflation })
  return {
    says: chance >= p.chance ? 'none told' : plain.s > 0 ? 'rising' : 'falling',
    perDay: { low: line.low, best: line.slope, high: line.high },
    p: chance,
    days: at.length,
    holes: daily.holes,
    daily,
  }
}
