/** What is going to happen to a fleet: faults by time from the start, in minutes. Negative: it began, or was over, before. */
import type { Fault, FaultKind } from '../faults/fault.ts'

export interface Planned {
  readonly site: string
  readonly kind: FaultKind
  readonly fromMin: number
  /** Null: stays. */
  readonly toMin: number | null
  readonly size?: number
  readonly rampMin?: number
  readonly at?: string
}

/** Planned faults on the clock of a run; `startMs` is the moment of going live. */
export const onClock = (plan: readonly Planned[], startMs: number): readonly Fault[] =>
  plan.map((x, i) => ({
    id: `${x.site}-${x.kind}-${i + 1}`,
    kind: x.kind,
    site: x.site,
    onsetMs: startMs + x.fromMin * 60_000,
    endMs: x.toMin === null ? null : startMs + x.toMin * 60_000,
    ...(x.size !== undefined && { size: x.size }),
    ...(x.rampMin !== undefined && { rampMs: x.rampMin * 60_000 }),
    ...(x.at !== undefined && { at: x.at }),
  }))
