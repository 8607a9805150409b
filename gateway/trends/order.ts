/**
 * Order statistics: what stands in the middle, and how far the rest lies from it. Half the values may be nonsense before the
 * median and the median distance move far, which is why normal life is described with them and not with mean and deviation.
 * sources  Hampel 1974 (J. Am. Stat. Assoc. 69: 383) for the median distance; Hyndman & Fan 1996 (Am. Stat. 50: 361), their
 *          type 7, for quantiles; Hoare 1961 (Algorithm 65) for the selection
 */
import { positive, within } from '../process/range.ts'

/** 1 / (upper quartile of the standard normal): makes the median distance a standard deviation when the values are normal. */
export const MAD_TO_SD = 1.4826022185056018

/**
 * k-th smallest (0-based) of the first n values; `values` is re-ordered in place. Cost O(n) on average, no memory.
 * throws RangeError when k is outside 0 to n-1; values must hold no NaN
 */
export function select(values: Float64Array, k: number, n = values.length): number {
  within('rank', k, 0, n - 1, '')
  let low = 0
  let high = n - 1
  while (low < high) {
    const pivot = middleOf(values[low] as number, values[(low + high) >>> 1] as number, values[high] as number)
    let i = low
    let j = high
    while (i <= j) {
      while ((values[i] as number) < pivot) i += 1
      while ((values[j] as number) > pivot) j -= 1
      if (i > j) break
      const swap = values[i] as number
      values[i] = values[j] as number
      values[j] = swap
      i += 1
      j -= 1
    }
    if (k <= j) high = j
    else if (k >= i) low = i
    else break
  }
  return values[k] as number
}

const middleOf = (a: number, b: number, c: number): number => Math.max(Math.min(a, b), Math.min(Math.max(a, b), c))

/** Quantile of finite values by linear interpolation between neighbours. Cost O(n). throws RangeError for no values or a share outside 0-1 */
export function quantile(values: ArrayLike<number>, share: number): number {
  within('share', share, 0, 1, '')
  if (values.length === 0) throw new RangeError('no values: a quantile needs at least one')
  const work = Float64Array.from(values)
  const rank = (work.length - 1) * share
  const below = Math.floor(rank)
  const a = select(work, below)
  if (rank === below) return a
  return a + (rank - below) * (select(work, below + 1) - a)
}

/** Mean of the two middle ones when their number is even. Cost O(n). throws RangeError for no values */
export const median = (values: ArrayLike<number>): number => quantile(values, 0.5)

/** Median distance from the median, unscaled; exactly 0 as soon as more than half of the values are equal. Cost O(n). */
export function medianDistance(values: ArrayLike<number>, centre = median(values)): number {
  return median(Float64Array.from(values, (v) => Math.abs(v - centre)))
}

/** Spread comparable with a standard deviation, never under the resolution of the instrument (unit of the values, above zero). Cost O(n). */
export const robustSd = (values: ArrayLike<number>, resolution: number, centre = median(values)): number =>
  Math.max(positive('resolution', resolution, 'of the signal'), MAD_TO_SD * medianDistance(values, centre))
