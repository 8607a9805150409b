/**
 * What each day took, from what is stored. A day of which too little is known has no figure: it is left out, never filled up.
 *
 * - A counter: its increments (rollover, reset and replacement taken out), known where they cover four fifths of the day. What lies across
 *   a gap over midnight belongs to no single day.
 * - A run contact: time on, held for three reports at most.
 * - A stock that is measured (paper in m, a level): its falls; a rise is a refill.
 */
import type { Bucket, HistoryReading } from '../history/history.ts'
import type { LogEntry } from '../log/entry.ts'
import { counterSettings, replacementsOf } from '../process/counter-defaults.ts'
import { type Increment, increments, runTime } from '../process/counters.ts'
import type { Signal } from '../site/site.ts'
import { median } from '../trends/order.ts'
import type { Day } from './days.ts'

const HOUR_MS = 3_600_000
const LEAST_KNOWN = 0.8
/** Longer between two readings, and what was counted is of neither day. */
const LONG_MS = 3 * HOUR_MS

interface Span {
  readonly fromMs: number
  readonly toMs: number
}

/** First and last figure of each hour. */
function pointsOf(hours: readonly Bucket[], hourMs: number): { atMs: number; value: number }[] {
  return hours.flatMap((h) =>
    h.first === null || h.last === null
      ? []
      : h.count === 1
        ? [{ atMs: h.fromMs, value: h.first }]
        : [
            { atMs: h.fromMs, value: h.first },
            { atMs: h.fromMs + hourMs - 1, value: h.last },
          ],
  )
}

/** Increments of a counter over stored hours; empty: it is no counter. */
export function counted(signal: Signal, hours: readonly Bucket[], log: readonly LogEntry[]): readonly Increment[] {
  const settings = counterSettings(signal, replacementsOf(log, signal))
  if (!settings) return []
  const top = typeof settings.rolloverAt === 'number' ? settings.rolloverAt : Number.POSITIVE_INFINITY
  return increments(
    pointsOf(hours, HOUR_MS).filter((p) => p.value >= 0 && p.value < top),
    settings,
  )
}

/** Sum of increments in each span; null: less than four fifths of it is covered. */
export function byDay(all: readonly Increment[], days: readonly Span[]): (number | null)[] {
  return days.map((d) => {
    let by = 0
    let knownMs = 0
    for (const i of all) {
      const overMs = Math.min(i.atMs, d.toMs) - Math.max(i.fromMs, d.fromMs)
      if (overMs <= 0 || i.how === 'replacement') continue
      const crosses = i.fromMs < d.fromMs || i.atMs > d.toMs
      if (crosses && i.by > 0 && i.atMs - i.fromMs > LONG_MS) continue
      knownMs += overMs
      if (i.atMs > d.fromMs && i.atMs <= d.toMs) by += i.by
    }
    return knownMs >= LEAST_KNOWN * (d.toMs - d.fromMs) ? by : null
  })
}

/** Falls of a measured stock in each day, its unit. A rise by more than `least` is a refill, and less than `least` left is an empty drum: the fall of that day is not known. signed: small rises stay, so that they even out in a sum. */
export function fallsByDay(hours: readonly Bucket[], days: readonly Day[], least: number, signed = false): (number | null)[] {
  return days.map((d) => {
    const of = hours.filter((h) => h.fromMs >= d.fromMs && h.fromMs < d.toMs && h.mean !== null)
    if (of.length < (LEAST_KNOWN * (d.toMs - d.fromMs)) / HOUR_MS) return null
    const [first, last] = [of[0]?.first ?? 0, of.at(-1)?.last ?? 0]
    // One that is empty can fall no further, whatever the pump says.
    return last > first + least || last <= least ? null : signed ? first - last : Math.max(0, first - last)
  })
}

/** Days on which a measured stock stood at `least` or under. */
export const emptyDays = (hours: readonly Bucket[], days: readonly Day[], least: number): readonly boolean[] =>
  days.map((d) => hours.some((h) => h.fromMs >= d.fromMs && h.fromMs < d.toMs && h.min !== null && h.min <= least))

/** Hours on between two moments; null: less than four fifths are known. readings ascending, one before `fromMs` where there is one */
export function runOver(readings: readonly HistoryReading[], fromMs: number, toMs: number, holdMs: number): number | null {
  const states = readings.map((r) => ({ atMs: r.sourceMs, on: r.value === null || r.quality === 'bad' ? null : r.value !== 0 }))
  const { onMs, unknownMs } = runTime(states, fromMs, toMs, holdMs)
  return unknownMs > (1 - LEAST_KNOWN) * (toMs - fromMs) ? null : onMs / HOUR_MS
}

const LONGEST_HOLD_MS = 15 * 60_000

/** Rows that came at a longer step than the signal has now (a past that was filled in, a slower link) hold for two of their own steps, 15 min at most. */
export function evenHoldMs(readings: readonly HistoryReading[]): number {
  const steps = readings.slice(1).map((r, i) => r.sourceMs - (readings[i] as HistoryReading).sourceMs)
  return steps.length < 10 ? 0 : Math.min(LONGEST_HOLD_MS, 2 * median(steps))
}
