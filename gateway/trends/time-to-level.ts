/**
 * When will a tank that empties (or fills) by fits and starts be at a level? Washing comes in bursts, so the level is a sum of chances: it
 * does not swing back to a line, it wanders from it, and the further ahead the wider. Level now: the newest. Pace: from first to
 * last. Wander: how much more the level differs over many steps than over one, once the pace is taken out; reading noise differs as
 * much over one step as over many and so falls out of it.
 *
 *     level |\_
 *           |  \__/\           . - - high
 *           |        \_  - - median
 *     limit |-----------\-+---- low
 *
 * For levels over minutes and hours. Steps without a reading are holes and give no differences.
 * Withheld as in limit-plan.ts.
 * sources  Cox & Miller 1965, The Theory of Stochastic Processes, 5.7 (drift and diffusion); Cochrane 1988 (J. Polit. Econ. 96: 893)
 *          for the wander from long differences
 * cost     O(n) time and memory; O(n^2) for a steady draw, where time-to-limit.ts answers
 */
import { within } from '../process/range.ts'
import { gridOf } from './grid.ts'
import { type LimitPlan, meets, sinceGap } from './limit-plan.ts'
import { studentQuantile } from './normal.ts'
import { OUTLOOK_LEVEL, type Outlook } from './outlook.ts'
import { DAY_MS, type Point } from './points.ts'
import { timeToLimit } from './time-to-limit.ts'

/**
 * points  ascending, none after nowMs
 * stepMs  even steps the level is taken at, no shorter than the report interval
 * throws  RangeError for a plan outside its ranges or times that run backwards
 */
export function timeToLevel(points: readonly Point[], nowMs: number, stepMs: number, p: LimitPlan): Outlook {
  within('step', stepMs, 1, p.gapMs, 'ms')
  const s = sinceGap(points, nowMs, p)
  if ('because' in s) return s
  const firstMs = s.atMs[0] as number
  const lastMs = s.atMs[s.atMs.length - 1] as number
  const steps = Math.max(6, Math.floor((lastMs - firstMs) / stepMs) + 1)
  const up = p.side === 'above' ? 1 : -1
  const rows = Array.from(s.value, (value, i) => ({ atMs: s.atMs[i] as number, value: up * value }))
  const y = gridOf(rows, { fromMs: firstMs, stepMs, steps, leastPerStep: 1 }).value
  // Readings that are exactly even stand at the start of their step.
  const pace = (up * ((s.value.at(-1) as number) - (s.value[0] as number))) / ((lastMs - firstMs) / stepMs)
  const many = Math.max(3, Math.round(Math.sqrt(steps)))
  const one = difference(y, 1, pace)
  const least = p.resolution ** 2 / 6
  const wander = Math.max(0, (difference(y, many, pace) / (1 - many / steps) - one) / (many - 1))
  const noise = Math.max(least, one - wander) / 2
  // A steady draw wanders less in a step than a fifth of the reading noise; a line through all readings then knows the pace better
  // than its two ends. The fifth was set on seeded runs.
  if (wander < 0.2 * noise) return timeToLimit(points, nowMs, p)
  const perDay = DAY_MS / stepMs
  return meets(
    {
      originMs: lastMs,
      short: up * ((s.value.at(-1) as number) - p.limit),
      risePerDay: pace * perDay,
      variances: [noise, wander * perDay, ((wander * (steps - 1) + 2 * noise) * perDay * perDay) / (steps - 1) ** 2],
      reach: studentQuantile((1 + OUTLOOK_LEVEL) / 2, Math.max(3, (1.5 * steps) / many)),
      from: s.value.length,
      observedMs: lastMs - firstMs,
    },
    nowMs,
    p.aheadSpans,
  )
}

/** Mean square of what the level changes over so many steps beyond the pace. */
function difference(y: Float64Array, over: number, pace: number): number {
  let sum = 0
  let n = 0
  for (let i = over; i < y.length; i += 1) {
    const d = (y[i] as number) - (y[i - over] as number) - over * pace
    if (Number.isNaN(d)) continue
    sum += d * d
    n += 1
  }
  return n === 0 ? 0 : sum / n
}
