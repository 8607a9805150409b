/** Signals that a known site sends but its site file does not hold: what they are, how often they come, their last figure. */
import type { UnassignedSignal } from '../port.ts'
import type { ForeignPlace } from '../site/foreign.ts'
import { guessOf } from '../site/guess.ts'
import { shown } from './reject-codes.ts'

/** What is remembered of one. */
interface Seen extends Omit<UnassignedSignal, 'perMin' | 'guess'> {
  readonly min: number | null
  readonly max: number | null
  readonly whole: boolean
  readonly fell: boolean
}

export interface Unassigned {
  /** `from`: it stood there in a message outside our form, and `signal` is a proposal. */
  note(site: string, signal: string, value: number | null, atMs: number, from?: ForeignPlace): void
  /** Most often first. */
  list(): readonly UnassignedSignal[]
  size(): number
  /** Signals that had to make room. */
  forgotten(): number
  readonly bound: number
}

/** Holds at most `bound` signals; the one unseen for longest makes room. */
export function createUnassigned(bound = 500): Unassigned {
  const seen = new Map<string, Seen>()
  let forgotten = 0
  return {
    bound,
    note(site, signal, value, atMs, from) {
      const name = shown(signal)
      const key = from ? `${site} ${from.topic} ${from.path} ${from.when ? JSON.stringify(from.when) : ''}` : `${site}/${name}`
      const was = seen.get(key)
      if (was) seen.delete(key)
      else if (seen.size >= bound) {
        for (const oldest of seen.keys()) {
          seen.delete(oldest)
          break
        }
        forgotten++
      }
      const last = value ?? was?.lastValue ?? null
      seen.set(key, {
        site,
        signal: name,
        from: from ?? null,
        count: (was?.count ?? 0) + 1,
        firstMs: was?.firstMs ?? atMs,
        lastMs: atMs,
        lastValue: value,
        min: last === null ? null : Math.min(was?.min ?? last, last),
        max: last === null ? null : Math.max(was?.max ?? last, last),
        whole: (was?.whole ?? true) && (value === null || Number.isInteger(value)),
        fell: (was?.fell ?? false) || (value !== null && was?.lastValue !== undefined && was.lastValue !== null && value < was.lastValue),
      })
    },
    list: () =>
      [...seen.values()]
        .map(({ min, max, whole, fell, ...s }) => ({
          ...s,
          perMin: s.lastMs > s.firstMs ? ((s.count - 1) * 60_000) / (s.lastMs - s.firstMs) : null,
          guess: guessOf(s.signal, { min, max, whole, rising: !fell && min !== max, count: s.count }),
        }))
        .sort((a, b) => b.count - a.count),
    size: () => seen.size,
    forgotten: () => forgotten,
  }
}
