/**
 * By what a machine is seen to run, and how it ran in a span: all the time, in a rhythm, now and then, or not at all. Pressure or flow of
 * air is better evidence than a contact, which is blind to a torn line; a current is better than nothing.
 */
import { QUANTITIES, type Quantity } from '../site/quantity.ts'
import type { Equipment, Signal, Site } from '../site/site.ts'

/** A usable figure; bad ones are left out. */
export interface Sample {
  readonly atMs: number
  readonly value: number
}

/** Air and current that fall below this share of the most of the hour before are not what ran then (as the proof of air: common practice, no source). */
const SHARE = 0.6
/** Less than this share of the nameplate is a motor at rest (common practice, no source). */
const LEAST_CURRENT = 0.1
/** Rest that is no rest: a machine that pauses less often than this ran all the time (common practice, no source). */
const ALWAYS = 0.8
const LINK_MS = 10_000
/** A figure holds no longer than until its signal is stale. */
export const holdMs = (s: Signal): number => 3 * s.reportEveryMs + LINK_MS

/** The signal that tells whether a machine runs; null: none on this loop. */
export function evidenceOf(site: Pick<Site, 'signals'>, e: Equipment): Signal | null {
  const of = (q: Quantity): Signal | undefined => site.signals.find((s) => s.quantity === q && s.at === e.id)
  const order: readonly Quantity[] = e.kind === 'aerator' ? ['pressure', 'flow', 'run', 'current', 'hours'] : ['run', 'current', 'flow', 'starts', 'pulses', 'volume', 'hours']
  for (const q of order) {
    const s = of(q)
    if (s) return s
  }
  return null
}

/** From which figure on the machine runs; null: it did not run in these samples. Counters: any rise. */
export function runsFrom(s: Signal, e: Pick<Equipment, 'nameplateA'> | null, samples: readonly Sample[]): number | null {
  const { kind } = QUANTITIES[s.quantity]
  if (kind === 'state') return samples.some((x) => x.value === 1) ? 1 : null
  if (kind === 'counter') return samples.some((x, i) => x.value > (samples[i - 1]?.value ?? x.value)) ? 0 : null
  const most = Math.max(...samples.map((x) => x.value), Number.NEGATIVE_INFINITY)
  const least = s.quantity === 'current' && e?.nameplateA ? LEAST_CURRENT * e.nameplateA : 5 * s.resolution
  return most > least ? Math.max(SHARE * most, least) : null
}

/** Does this sample show it running? `before`: the figure before it; null: none. */
export const isOn = (s: Pick<Signal, 'quantity'>, from: number, value: number, before: number | null): boolean =>
  QUANTITIES[s.quantity].kind === 'counter' ? before !== null && value > before : value >= from

export interface Rhythm {
  /** all: without a rest worth the name. rhythm: at least three runs. seldom: one or two. rest: none. unknown: too little was received. */
  readonly kind: 'all' | 'rhythm' | 'seldom' | 'rest' | 'unknown'
  readonly runs: number
  /** Longest stretch without running, the ends of the span included. */
  readonly longestRestMs: number
}

/**
 * How it ran from `fromMs` to `toMs`. A figure holds until the next one, no longer than until the signal is stale.
 *
 * samples  oldest first; one before the span, if there is one, says how it began
 */
export function rhythmOf(s: Signal, from: number | null, samples: readonly Sample[], fromMs: number, toMs: number): Rhythm {
  let knownMs = 0
  let onMs = 0
  let runs = 0
  let longestRestMs = 0
  let restFromMs: number | null = fromMs
  let was = false
  samples.forEach((x, i) => {
    const begin = Math.max(x.atMs, fromMs)
    const end = Math.min(samples[i + 1]?.atMs ?? toMs, x.atMs + holdMs(s), toMs)
    if (end <= begin) return
    const on = from !== null && isOn(s, from, x.value, samples[i - 1]?.value ?? null)
    knownMs += end - begin
    if (on) onMs += end - begin
    if (on && !was) {
      runs++
      if (restFromMs !== null) longestRestMs = Math.max(longestRestMs, begin - restFromMs)
      restFromMs = null
    } else if (!on && restFromMs === null) restFromMs = begin
    was = on
  })
  if (restFromMs !== null) longestRestMs = Math.max(longestRestMs, toMs - restFromMs)
  const kind = knownMs < (toMs - fromMs) / 2 ? 'unknown' : onMs === 0 ? 'rest' : onMs >= ALWAYS * knownMs ? 'all' : runs >= 3 ? 'rhythm' : 'seldom'
  return { kind, runs, longestRestMs }
}
