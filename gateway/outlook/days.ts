/**
 * The days of a yard, by its own wall clock: past ones to count what each took, and coming ones to expect it. The kind of a day says
 * which days are alike: a weekday, a Saturday, a Sunday, or one on which the calendar of the site file says closed.
 */
import { within, wallMinute, type Site } from '../site/site.ts'
import type { ComingDay } from '../trends/run-out.ts'

const MIN_MS = 60_000
const DAY_MS = 86_400_000

export interface Day {
  readonly fromMs: number
  /** The next midnight: 23 to 25 h later. */
  readonly toMs: number
  readonly kind: string
}

/** Midnight of the local day that holds `atMs`. */
export function midnight(zone: string, atMs: number): number {
  const ms = Math.floor(atMs / MIN_MS) * MIN_MS
  const guess = ms - wallMinute(zone, ms).minute * MIN_MS
  // The clock was set in between.
  const { minute } = wallMinute(zone, guess)
  return minute === 0 ? guess : minute < 720 ? guess - minute * MIN_MS : guess + (1440 - minute) * MIN_MS
}

const nextMidnight = (zone: string, midnightMs: number): number => midnight(zone, midnightMs + 1.5 * DAY_MS)

const KINDS = ['Sunday', 'weekday', 'weekday', 'weekday', 'weekday', 'weekday', 'Saturday']

function dayFrom(site: Pick<Site, 'zone' | 'open'>, fromMs: number): Day {
  const toMs = nextMidnight(site.zone, fromMs)
  const { day } = wallMinute(site.zone, fromMs + DAY_MS / 2)
  const open = site.open.length === 0 || site.open.some((s) => s.day === day)
  return { fromMs, toMs, kind: open ? (KINDS[day] as string) : 'closed day' }
}

/** The last `count` whole days before the one that holds `nowMs`, oldest first. */
export function pastDays(site: Pick<Site, 'zone' | 'open'>, nowMs: number, count: number): readonly Day[] {
  const out: Day[] = []
  let toMs = midnight(site.zone, nowMs)
  for (let i = 0; i < count; i += 1) {
    const day = dayFrom(site, midnight(site.zone, toMs - DAY_MS / 2))
    out.unshift(day)
    toMs = day.fromMs
  }
  return out
}

/** What is left of today, then whole days. The share of today is that of its open hours still to come; of the clock where none are known. */
export function comingDays(site: Pick<Site, 'zone' | 'open'>, nowMs: number, count: number): readonly ComingDay[] {
  const out: ComingDay[] = []
  let day = dayFrom(site, midnight(site.zone, nowMs))
  for (let i = 0; i < count; i += 1) {
    const fromMs = Math.max(day.fromMs, nowMs)
    out.push({ fromMs, toMs: day.toMs, kind: day.kind, share: i === 0 ? shareLeft(site, day, nowMs) : 1 })
    day = dayFrom(site, day.toMs)
  }
  return out
}

const STEP_MS = 15 * MIN_MS

function shareLeft(site: Pick<Site, 'zone' | 'open'>, day: Day, nowMs: number): number {
  let all = 0
  let left = 0
  for (let ms = day.fromMs; ms < day.toMs; ms += STEP_MS) {
    if (!within(site.open, site.zone, ms, true)) continue
    all += 1
    if (ms >= nowMs) left += 1
  }
  return all === 0 ? (day.toMs - nowMs) / (day.toMs - day.fromMs) : left / all
}
