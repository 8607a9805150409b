/** Names nearest to one that is not known, by the letters that differ (Levenshtein 1966). */
const distance = (a: string, b: string): number => {
  let row = Array.from({ length: b.length + 1 }, (_, i) => i)
  for (let i = 1; i <= a.length; i++) {
    const next = [i]
    for (let j = 1; j <= b.length; j++) next.push(Math.min((row[j] as number) + 1, (next[j - 1] as number) + 1, (row[j - 1] as number) + (a[i - 1] === b[j - 1] ? 0 : 1)))
    row = next
  }
  return row[b.length] as number
}

/** At most `most`, the nearest first; `within`: share of the letters that may differ. */
export function nearestNames(name: string, known: readonly string[], most = 6, within = 0.4): readonly string[] {
  return known
    .map((k) => ({ k, d: distance(name, k) }))
    .filter(({ k, d }) => d <= within * Math.max(name.length, k.length))
    .toSorted((a, b) => a.d - b.d || (a.k < b.k ? -1 : 1))
    .slice(0, most)
    .map(({ k }) => k)
}
