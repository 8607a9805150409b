/**
 * How long a person may let an alarm rest. Low: a day, until the same people are back. Medium: until the next working day begins,
 * so that nobody is woken on a Saturday for a part that comes on Monday. High: an hour, the length of a job on the spot. Alarms
 * that protect people cannot be shelved. Common practice, no source.
 */
import { wallMinute } from '../site/site.ts'
import type { AlarmDef } from './alarm.ts'

/** `latestMs` null: it cannot be shelved. `words`: the rule as a sentence, which a refusal says. */
export interface ShelfBound {
  readonly latestMs: number | null
  readonly words: string
}

const HOUR_MS = 3_600_000
const DAY_MS = 24 * HOUR_MS
/** A working day of the people who look after the loops begins at this hour, Monday to Friday. */
const WORK_BEGINS_MIN = 8 * 60
const MEDIUM_MOST_MS = 72 * HOUR_MS

/** The longest it may ever rest, ms; null: not at all. What bounds a shelf now is `shelfBound`. */
export function shelfMostMs(def: Pick<AlarmDef, 'priority' | 'class'>): number | null {
  if (def.class === 'safety') return null
  return def.priority === 'high' ? HOUR_MS : def.priority === 'medium' ? MEDIUM_MOST_MS : DAY_MS
}

export function shelfBound(def: Pick<AlarmDef, 'priority' | 'class'>, zone: string, nowMs: number): ShelfBound {
  if (def.class === 'safety')
    return { latestMs: null, words: 'It protects people and cannot be shelved. If its instrument is in repair, take it out of service and say what is done meanwhile.' }
  switch (def.priority) {
    case 'high':
      return { latestMs: nowMs + HOUR_MS, words: 'A high alarm rests for an hour at most. For longer, take it out of service and say what is done meanwhile.' }
    case 'medium':
      return { latestMs: Math.min(nextWorkingDay(zone, nowMs), nowMs + MEDIUM_MOST_MS), words: 'A medium alarm rests until 08:00 of the next working day, and 72 h at most.' }
    case 'low':
    case 'alert':
      return { latestMs: nowMs + DAY_MS, words: 'It rests for 24 h at most.' }
  }
}

/** 08:00 on the wall of the next day from Monday to Friday after today. */
function nextWorkingDay(zone: string, nowMs: number): number {
  const { day, minute } = wallMinute(zone, nowMs)
  const days = day === 5 ? 3 : day === 6 ? 2 : 1
  const guess = Math.floor(nowMs / 60_000) * 60_000 + (days * 1440 + WORK_BEGINS_MIN - minute) * 60_000
  // The clock may have been changed in between.
  return guess - (wallMinute(zone, guess).minute - WORK_BEGINS_MIN) * 60_000
}
