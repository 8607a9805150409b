/**
 * EWMA control chart: an average that forgets, with limits that say when it has left its target. Sees a shift of about one
 * standard deviation within ten readings that single readings hide. For readings at even steps; smooth.ts is for the others.
 * A missing reading leaves the chart as it was.
 * source  NIST/SEMATECH e-Handbook 6.3.2.4; Roberts 1959 (Technometrics 1: 239)
 * cost    O(1) time and memory per reading
 */
import { positive, within } from '../process/range.ts'
import { isFigure } from './points.ts'

export interface EwmaPlan {
  /** Weight of the newest reading, above 0 to 1; 0.1-0.3 is usual. */
  readonly lambda: number
  /** Unit of the signal. */
  readonly target: number
  /** Standard deviation of one reading, above zero, unit of the signal: of a flat signal the resolution (order.ts). */
  readonly sd: number
  /** Half width of the limits in standard deviations of the average, 2-4; 3 is usual. */
  readonly width: number
}

export interface EwmaState {
  readonly average: number
  /** Readings taken in. */
  readonly n: number
}

/** throws RangeError for a plan outside its ranges */
export function startEwma(p: EwmaPlan): EwmaState {
  within('lambda', p.lambda, 1e-6, 1, '')
  within('width of the limits', p.width, 1, 10, 'standard deviations')
  within('target', p.target, -1e15, 1e15, '')
  positive('standard deviation', p.sd, 'of the signal')
  return { average: p.target, n: 0 }
}

export function stepEwma(was: EwmaState, value: number | null, p: EwmaPlan): EwmaState {
  return isFigure(value) ? { average: was.average + p.lambda * (value - was.average), n: was.n + 1 } : was
}

export interface ChartLimits {
  readonly low: number
  readonly high: number
}

/** Limits after n readings; without n the ones they widen to. */
export function ewmaLimits(p: EwmaPlan, n = Number.POSITIVE_INFINITY): ChartLimits {
  const half = p.width * p.sd * Math.sqrt((p.lambda / (2 - p.lambda)) * (1 - (1 - p.lambda) ** (2 * n)))
  return { low: p.target - half, high: p.target + half }
}

export function ewmaSays(s: EwmaState, p: EwmaPlan): 'inside' | 'high' | 'low' {
  if (s.n === 0) return 'inside'
  const limits = ewmaLimits(p, s.n)
  return s.average > limits.high ? 'high' : s.average < limits.low ? 'low' : 'inside'
}
