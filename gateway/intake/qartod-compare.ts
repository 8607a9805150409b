/**
 * The four comparisons every quality test is made of. Equality passes everywhere, and two figures that differ only by
 * binary rounding count as equal: 10/900 is not more than 10/15/60, and 5.1 - 5 is not less than 0.1.
 */

/** Share of the limit that counts as rounding (standards digest, trap of vector RC-2). */
const ROUNDING = 1e-9

export const above = (x: number, limit: number): boolean => x > limit + ROUNDING * Math.abs(limit)
export const below = (x: number, limit: number): boolean => x < limit - ROUNDING * Math.abs(limit)
/** Gross range compares two figures as they were sent and set, not results of arithmetic: no rounding to forgive. */
export const outside = (x: number, range: readonly [number, number]): boolean => x < range[0] || x > range[1]
/** Longer than it may be, whole ms: exact. */
export const longer = (ms: number, limitMs: number): boolean => ms > limitMs
