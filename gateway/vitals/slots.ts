/**
 * The newest reading of each signal that some vital needs, in event order. A reading older than the newest of its signal changes nothing:
 * what has been told stays told, counters lose nothing by it (they carry their sum with them), and a gap stays a gap. It is counted.
 */
import { keyOf, type Reading } from '../site/reading.ts'
import type { Signal, Site } from '../site/site.ts'
import { gradeOf, NOTHING, type Grade } from './grade.ts'
import type { Input } from './vital.ts'

export interface Slot {
  readonly signal: Signal
  /** A reading holds so long. */
  readonly holdMs: number
  atMs: number
  /** null: no figure, or a bad one, which is no figure either. */
  value: number | null
  grade: Grade
  readonly listeners: ((slot: Slot, was: { readonly atMs: number; readonly value: number | null }) => void)[]
}

export interface Slots {
  of(signal: string): Slot | null
  take(r: Reading): 'taken' | 'late' | 'foreign'
  all(): readonly Slot[]
}

/** Three reports and 10 s, as for a page; and past the full minute at which what depends on it is computed, also where rows are thin. */
const holdOf = (s: Signal): number => Math.max(3 * s.reportEveryMs, 60_000) + 10_000

export function createSlots(site: Site): Slots {
  const byKey = new Map<string, Slot>()
  const byId = new Map<string, Slot>()
  for (const signal of site.signals) {
    const slot: Slot = { signal, holdMs: holdOf(signal), atMs: Number.NEGATIVE_INFINITY, value: null, grade: NOTHING, listeners: [] }
    byKey.set(keyOf(site.id, signal.id), slot)
    byId.set(signal.id, slot)
  }
  return {
    of: (id) => byId.get(id) ?? null,
    take(r) {
      const slot = byKey.get(r.key)
      if (!slot) return 'foreign'
      if (r.sourceMs <= slot.atMs) return 'late'
      const { atMs, value } = slot
      slot.atMs = r.sourceMs
      slot.value = r.quality === 'bad' ? null : r.value
      slot.grade = gradeOf(r)
      if (slot.listeners.length > 0) for (const listen of slot.listeners) listen(slot, { atMs, value })
      return 'taken'
    },
    all: () => [...byId.values()],
  }
}

/** Value of a slot at a moment, or the sentence that says why there is none. leastHoldMs: what is slow may be older. */
export function valueAt(slot: Slot, atMs: number, leastHoldMs = 0): number | string {
  const { signal } = slot
  if (slot.atMs === Number.NEGATIVE_INFINITY) return `nothing was heard of ${signal.id} yet`
  if (slot.value === null) return `${signal.id} is bad (${slot.grade.sub.replaceAll('_', ' ')})`
  if (atMs - slot.atMs > Math.max(slot.holdMs, leastHoldMs)) return `${signal.id} is stale: ${Math.round((atMs - slot.atMs) / 60_000)} min old`
  return slot.value
}

export const inputOf = (slot: Slot): Input => ({
  from: slot.signal.id,
  what: slot.signal.name,
  value: slot.value,
  unit: slot.signal.unit,
  atMs: slot.atMs === Number.NEGATIVE_INFINITY ? null : slot.atMs,
  grade: slot.atMs === Number.NEGATIVE_INFINITY ? null : slot.grade,
})
