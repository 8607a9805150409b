/**
 * Exponential average over irregular steps: a reading that comes after a long pause weighs more than one of a quick burst.
 * With even steps it is the EWMA with lambda = 1 - exp(-step / time constant).
 *
 * Late or repeated times are left out (their order is lost), missing readings too; after a gap it starts anew from the reading.
 * source  Eckner 2012, Algorithms for Unevenly Spaced Time Series, section 5 ("next point")
 * cost    O(1) time and memory per reading
 */
import { positive, within } from '../process/range.ts'
import { isFigure, type Point } from './points.ts'

export interface SmoothPlan {
  readonly timeConstantMs: number
  /** Longer without a reading: start anew. At least the time constant. */
  readonly gapMs: number
}

export interface SmoothState {
  readonly atMs: number
  readonly average: number
  /** Where the present average began: the first reading, or the first after a gap. */
  readonly fromMs: number
}

/** was: null at the start. throws RangeError for a plan outside its ranges */
export function stepSmooth(was: SmoothState | null, p: Point, plan: SmoothPlan): SmoothState | null {
  positive('time constant', plan.timeConstantMs, 'ms')
  within('gap', plan.gapMs, plan.timeConstantMs, 1e12, 'ms')
  if (!isFigure(p.value)) return was
  if (was === null || p.atMs - was.atMs > plan.gapMs) return { atMs: p.atMs, average: p.value, fromMs: p.atMs }
  if (p.atMs <= was.atMs) return was
  const weight = -Math.expm1((was.atMs - p.atMs) / plan.timeConstantMs)
  return { atMs: p.atMs, average: was.average + weight * (p.value - was.average), fromMs: was.fromMs }
}
