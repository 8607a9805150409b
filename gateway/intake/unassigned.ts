/** Signals that a known site sends but its site file does not hold: what they are, how often they come, their last figure. */
import { shown } from './reject-codes.ts'

export interface UnassignedSignal {
  readonly site: string
  readonly signal: string
  readonly count: number
  readonly firstMs: number
  readonly lastMs: number
  /** Last figure; null: none. */
  readonly lastValue: number | null
  /** Mean rate since first seen; null while seen once. */
  readonly perMin: number | null
}

export interface Unassigned {
  note(site: string, signal: string, value: number | null, atMs: number): void
  /** Most often first. */
  list(): readonly UnassignedSignal[]
  /** Signals that had to make room. */
  forgotten(): number
  readonly bound: number
}

/** Holds at most `bound` signals; the one unseen for longest makes room. */
export function createUnassigned(bound = 500): Unassigned {
  const seen = new Map<string, Omit<UnassignedSignal, 'perMin'>>()
  let forgotten = 0
  return {
    bound,
    note(site, signal, value, atMs) {
      const name = shown(signal)
      const key = `${site}/${name}`
      const was = seen.get(key)
      if (was) seen.delete(key)
      else if (seen.size >= bound) {
        for (const oldest of seen.keys()) {
          seen.delete(oldest)
          break
        }
        forgotten++
      }
      seen.set(key, { site, signal: name, count: (was?.count ?? 0) + 1, firstMs: was?.firstMs ?? atMs, lastMs: atMs, lastValue: value })
    },
    list: () =>
      [...seen.values()].map((s) => ({ ...s, perMin: s.lastMs > s.firstMs ? ((s.count - 1) * 60_000) / (s.lastMs - s.firstMs) : null })).sort((a, b) => b.count - a.count),
    forgotten: () => forgotten,
  }
}
