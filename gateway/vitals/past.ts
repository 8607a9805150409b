/** A past to be gone through again: which of it nothing was computed for, and its readings in the order of their times. */
import type { HistoryReading } from '../history/history.ts'
import type { Reading } from '../site/reading.ts'

/** [fromMs, toMs) */
export interface Stretch {
  readonly fromMs: number
  readonly toMs: number
}

/** A figure that does not move is given every quarter of an hour, what stands on sums every full hour. */
export const SLOT_MS = 30 * 60_000
/** Shorter ones are left: what stands on sums alone fills every second slot. */
const LEAST_SLOTS = 2

/** Stretches of an hour or more for which nothing was computed. told: one answer a slot, the first of them from `fromMs`. */
export function holesOf(told: readonly boolean[], fromMs: number): readonly Stretch[] {
  const out: Stretch[] = []
  for (let i = 0; i < told.length; ) {
    let end = i
    while (end < told.length && !told[end]) end++
    if (end - i >= LEAST_SLOTS) out.push({ fromMs: fromMs + i * SLOT_MS, toMs: fromMs + end * SLOT_MS })
    i = Math.max(end, i + 1)
  }
  return out
}

/** stretches: ascending, none touching another. */
export function within(stretches: readonly Stretch[], atMs: number): boolean {
  let low = 0
  let high = stretches.length
  while (low < high) {
    const mid = (low + high) >> 1
    if ((stretches[mid]?.toMs ?? 0) > atMs) high = mid
    else low = mid + 1
  }
  const s = stretches[low]
  return s !== undefined && atMs >= s.fromMs
}

export interface StoredSeries {
  readonly key: string
  /** Ascending. */
  readonly readings: readonly HistoryReading[]
}

/** All readings by time; of one moment in the order of the series. */
export function* inOrder(series: readonly StoredSeries[]): Generator<Reading> {
  const next = series.map(() => 0)
  for (;;) {
    let atMs = Number.POSITIVE_INFINITY
    for (let k = 0; k < series.length; k++) atMs = Math.min(atMs, series[k]?.readings[next[k] ?? 0]?.sourceMs ?? Number.POSITIVE_INFINITY)
    if (atMs === Number.POSITIVE_INFINITY) return
    for (let k = 0; k < series.length; k++) {
      const s = series[k]
      const r = s?.readings[next[k] ?? 0]
      if (!s || r?.sourceMs !== atMs) continue
      next[k] = (next[k] ?? 0) + 1
      yield { key: s.key, ...r, clock: r.sub === 'clock_suspect' ? 'suspect' : 'ok', live: false }
    }
  }
}
