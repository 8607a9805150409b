import fc from 'fast-check'

/** Repeatable noise for tests: a small linear congruential generator and Gaussian noise from it. */
export function seeded(seed: number): () => number {
  let state = seed >>> 0
  return () => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0
    return (state + 0.5) / 4_294_967_296
  }
}

export function gaussian(seed: number): (sd: number) => number {
  const next = seeded(seed)
  return (sd) => sd * Math.sqrt(-2 * Math.log(next())) * Math.cos(2 * Math.PI * next())
}

/** The result of a function that may say "not observable"; that is an error where a test wants figures. */
export function seen<T extends object>(result: T | { readonly kind: 'not-observable'; readonly because: string }): Exclude<T, { readonly kind: 'not-observable' }> {
  if ('because' in result) throw new Error(`not observable: ${result.because}`)
  return result as Exclude<T, { readonly kind: 'not-observable' }>
}

export const because = (result: object | number): string => (typeof result === 'object' && 'because' in result ? String(result.because) : 'it was told')

/** Even over the span, ends included. The library's own doubles are even over their bits: from 0 to 1 nearly all are next to nothing. */
export const real = (low: number, high: number): fc.Arbitrary<number> => fc.integer({ min: 0, max: 1_000_000 }).map((n) => low + ((high - low) * n) / 1_000_000)
