/**
 * What was refused, kept as facts about it: code, topic, size, count, times, a sentence. Never any payload text, because a
 * refused message may hold anything, a password typed into the wrong box included.
 *
 * Bounded in both directions: at most `perCode` entries for each code, so that a flood of one fault cannot push the rare
 * one out, and the entry unseen for longest makes room.
 */
import type { QuarantineEntry as ShownEntry } from '../port.ts'
import { REJECT_CODES, type RejectCode } from './reject-codes.ts'

export interface QuarantineEntry extends ShownEntry {
  readonly code: RejectCode
}

export interface Quarantine {
  note(code: RejectCode, pattern: string, example: { readonly topic: string; readonly detail: string; readonly bytes: number; readonly atMs: number }): void
  /** Entries, newest first. */
  entries(): readonly QuarantineEntry[]
  /** How often each code was given, since start; codes never given are absent. */
  totals(): Readonly<Record<string, number>>
  /** Entries that had to make room. */
  forgotten(): number
  readonly bound: number
}

export function createQuarantine(perCode = 20): Quarantine {
  const rings = new Map<RejectCode, Map<string, QuarantineEntry>>()
  const totals: Record<string, number> = {}
  let forgotten = 0
  return {
    bound: perCode * Object.keys(REJECT_CODES).length,
    note(code, pattern, { topic, detail, bytes, atMs }) {
      totals[code] = (totals[code] ?? 0) + 1
      let ring = rings.get(code)
      if (!ring) rings.set(code, (ring = new Map()))
      const was = ring.get(pattern)
      // A map keeps the order of insertion: taking out and putting back makes the first one the one unseen for longest.
      if (was) ring.delete(pattern)
      else if (ring.size >= perCode) {
        for (const oldest of ring.keys()) {
          ring.delete(oldest)
          break
        }
        forgotten++
      }
      ring.set(pattern, { code, pattern, topic, detail, bytes, count: (was?.count ?? 0) + 1, firstMs: was?.firstMs ?? atMs, lastMs: atMs })
    },
    entries: () => [...rings.values()].flatMap((ring) => [...ring.values()]).sort((a, b) => b.lastMs - a.lastMs),
    totals: () => ({ ...totals }),
    forgotten: () => forgotten,
  }
}
