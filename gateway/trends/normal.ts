/**
 * The normal distribution and its neighbour, Student's t: areas below a point, and back.
 * sources  Abramowitz & Stegun 7.1.6 (series), 7.1.14 (continued fraction), 26.7.5 (t from the normal); Acklam's rational start for
 *          the inverse, brought to full figures by one step of Halley
 */
import { within } from '../process/range.ts'

/** Area below z. Relative error under 1e-13 down to 1e-300. */
export function normalBelow(z: number): number {
  const x = Math.abs(z) / Math.SQRT2
  const tail = x < 2 ? 0.5 * (1 - erfSeries(x)) : 0.5 * Math.exp(-x * x) * erfcScaled(x)
  return z <= 0 ? tail : 1 - tail
}

/** Logarithm of the area below z; stays finite where the area itself is no longer told from zero. */
export function logNormalBelow(z: number): number {
  const x = -z / Math.SQRT2
  return x < 2 ? Math.log(normalBelow(z)) : Math.log(0.5 * erfcScaled(x)) - x * x
}

/** Two-sided chance of a standard normal at least as far out as z, 0-1. */
export const twoSided = (z: number): number => Math.min(1, 2 * normalBelow(-Math.abs(z)))

function erfSeries(x: number): number {
  let term = x
  let sum = x
  for (let k = 1; term > 1e-17 * sum; k += 1) {
    term *= (2 * x * x) / (2 * k + 1)
    sum += term
  }
  return (2 / Math.sqrt(Math.PI)) * Math.exp(-x * x) * sum
}

/** exp(x^2) erfc(x) for x >= 2, the fraction evaluated from behind; the further out, the fewer terms it takes. */
function erfcScaled(x: number): number {
  let f = 0
  for (let k = Math.ceil(4 + 240 / (x * x)); k >= 1; k -= 1) f = k / 2 / (x + f)
  return 1 / Math.sqrt(Math.PI) / (x + f)
}

const A = [-3.969683028665376e1, 2.209460984245205e2, -2.759285104469687e2, 1.38357751867269e2, -3.066479806614716e1, 2.506628277459239]
const B = [-5.447609879822406e1, 1.615858368580409e2, -1.556989798598866e2, 6.680131188771972e1, -1.328068155288572e1, 1]
const C = [-7.784894002430293e-3, -3.223964580411365e-1, -2.400758277161838, -2.549732539343734, 4.374664141464968, 2.938163982698783]
const D = [7.784695709041462e-3, 3.224671290700398e-1, 2.445134137142996, 3.754408661907416, 1]
const polynomial = (c: readonly number[], x: number): number => c.reduce((sum, k) => sum * x + k, 0)

/** z with the share p (above 0, below 1) below it. throws RangeError */
export function normalQuantile(p: number): number {
  within('share', p, Number.MIN_VALUE, 1 - Number.EPSILON / 2, '')
  if (p > 0.5) return -normalQuantile(1 - p)
  const q = p - 0.5
  const r = Math.sqrt(-2 * Math.log(p))
  const z = p < 0.02425 ? polynomial(C, r) / polynomial(D, r) : (polynomial(A, q * q) * q) / polynomial(B, q * q)
  const e = (normalBelow(z) - p) * Math.sqrt(2 * Math.PI) * Math.exp((z * z) / 2)
  return z - e / (1 + (z * e) / 2)
}

/** t with the share p below it; within 0.5 % for 3 or more degrees of freedom and shares from 0.025 to 0.975. throws RangeError under 3 degrees */
export function studentQuantile(p: number, degrees: number): number {
  within('degrees of freedom', degrees, 3, 1e9, '')
  const z = normalQuantile(p)
  const z2 = z * z
  const v = 1 / degrees
  const g1 = (z * (z2 + 1)) / 4
  const g2 = (z * (5 * z2 * z2 + 16 * z2 + 3)) / 96
  const g3 = (z * (3 * z2 ** 3 + 19 * z2 * z2 + 17 * z2 - 15)) / 384
  const g4 = (z * (79 * z2 ** 4 + 776 * z2 ** 3 + 1482 * z2 * z2 - 1920 * z2 - 945)) / 92_160
  return z + v * (g1 + v * (g2 + v * (g3 + v * g4)))
}
