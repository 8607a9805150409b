/**
 * Mean, standard deviation and autocorrelation, in two passes: the one-pass sums lose every figure on a counter at ten million.
 * Holes (NaN) keep their place in time and carry no weight.
 * source  NIST/SEMATECH e-Handbook 1.3.5.12 (autocorrelation about the overall mean, divided by the whole sum of squares)
 */
import { within } from '../process/range.ts'

export interface Moments {
  readonly n: number
  readonly mean: number
  /** n - 1 degrees of freedom; NaN for a single value. */
  readonly sd: number
}

/** Cost O(n). throws RangeError when there is no figure among the values */
export function moments(values: ArrayLike<number>): Moments {
  let n = 0
  let sum = 0
  for (let i = 0; i < values.length; i += 1) {
    const v = values[i] as number
    if (Number.isNaN(v)) continue
    n += 1
    sum += v
  }
  if (n === 0) throw new RangeError(`none of ${values.length} values is a figure: a mean needs one`)
  const rough = sum / n
  let off = 0
  let squares = 0
  for (let i = 0; i < values.length; i += 1) {
    const d = (values[i] as number) - rough
    if (Number.isNaN(d)) continue
    off += d
    squares += d * d
  }
  // What rounding took from the mean comes back through the distances.
  return { n, mean: rough + off / n, sd: Math.sqrt((squares - (off * off) / n) / (n - 1)) }
}

/**
 * Autocorrelation at lags 0 to `lags`; pairs with a hole count nothing. A flat series gives 0 at every lag but the first.
 * values  at even steps
 * Cost O(n x lags) time, O(n + lags) memory.
 * throws  RangeError when lags is not from 0 to n - 1
 */
export function autocorrelation(values: ArrayLike<number>, lags: number): Float64Array {
  within('lags', lags, 0, values.length - 1, '')
  const { mean } = moments(values)
  const d = Float64Array.from(values, (v) => (Number.isNaN(v) ? 0 : v - mean))
  const out = new Float64Array(lags + 1)
  for (let lag = 0; lag <= lags; lag += 1) {
    let sum = 0
    for (let i = lag; i < d.length; i += 1) sum += (d[i] as number) * (d[i - lag] as number)
    out[lag] = sum
  }
  const whole = out[0] as number
  return out.map((c, lag) => (lag === 0 ? 1 : whole > 0 ? c / whole : 0))
}
