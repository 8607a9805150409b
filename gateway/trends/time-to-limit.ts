/**
 * When will a drifting level (its noise taken out) pass a limit, if it goes on as it went? A robust line through the points since the last
 * gap, and the times at which the limit lies inside what the line may be:
 *
 *     limit ----------------------/--+--\-----   low, median, high
 *                            .  /   /    \
 *                     .  . /  /              level at the middle of the points and slope, each with its error
 *
 * Line: Theil-Sen first; readings further than three deviations from it are drawn in to three, and least squares through the rest
 * gives level, slope and errors (Theil-Sen alone lumps on the simple slopes of a stepped signal). No deviation is under what the
 * resolution implies. Memory between neighbours widens the errors. Single readings pass the limit earlier than the level does.
 *
 * For what drifts about a line: pH before doses, pressures, speeds. A tank that empties by fits and starts is time-to-level.ts.
 *
 * Withheld: too few points, too short a time, the newest too old, no movement beyond the resolution, a slope that may be none or
 * leads away, a course that stepped or bent on the way (bend.ts), and a limit further off than so many times the time observed.
 * sources  Fieller 1954 (J. R. Stat. Soc. B 16: 175) for the interval; Sen 1968 for the slope; clipping after Huber 1964
 * cost     O(n^2) time, up to 5,000 points (theil-sen.ts)
 */
import { fitLine } from '../process/line.ts'
import { notObservable } from '../process/range.ts'
import { bendOf } from './bend.ts'
import { type LimitPlan, meets, sinceGap, span } from './limit-plan.ts'
import { memoryInflation } from './memory.ts'
import { studentQuantile } from './normal.ts'
import { median, robustSd } from './order.ts'
import { OUTLOOK_LEVEL, type Outlook } from './outlook.ts'
import { DAY_MS, daysSinceFirst, type Point } from './points.ts'
import { theilSen } from './theil-sen.ts'

/** points ascending, none after nowMs. throws RangeError for a plan outside its ranges or times that run backwards */
export function timeToLimit(points: readonly Point[], nowMs: number, p: LimitPlan): Outlook {
  const s = sinceGap(points, nowMs, p)
  if ('because' in s) return s
  const n = s.value.length
  const firstMs = s.atMs[0] as number
  const line = lineThrough(daysSinceFirst(s), s.value, p.resolution)
  if (line.bentAt !== null) return notObservable(`the course stepped or bent ${span(nowMs - (s.atMs[line.bentAt] as number))} ago: it is no one line`)
  const up = p.side === 'above' ? 1 : -1
  const course = {
    originMs: firstMs + line.middleDay * DAY_MS,
    short: up * (line.level - p.limit),
    risePerDay: up * line.slope,
    variances: [line.levelVariance, 0, line.slopeVariance] as const,
    reach: studentQuantile((1 + OUTLOOK_LEVEL) / 2, line.degrees),
    from: n,
    observedMs: (s.atMs[n - 1] as number) - firstMs,
  }
  return meets(course, nowMs, p.aheadSpans)
}

interface Line {
  readonly middleDay: number
  /** On the line, at the middle day. */
  readonly level: number
  /** Per day. */
  readonly slope: number
  readonly levelVariance: number
  readonly slopeVariance: number
  readonly degrees: number
  /** First point of another course; null: one line, or too few points to tell. */
  readonly bentAt: number | null
}

function lineThrough(days: Float64Array, y: Float64Array, resolution: number): Line {
  const n = y.length
  const middleDay = days.reduce((sum, d) => sum + d / n, 0)
  const fromMiddle = Array.from(days, (d) => d - middleDay)
  const robust = theilSen(days, y).slope
  const off = Array.from(y, (v, i) => v - robust * (fromMiddle[i] as number))
  const sd = robustSd(off, resolution)
  const centre = median(off)
  const clipped = off.map((v) => Math.min(centre + 3 * sd, Math.max(centre - 3 * sd, v)))
  const fit = fitLine(fromMiddle, clipped)
  let neighbours = 0
  let squares = 0
  let before = 0
  clipped.forEach((v, i) => {
    const left = v - fit.intercept - fit.slope * (fromMiddle[i] as number)
    neighbours += left * before
    squares += left * left
    before = left
  })
  // A line through few points takes some memory away with it: about 2 + 4 r parts of n.
  const r = squares > 0 ? (neighbours / squares + 2 / n) / Math.max(0.5, 1 - 4 / n) : 0
  const inflation = memoryInflation(r, n)
  const bend = bendOf(fromMiddle, clipped, resolution)
  const spread = fromMiddle.reduce((sum, d) => sum + d * d, 0)
  const variance = inflation * Math.max(fit.residual ** 2, resolution ** 2 / 12)
  return {
    middleDay,
    level: fit.intercept,
    slope: robust + fit.slope,
    levelVariance: variance / n,
    slopeVariance: variance / spread,
    degrees: Math.max(3, n / inflation - 2),
    bentAt: bend !== null && bend.strength > 1 ? bend.at : null,
  }
}
