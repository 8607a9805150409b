/**
 * The way out. A key's answer is put together in one synchronous piece from sealed blocks and both heads, so sealing that
 * goes on between two keys never shows; between keys the event loop gets its turn.
 */
import { setImmediate as turn } from 'node:timers/promises'
import { BucketSums, spansOf } from './buckets.ts'
import { mergeColumns, newColumns, readingAt, type Columns } from './columns.ts'
import type { BucketSeries, HistoryReader, HistoryReading } from './history.ts'
import type { Newest } from './newest.ts'
import type { Sealed } from './sealed.ts'
import type { Signals } from './signals.ts'
import type { Tail } from './tail.ts'

/** Keys answered before the event loop gets a turn. */
const KEYS_A_TURN = 4_096
/** Milliseconds of work before it does. */
const WORK_A_TURN_MS = 12

export interface ReaderParts {
  readonly signals: Signals
  readonly tail: Tail
  readonly sealed: Sealed
  readonly newest: Newest
  readonly steadyMs: () => number
  /** Throws when the store is closed. */
  readonly assertOpen: () => void
}

export function createReader(parts: ReaderParts): HistoryReader {
  const { signals, tail, sealed, newest, steadyMs, assertOpen } = parts
  const a = newColumns(1_024)
  const b = newColumns(1_024)
  const c = newColumns(1_024)

  /** Puts the unsealed readings of the span into one run, and gives it. */
  function unsealed(signal: number, fromMs: number, toMs: number, limit: number): Columns {
    tail.live.copy(signal, fromMs, toMs, a, limit)
    if (!tail.frozen?.has(signal)) return a
    tail.frozen.copy(signal, fromMs, toMs, b, limit)
    if (b.n === 0) return a
    mergeColumns(a, b, c, limit)
    return c
  }

  function rangeOf(signal: number, fromMs: number, toMs: number, limit: number): HistoryReading[] {
    let all = unsealed(signal, fromMs, toMs, limit)
    const stored = newColumns(0)
    sealed.copy(signal, fromMs, toMs, stored, limit)
    if (all.n === 0) all = stored
    else if (stored.n > 0) {
      const merged = newColumns(0)
      mergeColumns(stored, all, merged, limit)
      all = merged
    }
    return Array.from({ length: all.n }, (_, i) => readingAt(all, i))
  }

  return {
    async latest(keys) {
      const out = new Map<string, HistoryReading>()
      let count = 0
      let before = 0
      let turnAtMs = steadyMs() + WORK_A_TURN_MS
      for (const key of keys) {
        if (++count % KEYS_A_TURN === 0 && steadyMs() >= turnAtMs) {
          await turn()
          turnAtMs = steadyMs() + WORK_A_TURN_MS
        }
        assertOpen()
        const signal = signals.idAfter(before, key)
        if (signal === undefined) continue
        before = signal
        const reading = newest.reading(signal)
        if (reading) out.set(key, reading)
      }
      return out
    },

    async range(key, fromMs, toMs, limit) {
      assertOpen()
      const signal = signals.id(key)
      return signal === undefined || !(limit >= 1) || !(toMs > fromMs) ? [] : rangeOf(signal, fromMs, toMs, Math.floor(limit))
    },

    async buckets(keys, fromMs, toMs, points) {
      const spans = spansOf(fromMs, toMs, points)
      const out: BucketSeries[] = []
      let turnAtMs = steadyMs() + WORK_A_TURN_MS
      for (const key of keys) {
        if (steadyMs() >= turnAtMs) {
          await turn()
          turnAtMs = steadyMs() + WORK_A_TURN_MS
        }
        assertOpen()
        const sums = new BucketSums(spans)
        const signal = signals.id(key)
        if (signal !== undefined && spans.count > 0) {
          const recent = unsealed(signal, fromMs, toMs, Number.POSITIVE_INFINITY)
          sums.addReadings(recent)
          sealed.addTo(sums, signal, recent.n > 0 ? recent.times[0]! : Number.MAX_SAFE_INTEGER)
        }
        out.push({ key, bucketMs: spans.bucketMs, buckets: sums.buckets() })
      }
      return out
    },

    async extent(key) {
      assertOpen()
      const signal = signals.id(key)
      if (signal === undefined) return null
      const stored = sealed.extent(signal)
      const firstMs = Math.min(stored?.firstMs ?? Number.POSITIVE_INFINITY, tail.firstMs(signal))
      return Number.isFinite(firstMs) ? { firstMs, lastMs: Math.max(stored?.lastMs ?? -1, tail.lastMs(signal)) } : null
    },
  }
}
