/**
 * What rules have learned, as plain data that outlives a restart: without it a median of a week would be blind for a week. Kept per alarm and,
 * within it, by what was learned of what, so that a rule whose limit was changed keeps its median and one whose span was changed begins anew.
 */
import { z } from 'zod'
import type { Kept } from './rules/ready.ts'
import type { Run } from './engine-state.ts'

/** More lists, or longer ones, were written by nobody here: the largest rule keeps a median of 168 slots, or six lists of 50. */
const listsSchema = z.array(z.array(z.number()).max(400)).max(12)
export const learnedSchema = z.object({ form: z.literal(1), alarms: z.record(z.string(), z.record(z.string(), listsSchema)) })

/** Beside the shapes: event time up to which readings have been learned. */
const UNTIL = 'until'

/** `alarms`: alarm id, then shape, then lists. */
export interface LearnedOfSite {
  readonly form: 1
  readonly alarms: Readonly<Record<string, Readonly<Record<string, Kept>>>>
}

export interface LearnedFiles {
  read(site: string): LearnedOfSite | null
  /** False: the disk did not take it; what was written before stays. */
  write(site: string, learned: LearnedOfSite): boolean
}

export function keepLearned(runs: Iterable<Run>): LearnedOfSite {
  const alarms: Record<string, Record<string, Kept>> = {}
  for (const { def, rule, atMs } of runs) {
    if (!rule.learned || rule.learned.length === 0) continue
    alarms[def.id] = { ...Object.fromEntries(rule.learned.map((l) => [l.shape, l.keep()])), [UNTIL]: [[atMs]] }
  }
  return { form: 1, alarms }
}

/** Kept data of alarms that are no longer there, or of another shape, is passed by. */
export function resumeLearned(runs: Iterable<Run>, kept: LearnedOfSite): void {
  for (const run of runs) {
    const mine = kept.alarms[run.def.id]
    if (!mine) continue
    run.learnedToMs = mine[UNTIL]?.[0]?.[0] ?? Number.NEGATIVE_INFINITY
    for (const l of run.rule.learned ?? []) {
      const lists = mine[l.shape]
      if (lists) l.resume(lists)
    }
  }
}

/** The instrument or machine `about` (`<site>/<signal>`, or what stands before the dot of several) was calibrated or replaced: what was learned of it no longer holds. */
export function forgetLearned(runs: Iterable<Run>, about: string): void {
  for (const { rule } of runs) if (rule.reads.some((m) => m.key === about || m.key.startsWith(`${about}.`))) for (const l of rule.learned ?? []) l.forget()
}
