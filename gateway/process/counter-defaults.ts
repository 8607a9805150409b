/**
 * What a counter of a site is taken for where its site file says nothing: how fast it can truly move, and where it starts again.
 * source  common practice, no source; tops are those of 16, 24, 31 and 32 bit registers and of mechanical counters of 4 to 6 figures
 */
import type { LogEntry } from '../log/entry.ts'
import { convert } from '../site/convert.ts'
import type { Signal } from '../site/site.ts'
import type { CounterSettings } from './counters.ts'

/** Per hour, in the usual unit of the quantity, and slack for clocks and rounding. */
const FASTEST: Readonly<Record<string, { readonly mostPerH: number; readonly slack: number; readonly unit: string }>> = {
  hours: { mostPerH: 1, slack: 0.2, unit: 'h' },
  starts: { mostPerH: 240, slack: 2, unit: '{count}' },
  pulses: { mostPerH: 36_000, slack: 10, unit: '{count}' },
  volume: { mostPerH: 120_000, slack: 100, unit: 'L' },
  uptime: { mostPerH: 3600, slack: 120, unit: 's' },
}

/** Lowest first: of several that would explain a fall the nearest is the one. */
const TOPS: readonly number[] = [10_000, 32_768, 65_536, 100_000, 1_000_000, 16_777_216, 2_147_483_648, 4_294_967_296]

/** null: the signal is no counter. `replacedMs`: from replacementsOf(). */
export function counterSettings(s: Pick<Signal, 'quantity' | 'unit' | 'counter'>, replacedMs: readonly number[]): CounterSettings | null {
  const usual = FASTEST[s.quantity]
  if (!usual) return null
  const inUnit = (v: number): number => convert(v, usual.unit, s.unit) ?? v
  return { mostPerH: s.counter?.mostPerH ?? inUnit(usual.mostPerH), slack: inUnit(usual.slack), rolloverAt: s.counter?.rolloverAt ?? TOPS, replacedMs }
}

/**
 * When the log says that what counts was replaced: the signal itself, the machine it belongs to, its stage where the entry speaks of
 * that machine or of what counts there, or a controller, panel or meter without saying of what. An entry that a later one corrects no
 * longer counts; the correction does, where it is a replacement.
 */
export function replacementsOf(log: readonly LogEntry[], s: Pick<Signal, 'id' | 'at' | 'stage'>): readonly number[] {
  const corrected = new Set(log.flatMap((e) => e.corrects ?? []))
  return log.filter((e) => e.kind === 'replacement' && !corrected.has(e.id) && isAbout(e, s)).map((e) => e.atMs)
}

function isAbout(e: LogEntry, s: Pick<Signal, 'id' | 'at' | 'stage'>): boolean {
  const words = `${e.item ?? ''} ${e.text ?? ''}`.toLowerCase()
  const ofCounting = /controller|panel|meter|counter/.test(words)
  if (e.about === undefined) return ofCounting
  if (e.about === s.id || e.about === s.at) return true
  return e.about === s.stage && (ofCounting || (s.at !== null && words.includes(s.at)))
}
