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
 * A condition that is not measured now, or was not then, is not compared, and the band says so. Until there are four weeks and
 * twenty comparable hours on five different days there is no band.
 * Middle: median. Low and high: so many robust deviations from it, of the hours below and those above apart, never under the
 * resolution (flat and stepped signals).
 * source  weeks and hours: common practice, no source
 * cost    O(hours held) time per band, about 60 bytes an hour held
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
  leastDifferentDays: 5,
  memoryDays: 90,
  alikeK: 3,
  alikeRatio: 2,
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
  const alike = held.filter((h) => resembles(h, now, p))
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

function resembles(h: Conditions, now: Conditions, p: BaselinePlan): boolean {
  if (h.washedM3 !== null && now.washedM3 !== null) {
    const idle = now.washedM3 < NO_WASH_M3
    if (idle !== h.washedM3 < NO_WASH_M3) return false
    if (!idle && !alikeBy(p.alikeRatio, h.washedM3, now.washedM3)) return false
  }
  // An hour is the step here: one and two hours since a wash are told apart by nothing.
  if (h.sinceWashH !== null && now.sinceWashH !== null && !alikeBy(p.alikeRatio, h.sinceWashH + 1, now.sinceWashH + 1)) return false
  if (h.waterCel !== null && now.waterCel !== null && Math.abs(h.waterCel - now.waterCel) > p.alikeK) return false
  if (p.alikeHours !== null && h.hourOfDay !== null && now.hourOfDay !== null) {
    const apart = Math.abs(h.hourOfDay - now.hourOfDay)
    if (Math.min(apart, 24 - apart) > p.alikeHours) return false
  }
  return true
}

const alikeBy = (ratio: number, a: number, b: number): boolean => Math.max(a, b) <= ratio * Math.min(a, b)

function checked(c: Conditions, p: BaselinePlan): void {
  positive('resolution', p.resolution, 'of the signal')
  within('width of the band', p.width, 1, 10, 'robust deviations')
  within('memory', p.memoryDays, p.leastDays, 1000, 'd')
  within('ratio of likeness', p.alikeRatio, 1, 10, '')
  if (c.washedM3 !== null) within('water washed', c.washedM3, 0, 1000, 'm3')
  if (c.sinceWashH !== null) within('time since the wash', c.sinceWashH, 0, 100_000, 'h')
  if (c.waterCel !== null) within('water temperature', c.waterCel, -5, 60, 'degrees C')
  if (c.hourOfDay !== null) within('hour of the day', c.hourOfDay, 0, 23.999, 'h')
}
