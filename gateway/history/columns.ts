/**
 * Readings of one signal as columns, ascending by source time, each time once. `values` holds NaN for a reading without a
 * figure; `codes` is quality, reason and flag (quality-code.ts). Only the first `n` of each column count.
 */
import type { HistoryReading } from './history.ts'
import { codeOf, qcOf, qualityOf, subOf } from './quality-code.ts'

export interface Columns {
  n: number
  times: Float64Array
  received: Float64Array
  values: Float64Array
  codes: Uint16Array
}

export const newColumns = (room: number): Columns => ({
  n: 0,
  times: new Float64Array(room),
  received: new Float64Array(room),
  values: new Float64Array(room),
  codes: new Uint16Array(room),
})

/** Makes room for `n` readings in all, keeping what is there. */
export function makeRoom(c: Columns, n: number): void {
  if (n <= c.times.length) return
  const room = Math.max(n, 2 * c.times.length)
  const grown = newColumns(room)
  grown.times.set(c.times.subarray(0, c.n))
  grown.received.set(c.received.subarray(0, c.n))
  grown.values.set(c.values.subarray(0, c.n))
  grown.codes.set(c.codes.subarray(0, c.n))
  c.times = grown.times
  c.received = grown.received
  c.values = grown.values
  c.codes = grown.codes
}

/** Appends readings [from, to) of `source` to `into`. */
export function appendColumns(into: Columns, source: Columns, from: number, to: number): void {
  const more = to - from
  if (more <= 0) return
  makeRoom(into, into.n + more)
  into.times.set(source.times.subarray(from, to), into.n)
  into.received.set(source.received.subarray(from, to), into.n)
  into.values.set(source.values.subarray(from, to), into.n)
  into.codes.set(source.codes.subarray(from, to), into.n)
  into.n += more
}

/** Index of the first reading at or after `atMs`. */
export function firstAtOrAfter(c: Columns, atMs: number): number {
  let low = 0
  let high = c.n
  while (low < high) {
    const mid = (low + high) >> 1
    if (c.times[mid]! < atMs) low = mid + 1
    else high = mid
  }
  return low
}

/** Merges two ascending runs without a common time into `into`, at most `limit` readings, the earliest. */
export function mergeColumns(a: Columns, b: Columns, into: Columns, limit: number = a.n + b.n): void {
  into.n = 0
  makeRoom(into, Math.min(limit, a.n + b.n))
  let i = 0
  let j = 0
  while (into.n < limit && (i < a.n || j < b.n)) {
    // Copy whole stretches: the two runs seldom interleave.
    if (j >= b.n || (i < a.n && a.times[i]! < b.times[j]!)) {
      const end = j < b.n ? firstAtOrAfter(a, b.times[j]!) : a.n
      const take = Math.min(end, i + limit - into.n)
      appendColumns(into, a, i, take)
      i = take
    } else {
      const end = i < a.n ? firstAtOrAfter(b, a.times[i]!) : b.n
      const take = Math.min(end, j + limit - into.n)
      appendColumns(into, b, j, take)
      j = take
    }
  }
}

export function readingAt(c: Columns, i: number): HistoryReading {
  const value = c.values[i]!
  const code = c.codes[i]!
  return { sourceMs: c.times[i]!, receivedMs: c.received[i]!, value: value === value ? value : null, quality: qualityOf(code), sub: subOf(code), qc: qcOf(code) }
}

/** Ascending readings as columns. */
export function columnsFrom(readings: readonly HistoryReading[]): Columns {
  const c = newColumns(0)
  makeRoom(c, readings.length)
  readings.forEach((r, i) => {
    c.times[i] = r.sourceMs
    c.received[i] = r.receivedMs
    c.values[i] = r.value ?? Number.NaN
    c.codes[i] = codeOf(r.quality, r.sub, r.qc)
  })
  c.n = readings.length
  return c
}
