/**
 * Baseline band: what is normal for this loop under these conditions. An hour-of-week band is poor where washing is irregular: a
 * busy Tuesday is no idle Tuesday. So an hour is compared with hours that resemble it: as much water washed in the last two
 * hours, as long since the last wash, water as warm, and (only where asked for) the same time of day.
 *
 *     value |        . . |  . .   high ---------
 *           |   . .  . . | . . .  middle
 *           |  . . .   . |  .  .  low  ---------
 *           +---------------------
 *             washing      idle
 *
 * The state of the loop is a condition too: only hours in service are learned from (learning.ts), and the band speaks only in service.
 * A condition that is not measured now, or was not then, is not compared, and the band says so. Until there are four weeks and
 * twenty comparable hours on five different days there is no band.
 * Middle: median. Low and high: so many robust deviations from it, of the hours below and those above apart, never under the
 * resolution (flat and stepped signals).
 * source  weeks and hours: common practice, no source
 * cost    O(hours held, and their sorting) time per band, about 60 bytes an hour held
 */
import { type NotObservable, notObservable, positive, within } from '../process/range.ts'
import { MAD_TO_SD, median } from './order.ts'
import { DAY_MS } from './points.ts'

/** null: not measured. */
export interface Conditions {
  /** Washed in the two hours before the end of the hour, m3. */
  readonly washedM3: number | null
  /** Since the last wash, h. */
  readonly sinceWashH: number | null
  /** Of the water, degrees C. */
  readonly waterCel: number | null
  /** Local, 0-23. */
  readonly hourOfDay: number | null
}

/** One hour that may be learned from (learning.ts), its median as value. */
export interface BaselineHour extends Conditions {
  readonly atMs: number
  readonly value: number
}

export interface BaselinePlan {
  /** Smallest step of the signal, its unit. */
  readonly resolution: number
  /** Half width in robust deviations, 1-10. */
  readonly width: number
  readonly leastDays: number
  readonly leastHours: number
  /** The nearest so many are taken, the newer of equals: more would only add what is less alike. */
  readonly mostHours: number
  /** Different days the comparable hours come from. */
  readonly leastDifferentDays: number
  /** No older than this. */
  readonly memoryDays: number
  /** Largest difference of water temperature, K. */
  readonly alikeK: number
  /** Largest ratio of washed water when both washed; times since wash are compared the same way. */
  readonly alikeRatio: number
  /** Largest distance in the day, h; null: time of day is not compared. */
  readonly alikeHours: number | null
}

export const BASELINE: Omit<BaselinePlan, 'resolution'> = {
  width: 3,
  leastDays: 28,
  leastHours: 20,
  mostHours: 60,
  leastDifferentDays: 5,
  memoryDays: 90,
  alikeK: 3,
  alikeRatio: 1.5,
  alikeHours: null,
}

export interface Band {
  readonly low: number
  readonly middle: number
  readonly high: number
  /** Comparable hours, and the days they come from. */
  readonly hours: number
  readonly days: number
  /** Conditions that could not be compared. */
  readonly notCompared: readonly (keyof Conditions)[]
}

/** hours in any order. throws RangeError for a plan or conditions outside their ranges */
export function baselineBand(hours: readonly BaselineHour[], now: Conditions, nowMs: number, p: BaselinePlan): Band | NotObservable {
  checked(now, p)
  const held = hours.filter((h) => Number.isFinite(h.value) && h.atMs < nowMs && nowMs - h.atMs <= p.memoryDays * DAY_MS)
  const first = held.reduce((least, h) => Math.min(least, h.atMs), nowMs)
  const days = (nowMs - first) / DAY_MS
  if (days < p.leastDays) return notObservable(`only ${Math.floor(days)} days of this loop are known and ${p.leastDays} are needed: no band yet`)
  const known = (['washedM3', 'sinceWashH', 'waterCel', 'hourOfDay'] as const).filter((c) => (c === 'hourOfDay' && p.alikeHours === null ? true : now[c] !== null))
  const alike = held
    .map((hour) => ({ hour, apart: unlike(hour, now, p) }))
    .filter((x): x is { hour: BaselineHour; apart: number } => x.apart !== null)
    .sort((a, b) => a.apart - b.apart || b.hour.atMs - a.hour.atMs)
    .slice(0, Math.max(p.leastHours, p.mostHours))
    .map((x) => x.hour)
  const differentDays = new Set(alike.map((h) => Math.floor(h.atMs / DAY_MS))).size
  if (alike.length < p.leastHours || differentDays < p.leastDifferentDays)
    return notObservable(`only ${alike.length} hours on ${differentDays} days were like this one, and ${p.leastHours} on ${p.leastDifferentDays} days are needed: no band yet`)
  const middle = median(alike.map((h) => h.value))
  const reach = (side: readonly number[]): number => p.width * Math.max(p.resolution, MAD_TO_SD * median(side))
  return {
    low: middle - reach(alike.filter((h) => h.value <= middle).map((h) => middle - h.value)),
    middle,
    high: middle + reach(alike.filter((h) => h.value >= middle).map((h) => h.value - middle)),
    hours: alike.length,
    days: differentDays,
    notCompared: (['washedM3', 'sinceWashH', 'waterCel', 'hourOfDay'] as const).filter((c) => !known.includes(c)),
  }
}

/** Below this nothing was washed, m3: a dripping lance. */
const NO_WASH_M3 = 0.02

/** How unlike two hours are, 0 or more; null: too unlike to be compared in one of the conditions. */
function unlike(h: Conditions, now: Conditions, p: BaselinePlan): number | null {
  const parts: number[] = []
  if (h.washedM3 !== null && now.washedM3 !== null) {
    const idle = now.washedM3 < NO_WASH_M3
    if (idle !== h.washedM3 < NO_WASH_M3) return null
    if (!idle) parts.push(ratioPart(h.washedM3, now.washedM3, p.alikeRatio))
  }
  // An hour is the step here: one and two hours since a wash are told apart by nothing.
  if (h.sinceWashH !== null && now.sinceWashH !== null) parts.push(ratioPart(h.sinceWashH + 1, now.sinceWashH + 1, p.alikeRatio))
  if (h.waterCel !== null && now.waterCel !== null) parts.push(Math.abs(h.waterCel - now.waterCel) / p.alikeK)
  if (p.alikeHours !== null && h.hourOfDay !== null && now.hourOfDay !== null) {
    const apart = Math.abs(h.hourOfDay - now.hourOfDay)
    parts.push(Math.min(apart, 24 - apart) / p.alikeHours)
  }
  return parts.some((part) => part > 1) ? null : parts.reduce((sum, part) => sum + part, 0)
}

/** 1 at the largest ratio that is alike. */
const ratioPart = (a: number, b: number, most: number): number => Math.abs(Math.log(a / b)) / Math.log(most)

function checked(c: Conditions, p: BaselinePlan): void {
  positive('resolution', p.resolution, 'of the signal')
  within('width of the band', p.width, 1, 10, 'robust deviations')
  within('memory', p.memoryDays, p.leastDays, 1000, 'd')
  within('ratio of likeness', p.alikeRatio, 1.01, 10, '')
  positive('likeness of temperature', p.alikeK, 'K')
  if (p.alikeHours !== null) positive('likeness of the hour', p.alikeHours, 'h')
  if (c.washedM3 !== null) within('water washed', c.washedM3, 0, 1000, 'm3')
  if (c.sinceWashH !== null) within('time since the wash', c.sinceWashH, 0, 100_000, 'h')
  if (c.waterCel !== null) within('water temperature', c.waterCel, -5, 60, 'degrees C')
  if (c.hourOfDay !== null) within('hour of the day', c.hourOfDay, 0, 23.999, 'h')
}
