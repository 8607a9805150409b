/** Which alarms of a site speak for which: found once at load. Why, is said in living.ts. */
import { PRIORITIES, type AlarmDef } from './alarm.ts'
import type { Run } from './engine-state.ts'

/** The alarms of one site that speak for one another, the highest level first. */
export function pair(runs: readonly Run[]): void {
  for (const run of runs) {
    const { rule } = run.def
    for (const other of runs) {
      const speaks = other.def.rule.kind === 'silent' ? rule.kind === 'blind' : isHigherLevel(other.def, run.def)
      if (!speaks) continue
      run.spokenForBy.push(other)
      other.speaksFor.push(run)
    }
    if (rule.kind === 'limit') {
      const sign = rule.side === 'high' ? -1 : 1
      run.spokenForBy.sort((a, b) => sign * ((a.rule.limit ?? 0) - (b.rule.limit ?? 0)))
    }
  }
}

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
