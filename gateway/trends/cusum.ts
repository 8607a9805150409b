/**
 * Tabular CUSUM: adds up what lies beyond a slack on either side of the target. Finds a lasting small step soonest, and tells when
 * it began: the time the sum last left zero.
 *
 * A missing or late reading leaves the sums as they were; after a gap they start at zero. A sum beyond its limit goes on
 * (the chart stays out) until the caller starts anew.
 * sources  Page 1954 (Biometrika 41: 100); NIST/SEMATECH e-Handbook 6.3.2.3; start of the change after Montgomery, Introduction to
 *          Statistical Quality Control
 * cost     O(1) time and memory per reading
 */
import { positive, within } from '../process/range.ts'
import { isFigure, type Point } from './points.ts'

/** All in the unit of the signal. */
export interface CusumPlan {
  readonly target: number
  /** Half the shift worth finding, 0 or more. */
  readonly slack: number
  /** Sum beyond which the chart signals, above zero. */
  readonly limit: number
  /** Longer without a reading: start anew. */
  readonly gapMs: number
}

export interface CusumSide {
  readonly sum: number
  /** First reading of the present run above zero; null while the sum is zero. */
  readonly sinceMs: number | null
}

export interface CusumState {
  /** Newest reading taken in; null: none yet. */
  readonly atMs: number | null
  readonly high: CusumSide
  readonly low: CusumSide
}

/**
 * Slack and limit from the spread of single readings: half a standard deviation and five of them run about 465 readings between
 * false signals and find a step of one standard deviation in about 10.
 * sd  above zero; of a flat signal the resolution (order.ts)
 */
export const cusumPlan = (target: number, sd: number, gapMs: number, slackSd = 0.5, limitSd = 5): CusumPlan =>
  checked({ target, slack: within('slack', slackSd, 0, 10, 'standard deviations') * positive('standard deviation', sd, 'of the signal'), limit: limitSd * sd, gapMs })

function checked(p: CusumPlan): CusumPlan {
  within('target', p.target, -1e15, 1e15, '')
  positive('slack', p.slack, 'of the signal', true)
  positive('limit', p.limit, 'of the signal')
  positive('gap', p.gapMs, 'ms')
  return p
}

/** throws RangeError for a plan outside its ranges */
export function startCusum(p: CusumPlan): CusumState {
  checked(p)
  const none: CusumSide = { sum: 0, sinceMs: null }
  return { atMs: null, high: none, low: none }
}

export function stepCusum(was: CusumState, at: Point, p: CusumPlan): CusumState {
  if (!isFigure(at.value) || (was.atMs !== null && at.atMs <= was.atMs)) return was
  const fresh = was.atMs === null || at.atMs - was.atMs > p.gapMs
  const off = at.value - p.target
  return { atMs: at.atMs, high: grown(was.high, off - p.slack, at.atMs, fresh), low: grown(was.low, -off - p.slack, at.atMs, fresh) }
}

function grown(was: CusumSide, by: number, atMs: number, fresh: boolean): CusumSide {
  const before = fresh ? 0 : was.sum
  const sum = Math.max(0, before + by)
  return { sum, sinceMs: sum === 0 ? null : before > 0 ? was.sinceMs : atMs }
}

export function cusumSays(s: CusumState, p: CusumPlan): 'inside' | 'high' | 'low' {
  return s.high.sum > p.limit ? 'high' : s.low.sum > p.limit ? 'low' : 'inside'
}
