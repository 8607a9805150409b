/**
 * What memory between neighbours does to the error of a mean or a slope. With a correlation r from one value to the next the variance of
 * a long mean is (1 + r) / (1 - r) that of independent values.
 * source  first-order autoregression (Box, Jenkins & Reinsel, Time Series Analysis); the allowance below was set on seeded runs
 */
import { within } from '../process/range.ts'

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
