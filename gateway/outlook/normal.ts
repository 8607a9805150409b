/**
 * What is normal for a signal or vital of this loop: two numbers. The first weeks that may be learned from, frozen; and the rolling band of
 * hours like this one. The second never overwrites the first, so a band that crept away with a slow decline is seen to have crept.
 *
 * The first number is that of commissioning only where the loop was new then: it says which days it was taken from.
 * cost  about 1 ms a signal over 90 days of hours
 */
import type { Bucket } from '../history/history.ts'
import { BASELINE, type Band, baselineBand, type BaselineHour, type Conditions } from '../trends/baseline.ts'
import { learnable, type Pause } from '../trends/learning.ts'
import { median, robustSd } from '../trends/order.ts'
import type { NotObservable } from '../process/range.ts'
import { type AgainstBoth, againstBoth, type CommissioningValue } from '../trends/two-normals.ts'

const HOUR_MS = 3_600_000
const DAY_MS = 24 * HOUR_MS
/** Days back hours are looked at. */
export const LEARN_DAYS = BASELINE.memoryDays
const NO_WASH_L = 20
const ALL_ALIKE_HOURS = 28 * 24

/** What the hours of a loop were like; index as in the hours. */
export interface HourConditions {
  readonly fromMs: number
  readonly of: readonly Omit<Conditions, 'hourOfDay'>[]
}

/** washedL: one figure an hour; water: mean temperature an hour. Either null: not measured on this loop. */
export function conditionsOf(fromMs: number, hours: number, washedL: readonly (number | null)[] | null, water: readonly Bucket[] | null): HourConditions {
  let lastWash: number | null = null
  const of = Array.from({ length: hours }, (_, k) => {
    const now = washedL?.[k] ?? null
    const before = washedL?.[k - 1] ?? null
    if (now !== null && now >= NO_WASH_L) lastWash = k
    return {
      washedM3: now === null ? null : (now + (before ?? 0)) / 1000,
      sinceWashH: washedL === null || lastWash === null ? null : k - lastWash,
      waterCel: water?.[k]?.mean ?? null,
    }
  })
  return { fromMs, of }
}

export interface Learned {
  readonly id: string
  readonly resolution: number
  /** Is it the temperature the hours are compared by? */
  readonly isWater: boolean
  readonly hours: readonly Bucket[]
  /** When the probe or part it speaks of was replaced. */
  readonly replacedMs: readonly number[]
  /** Newest figure, to be held against both; null: none. */
  readonly value: number | null
}

export interface Normal {
  readonly id: string
  readonly band: Band | NotObservable
  /** Days with hours that may be learned from, and how many a band needs. */
  readonly days: number
  readonly needed: number
  readonly first: CommissioningValue | null
  readonly against: AgainstBoth | null
}

export function normalOf(l: Learned, c: HourConditions, pauses: readonly Pause[], first: CommissioningValue | null, nowMs: number): Normal {
  const known = learned(l, c, pauses)
  // The hour that runs is not over: it is compared by the one before it.
  const k = Math.min(c.of.length - 1, Math.floor((nowMs - c.fromMs) / HOUR_MS))
  const now = c.of[k]
  const waterCel = l.isWater ? null : clampWater(now?.waterCel ?? c.of[k - 1]?.waterCel ?? null)
  const sinceWashH = now?.sinceWashH ?? null
  const band = baselineBand(known, { washedM3: now?.washedM3 ?? null, sinceWashH, waterCel, hourOfDay: null }, nowMs, {
    ...BASELINE,
    resolution: l.resolution,
    // With nothing that ranks one hour nearer than another the newest would be taken, all from two or three days.
    ...(sinceWashH === null && waterCel === null && { mostHours: ALL_ALIKE_HOURS }),
  })
  const rolling = 'because' in band ? null : band
  return {
    id: l.id,
    band,
    days: daysOf(known),
    needed: BASELINE.leastDays,
    first,
    against: l.value === null ? null : againstBoth(l.value, first, rolling),
  }
}

const clampWater = (v: number | null): number | null => (v === null || v < -5 || v > 60 ? null : v)
const daysOf = (hours: readonly BaselineHour[]): number => new Set(hours.map((h) => Math.floor(h.atMs / DAY_MS))).size

function learned(l: Learned, c: HourConditions, pauses: readonly Pause[]): readonly BaselineHour[] {
  const all = l.hours.flatMap((h, i): BaselineHour[] => {
    const was = c.of[i]
    if (h.mean === null || h.worst === 'bad' || !was) return []
    return [{ atMs: h.fromMs, value: h.mean, washedM3: was.washedM3, sinceWashH: was.sinceWashH, waterCel: l.isWater ? null : was.waterCel, hourOfDay: null }]
  })
  return learnable(all, pauses, l.replacedMs)
}

/** The number to be frozen: middle of the first 28 days that may be learned from, and how far its days differ; null: not yet. */
export function firstNormal(l: Learned, c: HourConditions, pauses: readonly Pause[]): CommissioningValue | null {
  const days = new Map<number, number[]>()
  for (const h of learned(l, c, pauses)) {
    const day = Math.floor(h.atMs / DAY_MS)
    const of = days.get(day)
    if (of) of.push(h.value)
    else if (days.size < BASELINE.leastDays) days.set(day, [h.value])
  }
  if (days.size < BASELINE.leastDays) return null
  const daily = [...days.values()].map((v) => median(v))
  const lastDay = Math.max(...days.keys())
  return { value: median(daily), sd: robustSd(daily, l.resolution), atMs: (lastDay + 1) * DAY_MS }
}
