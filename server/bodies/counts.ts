/** What counters and run bits of a loop add up to: increments over equal spans, and hours and starts per machine. */
import type { HistoryReading } from '../../gateway/history/history.ts'
import type { LogEntry } from '../../gateway/log/entry.ts'
import { counterSettings, replacementsOf } from '../../gateway/process/counter-defaults.ts'
import { increments, runTime, type Counted, type Increment, type RunState } from '../../gateway/process/counters.ts'
import type { Signal } from '../../gateway/site/site.ts'

/** Figures a counter can have shown; what is bad or below zero, or above a top the site file gives, is left out. */
export function incrementsOf(signal: Signal, readings: readonly HistoryReading[], log: readonly LogEntry[]): readonly Increment[] {
  const settings = counterSettings(signal, replacementsOf(log, signal))
  if (!settings) return []
  const top = typeof settings.rolloverAt === 'number' ? settings.rolloverAt : Number.POSITIVE_INFINITY
  const points = readings.flatMap((r) => (r.value === null || r.quality === 'bad' || r.value < 0 || r.value >= top ? [] : [{ atMs: r.sourceMs, value: r.value }]))
  return increments(points, settings)
}

/** A run bit says nothing once its readings are older than three reports. */
export const holdMs = (s: Signal): number => 3 * s.reportEveryMs + 10_000

export const runStates = (readings: readonly HistoryReading[]): readonly RunState[] =>
  readings.map((r) => ({ atMs: r.sourceMs, on: r.value === null || r.quality === 'bad' ? null : r.value !== 0 }))

export interface Spanned {
  readonly at: number[]
  /** null: no reading ends in the span. What lies across a gap is counted where the gap ends. */
  readonly by: (number | null)[]
}

/** Increments whose later reading lies in [from, to), summed over `points` equal spans. */
export function spanned(all: readonly Increment[], fromMs: number, toMs: number, points: number): Spanned & { readonly bucketMs: number } {
  const bucketMs = Math.max(1, Math.ceil((toMs - fromMs) / points))
  const count = Math.ceil((toMs - fromMs) / bucketMs)
  const by: (number | null)[] = Array.from({ length: count }, () => null)
  for (const i of all) {
    const k = Math.floor((i.atMs - fromMs) / bucketMs)
    if (k >= 0 && k < count) by[k] = (by[k] ?? 0) + i.by
  }
  return { bucketMs, at: by.map((_, k) => fromMs + k * bucketMs), by: by.map((v) => (v === null ? null : tidy(v))) }
}

/** Hours on in each span; null where nothing is known. */
export function spannedRun(states: readonly RunState[], hold: number, fromMs: number, toMs: number, points: number): Spanned & { readonly bucketMs: number } {
  const bucketMs = Math.max(1, Math.ceil((toMs - fromMs) / points))
  const at = Array.from({ length: Math.ceil((toMs - fromMs) / bucketMs) }, (_, k) => fromMs + k * bucketMs)
  let first = 0
  const by = at.map((start) => {
    const end = Math.min(start + bucketMs, toMs)
    // Only the states that can say something of this span: the one before it, and those in it.
    while (first + 1 < states.length && (states[first + 1]?.atMs ?? 0) <= start) first++
    let last = first
    while (last < states.length && (states[last]?.atMs ?? 0) < end) last++
    const { onMs, unknownMs } = runTime(states.slice(first, last + 1), start, end, hold)
    return unknownMs >= end - start ? null : tidy(onMs / 3_600_000)
  })
  return { bucketMs, at, by }
}

/** 0.1 + 0.2 is 0.3. */
const tidy = (v: number): number => Number(v.toPrecision(12))

export const countedBody = (c: Counted) => ({
  total: tidy(c.total),
  atLeast: c.atLeast,
  rollovers: c.rollovers,
  resets: c.resets,
  replacements: c.replacements,
  steps: c.steps.map((s) => ({ ...s })),
})
