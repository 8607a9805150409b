/**
 * Pettitt's test: where in a series did the values change place in the ranking? Needs no normal values and no idea of the size.
 * Ties share their rank. Memory between values makes p too small: use daily values.
 * source  Pettitt 1979 (Applied Statistics 28: 126); p is his approximation, good below 0.5
 * cost    O(n log n) time, O(n) memory
 */
import { within } from '../process/range.ts'
import { midRanks } from './ties.ts'

export interface Pettitt {
  readonly k: number
  /** The last value before the change, counted from 1; the earliest when several fit as well. */
  readonly lastBefore: number
  readonly p: number
}

/** values in order of time, finite, at least 4. A flat series: k 0, p 1, lastBefore 1. throws RangeError for fewer */
export function pettitt(values: ArrayLike<number>): Pettitt {
  const n = within('values of a change test', values.length, 4, 1e7, '')
  const ranks = midRanks(values)
  let sum = 0
  let k = 0
  let lastBefore = 1
  for (let t = 1; t < n; t += 1) {
    sum += ranks[t - 1] as number
    const u = Math.abs(2 * sum - t * (n + 1))
    if (u > k) {
      k = u
      lastBefore = t
    }
  }
  return { k, lastBefore, p: Math.min(1, 2 * Math.exp((-6 * k * k) / (n ** 3 + n ** 2))) }
}
