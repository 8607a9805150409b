/**
 * One break in the level of a series: the split that leaves the least sum of squares, how sure it is that there is one, and
 * between which times it lies.
 *
 * Sure: the largest F over all splits, divided by what memory between the values makes of it. Where: the interval of Bai. A flat
 * series has no break; a stepped one is given the spread its resolution implies, so that a single step is no certainty.
 * Single wild readings pull at the means: take medians of hours or days first (grid.ts), and read one wave as no break.
 * sources  Bai 1997 (Review of Economics and Statistics 79: 551); Andrews 1993 (Econometrica 61: 821) with the 2003 correction for
 *          the limits of F (one mean, 15 % kept off either end; from memory); Schwarz 1978 for the criterion
 * cost     O(n) time and memory
 */
import { type NotObservable, notObservable, positive, within } from '../process/range.ts'
import { highestQuantile } from './break-interval.ts'
import type { Series } from './points.ts'

export interface ChangeSettings {
  /** Share of the values on either end where no break is sought, 0.05-0.3. */
  readonly keptOff: number
  /** Chance that the interval holds the break, 0.5-0.99. */
  readonly level: number
  /** Smallest step of the signal, above zero, its unit. */
  readonly resolution: number
  /** Values on either side of a break at least. */
  readonly leastSide: number
}

export interface ChangePoint {
  /** none: chance alone gives such a split more often than 1 in 20; clear: less than 1 in 100. */
  readonly evidence: 'none' | 'some' | 'clear'
  /** Last value before and its neighbour after, counted from 0 among the usable points. */
  readonly lastBefore: number
  readonly lastBeforeMs: number
  readonly firstAfterMs: number
  /** Last value before the break, at its earliest and latest; null: it may lie beyond the series. */
  readonly earliest: number | null
  readonly latest: number | null
  readonly earliestMs: number | null
  readonly latestMs: number | null
  readonly before: number
  readonly after: number
  /** Largest F, as if the values were independent. */
  readonly largestF: number
  /** What memory between neighbours divides it by, 1 or more. */
  readonly inflation: number
  /** Sums of squares without and with the break. */
  readonly squaresWithout: number
  readonly squaresWith: number
  /** Schwarz's criterion; the smaller one is the better account. */
  readonly criterionWithout: number
  readonly criterionWith: number
}

export const CHANGE: Omit<ChangeSettings, 'resolution'> = { keptOff: 0.15, level: 0.95, leastSide: 5 }
const SOME_F = 8.68
const CLEAR_F = 12.16

/** throws RangeError for settings outside their ranges */
export function changePoint(s: Series, c: ChangeSettings): ChangePoint | NotObservable {
  within('share kept off', c.keptOff, 0.05, 0.3, '')
  within('level of the interval', c.level, 0.5, 0.99, '')
  positive('resolution', c.resolution, 'of the signal')
  const y = s.value
  const n = y.length
  const side = Math.max(2, c.leastSide, Math.floor(c.keptOff * n))
  if (n < 2 * side) return notObservable(`only ${n} values are there and ${2 * side} are needed to look for a break`)
  const all = part(y, 0, n)
  if (y.every((v) => v === y[0])) return notObservable('the signal did not move at all')

  // About the mean, a split after t takes S(t)^2 n / (t (n - t)) off the sum of squares, S the running sum.
  let sum = 0
  let most = -1
  let split = side
  for (let t = 1; t <= n - side; t += 1) {
    sum += (y[t - 1] as number) - all.mean
    const gain = (sum * sum * n) / (t * (n - t))
    if (t >= side && gain > most) {
      most = gain
      split = t
    }
  }
  const first = part(y, 0, split)
  const second = part(y, split, n)
  const left = first.squares + second.squares
  const floor = c.resolution ** 2 / 12
  const r = left > 0 ? (first.neighbours + second.neighbours) / left : 0
  const inflation = r > 1.96 / Math.sqrt(n) ? (1 + r) / (1 - Math.min(r, 0.99)) : 1
  const largestF = (all.squares - left) / Math.max(left / (n - 2), floor)
  const step = second.mean - first.mean
  const sd = (p: Part): number => Math.sqrt(inflation * Math.max(floor, p.squares / p.n))
  const scale = (sd(first) / step) ** 2
  const ratio = sd(second) / sd(first)
  const tail = (1 - c.level) / 2
  const earliest = split - Math.ceil(scale * highestQuantile(1 - tail, ratio)) - 1
  const latest = split - Math.floor(scale * highestQuantile(tail, ratio)) - 1
  const judged = largestF / inflation
  const criterion = (squares: number, parameters: number): number => n * (Math.log(Math.max(squares, n * floor) / n) + 1 + Math.log(2 * Math.PI)) + Math.log(n) * parameters
  const inSeries = (i: number): number | null => (i >= 0 && i <= n - 2 ? i : null)
  const timeOf = (i: number): number | null => s.atMs[inSeries(i) ?? n] ?? null
  return {
    evidence: judged > CLEAR_F ? 'clear' : judged > SOME_F ? 'some' : 'none',
    lastBefore: split - 1,
    lastBeforeMs: s.atMs[split - 1] as number,
    firstAfterMs: s.atMs[split] as number,
    earliest: inSeries(earliest),
    latest: inSeries(latest),
    earliestMs: timeOf(earliest),
    latestMs: timeOf(latest),
    before: first.mean,
    after: second.mean,
    largestF,
    inflation,
    squaresWithout: all.squares,
    squaresWith: left,
    criterionWithout: criterion(all.squares, 2),
    criterionWith: criterion(left, 4),
  }
}

interface Part {
  readonly n: number
  readonly mean: number
  readonly squares: number
  /** Sum of products of neighbours about the mean. */
  readonly neighbours: number
}

function part(y: Float64Array, from: number, to: number): Part {
  const n = to - from
  let mean = 0
  for (let i = from; i < to; i += 1) mean += (y[i] as number) / n
  let squares = 0
  let neighbours = 0
  let before = 0
  for (let i = from; i < to; i += 1) {
    const d = (y[i] as number) - mean
    squares += d * d
    neighbours += d * before
    before = d
  }
  return { n, mean, squares, neighbours }
}
