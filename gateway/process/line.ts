/**
 * Straight line through points by (weighted) least squares, with the standard errors that say how far to believe it.
 * Sums are taken about the means, so that clock times in the thousands cost no figures.
 */
import { positive } from './range.ts'

export interface Line {
  readonly slope: number
  readonly intercept: number
  readonly slopeError: number
  readonly interceptError: number
  /** Standard deviation of what the line leaves over, n - 2 degrees of freedom. */
  readonly residual: number
  /** Share of the spread the line explains, 0-1. Not a measure of belief: a flat line explains nothing and may be known well. */
  readonly explained: number
  readonly n: number
}

/**
 * x, y     same length, at least 3, x not all equal
 * weights  one per point, relative; absent: all 1
 * throws   RangeError when lengths differ, fewer than 3 points, or all x are the same
 */
export function fitLine(x: readonly number[], y: readonly number[], weights?: readonly number[]): Line {
  const n = x.length
  if (n < 3 || y.length !== n || (weights && weights.length !== n)) throw new RangeError(`a line needs at least 3 points with x and y each: ${n} x, ${y.length} y found`)
  const w = (i: number): number => weights?.[i] ?? 1
  let sw = 0
  let sx = 0
  let sy = 0
  for (let i = 0; i < n; i += 1) {
    sw += w(i)
    sx += w(i) * at(x, i)
    sy += w(i) * at(y, i)
  }
  const meanX = sx / positive('sum of weights', sw, '')
  const meanY = sy / sw
  let xx = 0
  let xy = 0
  let yy = 0
  for (let i = 0; i < n; i += 1) {
    const dx = at(x, i) - meanX
    const dy = at(y, i) - meanY
    xx += w(i) * dx * dx
    xy += w(i) * dx * dy
    yy += w(i) * dy * dy
  }
  if (!(xx > 0)) throw new RangeError(`a line needs at least two different x: all ${n} are ${at(x, 0)}`)
  const slope = xy / xx
  const intercept = meanY - slope * meanX
  let left = 0
  for (let i = 0; i < n; i += 1) left += w(i) * (at(y, i) - meanY - slope * (at(x, i) - meanX)) ** 2
  const variance = left / (n - 2)
  return {
    slope,
    intercept,
    slopeError: Math.sqrt(variance / xx),
    interceptError: Math.sqrt(variance * (1 / sw + meanX ** 2 / xx)),
    residual: Math.sqrt(variance),
    explained: yy === 0 ? 1 : 1 - left / yy,
    n,
  }
}

/**
 * Two-sided 95 % quantile of Student's t, within 0.4 % for 5 or more degrees of freedom, 0.7 % for 4.
 * source: series in 1/df fitted to the printed table (2.571, 2.447, 2.228, 2.042, 1.960 at 5, 6, 10, 30, infinity)
 */
export const student95 = (degrees: number): number => 1.96 + 2.372 / positive('degrees of freedom', degrees, '') + 2.82 / degrees ** 2 + 1.9 / degrees ** 3

/** Two-sided 80 % quantile of Student's t. source: Cornish-Fisher series (Fisher 1941), within 0.2 % of the printed table for 6 or more degrees of freedom (1.440, 1.372, 1.325 at 6, 10, 20) */
export const student80 = (degrees: number): number => 1.28155 + 0.8466 / positive('degrees of freedom', degrees, '') + 0.5709 / degrees ** 2

const at = (a: readonly number[], i: number): number => a[i] ?? Number.NaN
