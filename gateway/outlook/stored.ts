/** What the outlook of a loop stands on: its stored hours and days, handed in. The shell reads (outlook-keeper.ts); everything here decides. */
import type { AlarmView } from '../alarms/alarm.ts'
import type { Bucket } from '../history/history.ts'
import type { LogEntry } from '../log/entry.ts'
import type { Site } from '../site/site.ts'
import type { Point } from '../trends/points.ts'
import type { Day } from './days.ts'

export interface StoredLoop {
  readonly site: Site
  readonly nowMs: number
  /** Whole local days, oldest first. */
  readonly days: readonly Day[]
  /** Hours of counters and levels over those days and today, by signal id. */
  readonly hours: ReadonlyMap<string, readonly Bucket[]>
  /** Hours a run contact was on, one figure for each of `days` and one for today so far; null: too little of the day is known. */
  readonly runHours: ReadonlyMap<string, readonly (number | null)[]>
  /** pH of each dose just before it, by signal id of pH. */
  readonly beforeDoses: ReadonlyMap<string, readonly Point[]>
  /** Single readings of the last hours, by signal id of a level. */
  readonly recent: ReadonlyMap<string, readonly Point[]>
  /** Newest first, corrections among them. */
  readonly log: readonly LogEntry[]
  readonly alarms: readonly AlarmView[]
}

/** Entries of a kind that no later one corrects, oldest first. */
export function standing(log: readonly LogEntry[], kind: LogEntry['kind']): readonly LogEntry[] {
  const corrected = new Set(log.flatMap((e) => e.corrects ?? []))
  return log.filter((e) => e.kind === kind && !corrected.has(e.id)).toSorted((a, b) => a.atMs - b.atMs)
}
