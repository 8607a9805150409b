/**
 * Theil-Sen line: the median of the slopes between all pairs of points. Up to 29 % of the points may be wild before it breaks.
 *
 * n (n - 1) / 2 slopes are too many to keep and sort (2.3 million for 90 days of hours). A sample of them brackets the wanted
 * ranks; one pass over all pairs then counts what lies below the bracket and keeps only what lies inside. The result is exact.
 *
 *     all slopes   ----------[xxxxxx|xxxxxx]-----------
 *                  counted     kept, selected   passed over
 *
 * Pairs of equal x have no slope and are left out. Points are taken to be independent: `inflation` widens the interval where they
 * are not (mann-kendall.ts gives it).
 * sources  Sen 1968 (J. Am. Stat. Assoc. 63: 1379) for slope and interval; Gilbert 1987, Statistical Methods for Environmental
 *          Pollution Monitoring, 16.4, for ranks between; Conover 1980 for the intercept
 * cost     O(n^2) time, memory of a few per cent of the pairs, 2 to 5,000 points
 */
import { positive, within } from '../process/range.ts'
import { normalQuantile } from './normal.ts'
import { median, select } from './order.ts'
import { tiedPairs, tieTerm } from './ties.ts'

export interface RobustLineSettings {
  /** Chance that the interval holds the slope, 0.5-0.999. */
  readonly level: number
  /** Ranks of the interval: rounded outwards to a slope there is, or interpolated between two. */
  readonly ranks: 'rounded' | 'between'
  /** How many times the variance is larger than that of independent points, above zero; 1: they are. */
  readonly inflation: number
}

export const ROBUST_LINE: RobustLineSettings = { level: 0.95, ranks: 'rounded', inflation: 1 }

export interface RobustLine {
  /** Unit of y per unit of x; `low <= slope <= high`. */
  readonly slope: number
  readonly low: number
  readonly high: number
  /** y at x = 0, from the medians of x and y. */
  readonly intercept: number
  readonly points: number
  readonly pairs: number
}

/**
 * x, y    same length, finite, any order
 * throws  RangeError when lengths differ, for fewer than 2 or more than 5,000 points, when all x are equal, and for settings outside their ranges
 */
export function theilSen(x: ArrayLike<number>, y: ArrayLike<number>, s: RobustLineSettings = ROBUST_LINE): RobustLine {
  const n = x.length
  if (y.length !== n) throw new RangeError(`a line needs x and y each: ${n} x and ${y.length} y found`)
  within('points', n, 2, 5000, '(take medians of hours or days first)')
  within('level of the interval', s.level, 0.5, 0.999, '')
  const xs = finite('x', x)
  const ys = finite('y', y)
  const pairs = (n * (n - 1)) / 2 - tiedPairs(xs)
  if (pairs === 0) throw new RangeError(`a line needs at least two different x: all ${n} are ${xs[0]}`)
  const variance = (n * (n - 1) * (2 * n + 5) - tieTerm(xs) - tieTerm(ys)) / 18
  const reach = normalQuantile((1 + s.level) / 2) * Math.sqrt(Math.max(0, variance) * positive('inflation of the variance', s.inflation, ''))
  const inside = (r: number): number => Math.min(pairs - 1, Math.max(0, r))
  // Ranks counted from zero.
  const lowRank = inside(s.ranks === 'rounded' ? Math.round((pairs - reach) / 2) - 1 : (pairs - reach) / 2 - 1)
  const highRank = inside(s.ranks === 'rounded' ? Math.round((pairs + reach) / 2) : (pairs + reach) / 2)
  const of = slopesBetween(xs, ys, pairs, Math.floor(lowRank), Math.ceil(highRank))
  const slope = of((pairs - 1) / 2)
  return { slope, low: of(lowRank), high: of(highRank), intercept: median(ys) - slope * median(xs), points: n, pairs }
}

/** Slopes by rank (a fraction lies between two), for ranks from `lowRank` to `highRank`. */
function slopesBetween(x: Float64Array, y: Float64Array, pairs: number, lowRank: number, highRank: number): (rank: number) => number {
  for (let wider = 1; ; wider *= 8) {
    const [low, high] = bracket(x, y, pairs, lowRank, highRank, wider)
    const found = sift(x, y, low, high)
    const kept = found.kept
    const firstHigh = found.below + found.atLow + kept.length
    if (lowRank < found.below || highRank >= firstHigh + found.atHigh) continue
    const at = (rank: number): number => (rank < found.below + found.atLow ? low : rank >= firstHigh ? high : select(kept, rank - found.below - found.atLow))
    return (rank) => {
      const whole = Math.floor(rank)
      const a = at(whole)
      return rank === whole ? a : a + (rank - whole) * (at(whole + 1) - a)
    }
  }
}

const SAMPLE = 4096

/** Two slopes that very likely lie on either side of the ranks. */
function bracket(x: Float64Array, y: Float64Array, pairs: number, lowRank: number, highRank: number, wider: number): readonly [number, number] {
  if (pairs <= 4 * SAMPLE) return [Number.NEGATIVE_INFINITY, Number.POSITIVE_INFINITY]
  const sample = new Float64Array(SAMPLE)
  let state = 1
  const pick = (): number => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0
    return Math.floor((state / 4_294_967_296) * x.length)
  }
  for (let taken = 0; taken < SAMPLE; ) {
    const i = pick()
    const j = pick()
    const dx = (x[i] as number) - (x[j] as number)
    if (dx === 0) continue
    sample[taken] = ((y[i] as number) - (y[j] as number)) / dx
    taken += 1
  }
  const margin = (share: number): number => wider * (4 * Math.sqrt((share * (1 - share)) / SAMPLE) + 1 / SAMPLE)
  const from = Math.floor((lowRank / pairs - margin(lowRank / pairs)) * SAMPLE)
  const to = Math.ceil((highRank / pairs + margin(highRank / pairs)) * SAMPLE)
  return [from < 0 ? Number.NEGATIVE_INFINITY : select(sample, from), to >= SAMPLE ? Number.POSITIVE_INFINITY : select(sample, to)]
}

interface Sifted {
  readonly below: number
  readonly atLow: number
  readonly atHigh: number
  /** Strictly between. */
  readonly kept: Float64Array
}

function sift(x: Float64Array, y: Float64Array, low: number, high: number): Sifted {
  let kept = new Float64Array(16_384)
  let size = 0
  let below = 0
  let atLow = 0
  let atHigh = 0
  for (let i = 0; i < x.length; i += 1) {
    const xi = x[i] as number
    const yi = y[i] as number
    for (let j = i + 1; j < x.length; j += 1) {
      const dx = (x[j] as number) - xi
      if (dx === 0) continue
      const slope = ((y[j] as number) - yi) / dx
      if (slope < low) below += 1
      else if (slope < high) {
        if (slope === low) atLow += 1
        else {
          if (size === kept.length) {
            const larger = new Float64Array(2 * size)
            larger.set(kept)
            kept = larger
          }
          kept[size] = slope
          size += 1
        }
      } else if (slope === low) atLow += 1
      else if (slope === high) atHigh += 1
    }
  }
  return { below, atLow, atHigh, kept: kept.subarray(0, size) }
}

function finite(what: string, values: ArrayLike<number>): Float64Array {
  const out = Float64Array.from(values)
  const bad = out.find((v) => !Number.isFinite(v))
  if (bad !== undefined) throw new RangeError(`${what} holds ${bad}: leave out points without a figure first`)
  return out
}
