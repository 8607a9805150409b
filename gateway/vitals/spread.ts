/** Middle of a few figures, and the 80 % interval made of independent doubts. */

export function median(values: readonly number[]): number {
  const v = [...values].sort((a, b) => a - b)
  const half = v.length >> 1
  return v.length % 2 === 1 ? (v[half] ?? Number.NaN) : ((v[half - 1] ?? Number.NaN) + (v[half] ?? Number.NaN)) / 2
}

/** Half-width that holds 80 % of a normal error. */
export const Z80 = 1.2816

/** Interval of `value` from standard deviations that do not know of each other; `floor`: what it cannot be below. */
export function interval80(value: number, deviations: readonly number[], floor = Number.NEGATIVE_INFINITY): { readonly low: number; readonly high: number } {
  const reach = Z80 * Math.hypot(...deviations)
  return { low: Math.max(floor, value - reach), high: Math.max(floor, value + reach) }
}

/** Standard deviation of rounding to a step. */
export const ofStep = (resolution: number): number => resolution / Math.sqrt(12)
