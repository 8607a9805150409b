/**
 * How long an alarm may be shelved at most, ms; null: not at all. What protects people is never shelved; a medium one may wait for the part that
 * comes on Monday (72 h); a low one for a week. Common practice, no source.
 */
import type { AlarmDef } from './alarm.ts'

const HOUR = 3_600_000

export function shelveMostMs(def: Pick<AlarmDef, 'class' | 'priority'>): number | null {
  if (def.class === 'safety') return null
  return def.priority === 'high' ? HOUR : def.priority === 'medium' ? 72 * HOUR : 168 * HOUR
}
