/**
 * What every kind of rule is made into at load: what it reads, how it takes a reading in, and how it judges. A rule never sees a
 * clock; it is asked again whenever one of its signals changes.
 *
 * unknown: nothing usable to judge by, or not enough learned; the alarm keeps its state (ALM-T31).
 *
 * Readings are taken in one by one in the order they came, so that the same readings leave the same memory however they were
 * grouped into messages; judging changes nothing and may be repeated.
 */
import type { Delays } from '../delay.ts'
import type { Judgement } from '../limit.ts'
import type { SignalMemory } from '../signal-memory.ts'

export type Verdict = Judgement | 'unknown'
export type Find = (signal: string) => SignalMemory | null
export type OpenAt = (atMs: number) => boolean

/** What is normal may be learned now: `calm`, because of the state of the loop; `teaches`, because no alarm stands at this stage either. */
export interface Normality {
  readonly calm: () => boolean
  readonly teaches: () => boolean
}

/** Where a condition is made ready: its site's signals, and whether its rule's gate is open, so that nothing is learned while it is shut. */
export interface Place extends Normality {
  readonly find: Find
  readonly isOpen: OpenAt
  readonly learns: OpenAt
}

/** Lists of numbers, as plain as a file can hold. */
export type Kept = readonly (readonly number[])[]

/** What a rule has learned. */
export interface Learned {
  /** What it was learned of and how: kept lists of another shape are of no use. */
  readonly shape: string
  keep(): Kept
  /** Lists that do not fit are passed by and it learns anew. */
  resume(kept: Kept): void
  /** The instrument was replaced or calibrated: what it learned no longer holds. */
  forget(): void
}

export interface ReadyCondition {
  /** Signals that make it worth asking again. */
  readonly reads: readonly SignalMemory[]
  readonly unit: string
  readonly limit: number | null
  /** A usable live reading of one of `reads` has just been learned; absent: nothing is remembered. */
  readonly take?: ((m: SignalMemory, atMs: number) => void) | undefined
  judge(atMs: number): Verdict
  /** The signal the verdict rests on now; its age says how long the verdict may stand. */
  restsOn(): SignalMemory | null
  /** The figure shown beside the limit. */
  value(): number | null
  readonly learned?: readonly Learned[] | undefined
}

export interface ReadyRule extends ReadyCondition {
  delays(): Delays
}

/** Distinct, without nulls. */
export const reading = (...signals: readonly (SignalMemory | null)[]): readonly SignalMemory[] => [...new Set(signals.filter((m) => m !== null))]

/** Of several signals, the one whose word ends first. */
export function firstToExpire(signals: readonly SignalMemory[]): SignalMemory | null {
  let first: SignalMemory | null = null
  for (const m of signals) if (first === null || m.sourceMs + m.staleAfterMs < first.sourceMs + first.staleAfterMs) first = m
  return first
}
