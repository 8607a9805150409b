/**
 * Nobody goes in: while a gas alarm of a loop stands or is latched, the place is blocked until somebody has ventilated and measured there.
 * A sensor that has fallen silent or fallen back is no proof of a safe place.
 */
import type { LogEntry } from '../log/entry.ts'
import type { AlarmView } from './alarm.ts'

export interface EntryBlock {
  readonly alarm: string
  readonly what: string
  readonly sinceMs: number
}

/** The oldest block of a loop; null: none. `views`: alarms of this loop that are not normal. */
export function entryBlockOf(views: readonly AlarmView[]): EntryBlock | null {
  const gas = views.filter((v) => v.def.class === 'safety' && v.def.latching && v.occurrence !== null && v.raisedMs !== null)
  const [first] = gas.toSorted((a, b) => (a.raisedMs ?? 0) - (b.raisedMs ?? 0))
  return first ? { alarm: first.def.id, what: first.def.what, sinceMs: first.raisedMs ?? 0 } : null
}

/** What keeps a gas alarm from being let go, as a sentence; null: nothing. `entries`: of the loop, since the raise. */
export function notMeasured(view: AlarmView, entries: readonly Pick<LogEntry, 'kind' | 'value' | 'atMs'>[]): string | null {
  if (view.def.class !== 'safety' || !view.def.latching) return null
  const limit = view.limit ?? Number.POSITIVE_INFINITY
  const since = Math.max(view.raisedMs ?? 0, view.clearedMs ?? 0)
  const measured = entries.filter((e) => e.kind === 'gas-measured' && e.value !== undefined && e.atMs >= since).toSorted((a, b) => b.atMs - a.atMs)[0]
  if (!measured)
    return 'Not reset: nobody has written down a measurement since. Ventilate from outside, measure with a second meter, write "Gas measured" with its value into the site log, then reset.'
  if ((measured.value ?? 0) >= limit)
    return `Not reset: ${measured.value} ${view.unit} was measured, and the limit is ${limit}. Ventilate longer, measure again and write that down.`
  return null
}
