/** Which alarms of a site speak for which: found once at load. Why, is said in living.ts. */
import { PRIORITIES, type AlarmDef } from './alarm.ts'
import type { Run } from './engine-state.ts'

/** The alarms of one site that speak for one another, the highest level first. */
export function pair(runs: readonly Run[]): void {
  // Most alarms share neither signal nor side with another: only those that may speak for one are compared.
  const speakers = new Map<string, Run[]>()
  for (const run of runs) {
    const about = aboutOf(run, true)
    if (about !== null) speakers.set(about, [...(speakers.get(about) ?? []), run])
  }
  for (const run of runs) {
    const { rule } = run.def
    for (const other of speakers.get(aboutOf(run, false) ?? '') ?? []) {
      if (rule.kind !== 'blind' && !isHigherLevel(other.def, run.def)) continue
      run.spokenForBy = [...run.spokenForBy, other]
      other.speaksFor = [...other.speaksFor, run]
    }
    if (rule.kind === 'limit' && run.spokenForBy.length > 1) {
      const sign = rule.side === 'high' ? -1 : 1
      run.spokenForBy = run.spokenForBy.toSorted((a, b) => sign * ((a.rule.limit ?? 0) - (b.rule.limit ?? 0)))
    }
  }
}

/** What an alarm may speak about, or may be spoken for in; null: nothing. */
function aboutOf({ def: { rule } }: Run, speaks: boolean): string | null {
  if (rule.kind === 'limit') return `${rule.side} ${rule.signal}`
  return rule.kind === (speaks ? 'silent' : 'blind') ? SILENCE : null
}

const SILENCE = 'silence'

/**
 * `a` is a level above `b` on the same side of the same signal and may speak for it: it calls for an answer at least as loudly.
 * What latches or protects people speaks for itself at every level.
 */
function isHigherLevel(a: AlarmDef, b: AlarmDef): boolean {
  if (a.rule.kind !== 'limit' || b.rule.kind !== 'limit' || a.rule.signal !== b.rule.signal || a.rule.side !== b.rule.side) return false
  if (a.priority === 'alert' || a.class === 'safety' || b.class === 'safety' || b.latching) return false
  if (PRIORITIES.indexOf(a.priority) > PRIORITIES.indexOf(b.priority)) return false
  return a.rule.side === 'high' ? a.rule.limit > b.rule.limit : a.rule.limit < b.rule.limit
}
