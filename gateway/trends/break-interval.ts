/**
 * How far from its estimate may a break lie? The error of a least-squares break, scaled by (step / deviation)^2, behaves like the
 * place where a two-sided random walk with a drift down on either side is highest. Its distribution has a closed form; the
 * deviations before and after may differ.
 * source  Bai 1997 (Review of Economics and Statistics 79: 551), appendix B
 * cost    O(1), some fifty evaluations
 */
import { positive, within } from '../process/range.ts'
import { logNormalBelow } from './normal.ts'

/**
 * Chance that the highest place lies at or before x (in scaled steps, below zero: earlier).
 * sdRatio  deviation after over deviation before
 */
export function highestBelow(x: number, sdRatio = 1): number {
  const phi = positive('ratio of deviations', sdRatio, '') ** 2
  return x < 0 ? earlier(-x, phi) : later(x, phi)
}

function earlier(x: number, phi: number): number {
  const a = 1 / phi
  const root = Math.sqrt(x)
  const one = -Math.exp(Math.log(x) / 2 - x / 8 - Math.log(2 * Math.PI) / 2)
  const two = ((-phi * (phi + 2)) / (phi + 1)) * Math.exp((a * (1 + a) * x) / 2 + logNormalBelow(-(0.5 + a) * root))
  return one + two + (x / 2 - 2 + (phi + 2) ** 2 / (phi + 1)) * Math.exp(logNormalBelow(-root / 2))
}

function later(x: number, phi: number): number {
  const a = 1 / phi
  const root = Math.sqrt(x)
  const one = x === 0 ? 0 : Math.sqrt(a) * Math.exp(Math.log(x) / 2 - (a * x) / 8 - Math.log(2 * Math.PI) / 2)
  const two = ((a * (2 * phi + 1)) / (phi + 1)) * Math.exp(((phi + 1) * x) / 2 + logNormalBelow((-(phi + 0.5) / Math.sqrt(phi)) * root))
  return 1 + one + two - ((2 * phi + 1) ** 2 / ((phi + 1) * phi) - 2 + x / (2 * phi)) * Math.exp(logNormalBelow(-root / (2 * Math.sqrt(phi))))
}

/** x with the share p below it; throws RangeError for a share outside 0.001-0.999 or one that the ratio of deviations leaves on the wrong side */
export function highestQuantile(p: number, sdRatio = 1): number {
  within('share', p, 0.001, 0.999, '')
  let low = -1
  let high = 1
  while (highestBelow(low, sdRatio) > p && low > -1e6) low *= 2
  while (highestBelow(high, sdRatio) < p && high < 1e6) high *= 2
  while (high - low > 1e-9 * Math.max(1, Math.abs(high))) {
    const middle = (low + high) / 2
    if (highestBelow(middle, sdRatio) < p) low = middle
    else high = middle
  }
  return (low + high) / 2
}
