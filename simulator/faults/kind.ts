/** What a kind of fault is, and the small tools its `apply` is written with. */
import type { Plant } from '../process/state.ts'
import type { Probe, Troubles } from '../process/troubles.ts'
import type { Fault } from './fault.ts'

export interface Kind {
  /** Name in the scenario library: F1 to F12 faults, B1 to B8 look-alikes; null: beside it. */
  readonly scenario: string | null
  /** Which variant of the scenario; null: the plain one. */
  readonly variant: string | null
  /** What went wrong as a review would have to name it; null: nothing did. */
  readonly cause: Cause | null
  /** One sentence: what happens in the yard. */
  readonly what: string
  apply(t: Troubles, strength: number, f: Fault, p: Plant): void
}

/** Causes a review can name. */
export const CAUSES = [
  'air lost',
  'air transfer',
  'overload',
  'toxic shock',
  'acid',
  'alkalinity used up',
  'nutrients stopped',
  'starvation',
  'washout',
  'cold',
  'heat',
  'ozone in biology',
  'oxygen probe',
  'pH probe',
  'power',
  'rain',
  'no transfer',
  'make-up valve',
  'leak',
  'overflow',
  'paper',
  'phase',
  'controller',
  'link',
  'clock',
  'instrument',
] as const
export type Cause = (typeof CAUSES)[number]

export const machineOf = (p: Plant, f: Fault, kind: string): string => f.at ?? p.spec.site.equipment.find((e) => e.kind === kind)?.id ?? kind
export const firstTank = (p: Plant, f: Fault): string => f.at ?? p.water.bio[0]?.id ?? 'tu'
/** The signal a probe fault strikes: named in full, or that of the named (or first aerated) tank. */
export const signalOf = (p: Plant, f: Fault, last: string): string => (f.at?.includes('.') ? f.at : `${firstTank(p, f)}.${last}`)

const HOUR = 3_600_000

/** Pours `amount` of a species evenly over the length of the fault, over one hour when it has no end. */
export function pour(t: Troubles, f: Fault, p: Plant, stage: string, species: number, amount: number): void {
  const endMs = f.endMs ?? f.onsetMs + HOUR
  if (p.nowMs < endMs) t.poured.push({ stage, species, gPerH: amount / ((endMs - f.onsetMs) / HOUR) })
}

/** Adds to what is already wrong with a probe: two faults of one probe do not hide each other. */
export function spoil(t: Troubles, signal: string, by: Probe): void {
  const has = t.probes.get(signal) ?? {}
  t.probes.set(signal, {
    ...has,
    ...by,
    ...((has.offset !== undefined || by.offset !== undefined) && { offset: (has.offset ?? 0) + (by.offset ?? 0) }),
    ...((has.gain !== undefined || by.gain !== undefined) && { gain: (has.gain ?? 1) * (by.gain ?? 1) }),
  })
}

/** Once per fault: true in the step in which it begins. */
export const begins = (f: Fault, p: Plant): boolean => p.nowMs - f.onsetMs < 10_000
