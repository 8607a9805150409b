/**
 * Moments a person names by the clock on the wall of a yard: "15:00", "2026-12-24 08:00", "2026-12-24" (to the end of that day). In the hour
 * an autumn clock shows twice the first one is meant, in the hour a spring clock leaves out the moment it was put forward by: what
 * ends by itself should rather end early than late.
 */
import { civilMs, readTime } from '../intake/payload-time.ts'
import { placeWall } from '../intake/payload-wall.ts'

const DAY_MS = 86_400_000
const formats = new Map<string, Intl.DateTimeFormat>()

/** The wall clock of `zone` at `atMs`, read as if it were UTC. */
function wallOf(zone: string, atMs: number): number {
  let f = formats.get(zone)
  if (!f) {
    const two = '2-digit'
    f = new Intl.DateTimeFormat('en-GB', { timeZone: zone, year: 'numeric', month: two, day: two, hour: two, minute: two, second: two, hourCycle: 'h23' })
    formats.set(zone, f)
  }
  const part: Record<string, number> = {}
  for (const p of f.formatToParts(atMs)) part[p.type] = Number(p.value)
  return civilMs(part.year ?? 1970, part.month ?? 1, part.day ?? 1, part.hour ?? 0, part.minute ?? 0, part.second ?? 0)
}

const placed = (wallMs: number, zone: string, nowMs: number): number => placeWall([wallMs], zone, nowMs, nowMs).atMs[0] ?? wallMs

/**
 * The moment `text` names at a yard of `zone`: ms since 1970 UTC, or a sentence saying what is wrong with it. A time of day is the next one
 * after `nowMs`.
 */
export function wallTimeMs(text: string, zone: string, nowMs: number): number | string {
  const clock = /^([01]\d|2[0-3]):([0-5]\d)$/.exec(text)
  if (clock) {
    const minutes = Number(clock[1]) * 60 + Number(clock[2])
    const day = Math.floor(wallOf(zone, nowMs) / DAY_MS) * DAY_MS
    const today = placed(day + minutes * 60_000, zone, nowMs)
    return today > nowMs ? today : placed(day + DAY_MS + minutes * 60_000, zone, nowMs)
  }
  const dated = /^(\d{4}-\d{2}-\d{2})(?:[ T]([01]\d|2[0-3]):([0-5]\d))?$/.exec(text)
  if (!dated) return 'a time at the yard such as "15:00", "2026-12-24 08:00", or "2026-12-24" for the end of that day'
  const midnight = readTime(`${dated[1]}T00:00:00`, 0)
  if (typeof midnight !== 'number') return `${dated[1]} is no day in the calendar`
  const minutes = dated[2] === undefined ? 1440 : Number(dated[2]) * 60 + Number(dated[3])
  return placed(midnight + minutes * 60_000, zone, nowMs)
}
