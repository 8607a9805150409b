/**
 * What memory between neighbours does to the error of a mean or a slope. With a correlation r from one value to the next the variance of
 * a long mean is (1 + r) / (1 - r) that of independent values.
 * source  first-order autoregression (Box, Jenkins & Reinsel, Time Series Analysis); the allowance below was set on seeded runs
 */
import { within } from '../process/range.ts'
import { autocorrelation } from './moments.ts'

const MOST = 0.95

/**
 * r       correlation of neighbours, already freed of what fitting took from it; below 0 counts as 0
 * n       values it was taken from, 3 or more
 * gives   how many times larger the variance is, 1 to 39
 * A correlation that is beyond chance is taken half a standard error higher: an error too small by the same amount does more harm.
 */
export function memoryInflation(r: number, n: number): number {
  within('values', n, 3, 1e9, '')
  const seen = Math.min(MOST, Math.max(0, r))
  const taken = seen > 1.64 / Math.sqrt(n) ? Math.min(MOST, seen + 0.5 * Math.sqrt((1 - seen * seen) / n)) : seen
  return (1 + taken) / (1 - taken)
}

/** Of even steps (a hole is NaN) about a line through them; a line takes about 2 + 4 r parts of n of the memory away with it. Cost O(n). */
export function memoryAboutLine(steps: Float64Array, slopePerStep: number): number {
  const off = steps.map((v, i) => v - slopePerStep * i)
  const n = off.reduce((sum, v) => sum + (Number.isNaN(v) ? 0 : 1), 0)
  const r = autocorrelation(off, 1)[1] as number
  return r === 0 ? 1 : memoryInflation((r + 2 / n) / Math.max(0.5, 1 - 4 / n), n)
}
