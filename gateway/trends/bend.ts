/**
 * Is a course one straight line, or did it step or bend on the way? A line through a step points somewhere neither half goes. The split is
 * sought at which two lines of their own leave the least; how much less than one line leaves is judged against what chance gives
 * over all splits, with the memory that is left about the two.
 *
 *        one line            two lines
 *     .                    . .
 *      . \                   . .
 *         \  . .                   . .
 *           \    . .                  . .
 *
 * source  Andrews 1993 (Econometrica 61: 821) for the largest of such ratios; its limit for a drifting line was set on seeded runs of 20 to 200
 *         points: 1 straight course in 50 is called bent, 1 in 20 where days resemble each other strongly
 * cost    O(n) time and memory
 */
import { positive } from '../process/range.ts'
import { memoryInflation } from './memory.ts'

export interface Bend {
  /** First point of the second line. */
  readonly at: number
  /** Largest ratio over its limit: above 1 the course is not one line. */
  readonly strength: number
}

const LIMIT_OF_RATIO = 24

/**
 * x, y        ascending x, same length; n of at least 20, else null: fewer points do not tell a bend from chance
 * resolution  smallest step of y: no deviation is under what it implies
 * throws      RangeError when lengths differ or the resolution is not above zero
 */
export function bendOf(x: readonly number[], y: readonly number[], resolution: number): Bend | null {
  const n = x.length
  if (y.length !== n) throw new RangeError(`a course needs x and y each: ${n} x and ${y.length} y found`)
  positive('resolution', resolution, 'of the signal')
  if (n < 20) return null
  const side = Math.max(5, Math.floor(0.15 * n))
  const sums = new Float64Array(5 * (n + 1))
  for (let i = 0; i < n; i += 1) {
    const a = x[i] as number
    const b = y[i] as number
    const terms = [a, b, a * a, a * b, b * b]
    for (let k = 0; k < 5; k += 1) sums[5 * (i + 1) + k] = (sums[5 * i + k] as number) + (terms[k] as number)
  }
  const one = lineBetween(sums, 0, n)
  let least = Number.POSITIVE_INFINITY
  let split = side
  for (let t = side; t <= n - side; t += 1) {
    const left = lineBetween(sums, 0, t).left + lineBetween(sums, t, n).left
    if (left >= least) continue
    least = left
    split = t
  }
  let neighbours = 0
  for (const [from, to] of [
    [0, split],
    [split, n],
  ] as const) {
    const l = lineBetween(sums, from, to)
    let before = 0
    for (let i = from; i < to; i += 1) {
      const off = (y[i] as number) - l.level - l.slope * (x[i] as number)
      neighbours += off * before
      before = off
    }
  }
  // Two lines take about twice what one takes of the memory.
  const r = least > 0 ? (neighbours / least + 4 / n) / Math.max(0.5, 1 - 8 / n) : 0
  const ratio = (one.left - least) / Math.max(least / (n - 4), resolution ** 2 / 12)
  return { at: split, strength: ratio / memoryInflation(r, n) / LIMIT_OF_RATIO }
}

function lineBetween(sums: Float64Array, from: number, to: number): { readonly left: number; readonly slope: number; readonly level: number } {
  const n = to - from
  const s = (k: number): number => (sums[5 * to + k] as number) - (sums[5 * from + k] as number)
  const xx = s(2) - (s(0) * s(0)) / n
  const xy = s(3) - (s(0) * s(1)) / n
  const yy = s(4) - (s(1) * s(1)) / n
  const slope = xx > 0 ? xy / xx : 0
  return { left: Math.max(0, yy - slope * xy), slope, level: (s(1) - slope * s(0)) / n }
}
