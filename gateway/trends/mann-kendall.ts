/**
 * Mann-Kendall: does a series rise (or fall) more often than chance would have it? Only the order of values counts, so neither
 * outliers nor a curved course mislead it. What does is memory: hours that resemble their neighbours make a trend out of any
 * slow wave. The corrected form widens the variance by the memory that is left once the trend is taken out.
 * sources  Mann 1945 (Econometrica 13: 245); Kendall 1975 with ties; Hamed & Rao 1998 (J. Hydrology 204: 182) for the correction
 */
import { type NotObservable, notObservable, within } from '../process/range.ts'
import { autocorrelation } from './moments.ts'
import { normalQuantile, twoSided } from './normal.ts'
import { theilSen } from './theil-sen.ts'
import { midRanks, tiedPairs, tieTerm } from './ties.ts'

export interface MannKendall {
  readonly n: number
  /** Pairs that rise less pairs that fall. */
  readonly s: number
  readonly variance: number
  /** Standard normal when there is no trend; 0 for a flat series. */
  readonly z: number
  /** Two-sided. */
  readonly p: number
  /** s over all pairs. */
  readonly tauA: number
  /** s over the pairs that are not tied. */
  readonly tauB: number
}

/**
 * values  in order of time, finite; at least 4
 * Cost O(n log n) time, O(n) memory.
 * throws  RangeError for fewer than 4 values
 */
export function mannKendall(values: ArrayLike<number>): MannKendall {
  const n = within('values of a trend test', values.length, 4, 1e7, '')
  const pairs = (n * (n - 1)) / 2
  const ties = tiedPairs(values)
  const s = pairs - ties - 2 * fallingPairs(Float64Array.from(values))
  const variance = (n * (n - 1) * (2 * n + 5) - tieTerm(values)) / 18
  return { n, s, ...judged(s, variance), tauA: s / pairs, tauB: ties === pairs ? 0 : s / Math.sqrt((pairs - ties) * pairs) }
}

// One step of s is one pair: half of it is taken off, as for any count judged by a normal curve.
function judged(s: number, variance: number): { readonly variance: number; readonly z: number; readonly p: number } {
  const z = variance > 0 ? (s - Math.sign(s)) / Math.sqrt(variance) : 0
  return { variance, z, p: twoSided(z) }
}

/** Pairs whose later value is smaller, by merge sort; `values` ends up sorted. */
function fallingPairs(values: Float64Array): number {
  const spare = new Float64Array(values.length)
  const sort = (from: number, to: number): number => {
    if (to - from < 2) return 0
    const middle = (from + to) >>> 1
    let falling = sort(from, middle) + sort(middle, to)
    let i = from
    let j = middle
    for (let k = from; k < to; k += 1) {
      if (i < middle && (j >= to || (values[i] as number) <= (values[j] as number))) spare[k] = values[i++] as number
      else {
        falling += middle - i
        spare[k] = values[j++] as number
      }
    }
    values.set(spare.subarray(from, to), from)
    return falling
  }
  return sort(0, values.length)
}

export interface CorrectedMannKendall extends MannKendall {
  /** Variance over that of independent values; also widens the interval of the slope. */
  readonly inflation: number
  /** Sen's slope, unit of the values per step. */
  readonly slopePerStep: number
}

/**
 * values  at even steps, a hole is NaN (grid.ts); at least 10 figures
 * Cost O(n^2) time (autocorrelation at all lags and Sen's slope), up to 5,000 steps.
 * throws  RangeError for more than 5,000 steps
 */
export function mannKendallCorrected(values: ArrayLike<number>): CorrectedMannKendall | NotObservable {
  within('steps of a trend test', values.length, 0, 5000, '')
  const at = Array.from({ length: values.length }, (_, i) => i).filter((i) => !Number.isNaN(values[i] as number))
  const n = at.length
  if (n < 10) return notObservable(`only ${n} values are there and 10 are needed to tell a trend`)
  const present = at.map((i) => values[i] as number)
  const plain = mannKendall(present)
  const { slope } = theilSen(at, present)
  const ranks = midRanks(at.map((i, k) => (present[k] as number) - (i + 1) * slope))
  const spread = new Float64Array(values.length).fill(Number.NaN)
  at.forEach((i, k) => {
    spread[i] = ranks[k] as number
  })
  const memory = autocorrelation(spread, n - 1)
  const chance = normalQuantile(0.975) / Math.sqrt(n)
  let sum = 0
  for (let lag = 1; lag < n; lag += 1) {
    const r = memory[lag] as number
    if (Math.abs(r) > chance) sum += (n - lag) * (n - lag - 1) * (n - lag - 2) * r
  }
  const inflation = 1 + (2 * sum) / (n * (n - 1) * (n - 2))
  if (!(inflation > 0)) return notObservable('the values swing so regularly that the test has no spread left; use longer steps, a whole swing each')
  return { ...plain, ...judged(plain.s, plain.variance * inflation), inflation, slopePerStep: slope }
}
