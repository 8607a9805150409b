/** Wall-clock time of a zone to ms and back, also on the days with 23 and 25 hours. Pure. */
import { offsetMin } from './time-ticks.ts'

const MIN = 60_000

/** Moment at which the clock of `zone` shows `local` (ms as if it were UTC). Shown twice: the first one. Never shown: as many minutes after the jump. */
function shownAt(local: number, zone: string): number {
  const before = local - offsetMin(local - 86_400_000, zone) * MIN
  if (before + offsetMin(before, zone) * MIN === local) return before
  const after = local - offsetMin(local + 86_400_000, zone) * MIN
  // Neither: the clock jumped over it, and the offset from before the jump leads past it.
  return after + offsetMin(after, zone) * MIN === local ? after : before
}

/** `2026-11-17T03:16` on the clock of `zone`, in ms since 1970 UTC; null: no such date. */
export function atWall(text: string, zone: string): number | null {
  const m = /^(\d{4})-(\d\d)-(\d\d)T(\d\d):(\d\d)$/.exec(text)
  if (!m) return null
  const local = Date.parse(`${text}:00Z`)
  return Number.isNaN(local) || new Date(local).toISOString().slice(0, 16) !== text ? null : shownAt(local, zone)
}

/** As a field for date and time takes it. */
export const wallText = (ms: number, zone: string): string => new Date(ms + offsetMin(ms, zone) * MIN).toISOString().slice(0, 16)

/** The moment `days` earlier by the calendar of `zone`, at the same time of its clock: 23, 24 or 25 hours for a day. */
export function daysEarlier(ms: number, days: number, zone: string): number {
  const whole = Math.floor(ms / MIN) * MIN
  return shownAt(whole + offsetMin(whole, zone) * MIN - days * 86_400_000, zone) + (ms - whole)
}
