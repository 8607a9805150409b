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
  /** Value after which it starts again at zero (65536, 4294967296, 100000); null: it never does; several: not known, one of these. */
  readonly rolloverAt: number | readonly number[] | null
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

/** What lies between two readings of a counter that follow each other. */
export interface Increment {
  readonly fromMs: number
  readonly atMs: number
  /** How far it moved, its unit; for a reset what is certain, for a step and a replacement 0. */
  readonly by: number
  readonly how: 'rise' | 'rollover' | 'reset' | 'replacement' | 'step'
  /** What the figure itself did: for a step and a reset the difference that is not counted as work. */
  readonly jump: number
}

/**
 * points  ascending by time, good quality, one signal; a repeated reading counts once
 * throws  RangeError when they run backwards, or a value is below zero or at or above the rollover
 */
export function increments(points: readonly CounterPoint[], s: CounterSettings): readonly Increment[] {
  positive('fastest rate', s.mostPerH, 'per h')
  positive('slack', s.slack, '', true)
  const out: Increment[] = []
  const certain = typeof s.rolloverAt === 'number' ? s.rolloverAt : null
  const tops = s.rolloverAt === null ? [] : typeof s.rolloverAt === 'number' ? [s.rolloverAt] : s.rolloverAt
  let before: CounterPoint | null = null
  for (const p of points) {
    positive('counter', p.value, '', true)
    if (certain !== null && p.value >= certain) throw new RangeError(`counter is ${p.value}: it starts again at ${certain}, so that figure is wrong`)
    if (before) {
      if (p.atMs < before.atMs) throw new RangeError(`counter readings run backwards: ${p.atMs} after ${before.atMs}; sort them by time`)
      out.push({ fromMs: before.atMs, atMs: p.atMs, jump: p.value - before.value, ...between(before, p, tops, s) })
    }
    before = p
  }
  return out
}

function between(from: CounterPoint, to: CounterPoint, tops: readonly number[], s: CounterSettings): Pick<Increment, 'by' | 'how'> {
  if (s.replacedMs.some((r) => r > from.atMs && r <= to.atMs)) return { how: 'replacement', by: 0 }
  const most = (s.mostPerH * (to.atMs - from.atMs)) / 3_600_000 + s.slack
  const rise = to.value - from.value
  if (rise >= -s.slack && rise <= most) return { how: 'rise', by: rise }
  if (rise >= 0) return { how: 'step', by: 0 }
  for (const top of tops) {
    const over = top - from.value + to.value
    if (from.value < top && over <= most) return { how: 'rollover', by: over }
  }
  // Since a reset to zero the counter has moved by its own value; a reset to a typed figure shows as too much.
  return { how: 'reset', by: to.value <= most ? to.value : 0 }
}

/** points, throws  as increments() */
export function counted(points: readonly CounterPoint[], s: CounterSettings): Counted {
  return sum(increments(points, s))
}

export function sum(all: readonly Increment[]): Counted {
  let total = 0
  for (const i of all) total += i.by
  const times = (how: Increment['how']): number => all.filter((i) => i.how === how).length
  const [resets, replacements] = [times('reset'), times('replacement')]
  const steps = all.filter((i) => i.how === 'step').map((i) => ({ atMs: i.atMs, by: i.jump }))
  return { total, atLeast: resets + replacements > 0, rollovers: times('rollover'), resets, replacements, steps }
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
