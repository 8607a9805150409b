/**
 * pH of a dosed tank for trends: the value before each dose. The mean of the sawtooth follows the rhythm of the dosing, not the buffer.
 * Where nothing is dosed, or its contact is not seen, hours without washing stand for it.
 * source  common practice, no source
 */
import type { Bucket, HistoryReading } from '../history/history.ts'
import type { Point } from '../trends/points.ts'

const usable = (r: HistoryReading): boolean => r.value !== null && r.quality !== 'bad'

/** readings ascending. oldestMs: how long before the dose pH may have been read */
export function beforeDoses(ph: readonly HistoryReading[], run: readonly HistoryReading[], oldestMs: number): readonly Point[] {
  const out: Point[] = []
  let i = 0
  let newest: HistoryReading | null = null
  let on: boolean | null = null
  for (const r of run) {
    const now: boolean | null = usable(r) ? (r.value as number) >= 0.5 : null
    const begins = now === true && on === false
    on = now
    while (i < ph.length && (ph[i] as HistoryReading).sourceMs <= r.sourceMs) {
      // A reading at the very moment the contact closes was still taken before the dose mixed in.
      if (usable(ph[i] as HistoryReading)) newest = ph[i] as HistoryReading
      i += 1
    }
    if (begins && newest && r.sourceMs - newest.sourceMs <= oldestMs) out.push({ atMs: newest.sourceMs, value: newest.value })
  }
  return out
}

/** Means of hours in which, and in the two before, nothing was washed. washedL: one figure an hour, null where not known */
export function idleHours(ph: readonly Bucket[], washedL: readonly (number | null)[]): readonly Point[] {
  return ph.flatMap((h, i) => {
    const idle = [i, i - 1, i - 2].every((k) => washedL[k] !== undefined && washedL[k] !== null && (washedL[k] as number) < 20)
    return h.mean === null || !idle ? [] : [{ atMs: h.fromMs, value: h.mean }]
  })
}
