/**
 * A fault: a small record of what goes wrong on which loop, from when, how much, how fast. Applying the faults of a moment
 * writes the plant's troubles afresh; the truth goes to the label file (labels.ts).
 */
import type { Plant } from '../process/state.ts'
import { settle, type Troubles } from '../process/troubles.ts'
import { KINDS } from './kinds.ts'

export type FaultKind = keyof typeof KINDS

export interface Fault {
  /** Unique in a run: `kestrow-blower`. */
  readonly id: string
  readonly kind: FaultKind
  readonly site: string
  readonly onsetMs: number
  /** Put right then; null: it stays. */
  readonly endMs: number | null
  /** 1 is the size the scenario library gives it. */
  readonly size?: number
  /** Grows from nothing to its size in this time. */
  readonly rampMs?: number
  /** Stage or machine it strikes; each kind has its own default. */
  readonly at?: string
}

/** 0 before and after, growing to `size`. */
export function strength(f: Fault, atMs: number): number {
  if (atMs < f.onsetMs || (f.endMs !== null && atMs >= f.endMs)) return 0
  const size = f.size ?? 1
  return f.rampMs && f.rampMs > 0 ? size * Math.min(1, (atMs - f.onsetMs) / f.rampMs) : size
}

/** Writes the plant's troubles for its present moment. Faults of other sites are left out by the caller. */
export function applyFaults(faults: readonly Fault[], p: Plant): void {
  const t: Troubles = p.troubles
  if (!t.settled) settle(t)
  for (const f of faults) {
    const s = strength(f, p.nowMs)
    if (s === 0) continue
    t.settled = false
    KINDS[f.kind].apply(t, s, f, p)
  }
}
