/**
 * How far a counter moved (hours run, pulses, starts), through rollover, reset and the exchange of the controller.
 *
 * A fall is a rollover when the counter's top is known and the way over the top is believable in the time that passed; otherwise it
 * is a reset, and then only what was counted since is certain: the total becomes "at least". A rise that is too fast for the
 * machine is a step (somebody typed a new figure in): it is not counted, but it is told. Work done by counters survives missed
 * reports; adding up run states does not, so hours come from counters where there are any.
 * source  common practice; limits are the caller's
 */
import { positive } from './range.ts'

export interface CounterPoint {
  readonly atMs: number
  readonly value: number
}

export interface CounterSettings {
  /** Fastest the counter can truly move, its unit per hour: 1 for hours run, 60 x pulses per min for a meter. */
  readonly mostPerH: number
  /** Value after which it starts again at zero (65536, 4294967296, 100000); null: it never does. */
  readonly rolloverAt: number | null
  /** Slack for clocks and rounding, counter units; a fall within it is jitter, no reset. */
  readonly slack: number
  /** Replacements from the site log, ms: the difference across one is not counted and is no fault. */
  readonly replacedMs: readonly number[]
}

export interface Counted {
  readonly total: number
  /** Something was lost in a reset or a replacement: the true total is `total` or more. */
  readonly atLeast: boolean
  readonly rollovers: number
  readonly resets: number
  readonly replacements: number
  /** Rises too fast to be true: left out of the total. */
  readonly steps: readonly { readonly atMs: number; readonly by: number }[]
}

/**
 * points  ascending by time, good quality, one signal; a repeated reading counts once
 * throws  RangeError when they run backwards, or a value is below zero or at or above the rollover
 */
export function counted(points: readonly CounterPoint[], s: CounterSettings): Counted {
  positive('fastest rate', s.mostPerH, 'per h')
  positive('slack', s.slack, '', true)
  let total = 0
  let rollovers = 0
  let resets = 0
  let replacements = 0
  let atLeast = false
  const steps: { atMs: number; by: number }[] = []
  let before: CounterPoint | null = null
  for (const p of points) {
    positive('counter', p.value, '', true)
    if (s.rolloverAt !== null && p.value >= s.rolloverAt) throw new RangeError(`counter is ${p.value}: it starts again at ${s.rolloverAt}, so that figure is wrong`)
    if (before) {
      if (p.atMs < before.atMs) throw new RangeError(`counter readings run backwards: ${p.atMs} after ${before.atMs}; sort them by time`)
      const from = before
      const most = (s.mostPerH * (p.atMs - from.atMs)) / 3_600_000 + s.slack
      const rise = p.value - from.value
      const over = s.rolloverAt === null ? Number.POSITIVE_INFINITY : s.rolloverAt - from.value + p.value
      if (s.replacedMs.some((r) => r > from.atMs && r <= p.atMs)) {
        replacements += 1
        atLeast = true
      } else if (rise >= -s.slack && rise <= most) total += rise
      else if (rise >= 0) steps.push({ atMs: p.atMs, by: rise })
      else if (over <= most) {
        total += over
        rollovers += 1
      } else {
        resets += 1
        atLeast = true
        // Since a reset to zero the counter has moved by its own value; a reset to a typed figure shows as too much.
        if (p.value <= most) total += p.value
      }
    }
    before = p
  }
  return { total, atLeast, rollovers, resets, replacements, steps }
}

export interface RunState {
  readonly atMs: number
  /** null: not known from here on. */
  readonly on: boolean | null
}

/** Time a machine ran between two moments, and how much of it nobody knows. A state holds until the next, at most `holdMs`. */
export function runTime(states: readonly RunState[], fromMs: number, toMs: number, holdMs: number): { readonly onMs: number; readonly unknownMs: number; readonly starts: number } {
  positive('time span', toMs - fromMs, 'ms', true)
  positive('hold', holdMs, 'ms')
  let onMs = 0
  let knownMs = 0
  let starts = 0
  states.forEach((s, i) => {
    const before = states[i - 1]
    if (before && s.atMs < before.atMs) throw new RangeError(`run states run backwards: ${s.atMs} after ${before.atMs}; sort them by time`)
    if (s.on === true && before?.on === false && s.atMs >= fromMs && s.atMs < toMs) starts += 1
    if (s.on === null) return
    const end = Math.min(states[i + 1]?.atMs ?? Number.POSITIVE_INFINITY, s.atMs + holdMs, toMs)
    const part = Math.max(0, end - Math.max(s.atMs, fromMs))
    knownMs += part
    if (s.on) onMs += part
  })
  return { onMs, unknownMs: toMs - fromMs - knownMs, starts }
}
