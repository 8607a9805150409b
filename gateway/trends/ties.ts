/** Equal values: what they cost a rank statistic, and ranks that share. */

/** Sum of t (t - 1) (2t + 5) over groups of t equal values. Cost O(n log n). source Kendall 1975, Rank Correlation Methods */
export function tieTerm(values: ArrayLike<number>): number {
  let out = 0
  for (const t of groups(Float64Array.from(values).sort())) out += t * (t - 1) * (2 * t + 5)
  return out
}

/** Pairs of equal values. Cost O(n log n). */
export function tiedPairs(values: ArrayLike<number>): number {
  let out = 0
  for (const t of groups(Float64Array.from(values).sort())) out += (t * (t - 1)) / 2
  return out
}

function* groups(sorted: Float64Array): Iterable<number> {
  let from = 0
  for (let i = 1; i <= sorted.length; i += 1) {
    if (i < sorted.length && sorted[i] === sorted[from]) continue
    yield i - from
    from = i
  }
}

/** Ranks from 1; equal values share their mean rank. Values must hold no NaN. Cost O(n log n). */
export function midRanks(values: ArrayLike<number>): Float64Array {
  const order = Uint32Array.from({ length: values.length }, (_, i) => i).sort((a, b) => (values[a] as number) - (values[b] as number))
  const out = new Float64Array(values.length)
  let from = 0
  for (let i = 1; i <= order.length; i += 1) {
    if (i < order.length && values[order[i] as number] === values[order[from] as number]) continue
    for (let k = from; k < i; k += 1) out[order[k] as number] = (from + 1 + i) / 2
    from = i
  }
  return out
}
