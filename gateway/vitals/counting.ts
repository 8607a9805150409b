/** From signals to hourly sums: counters by their rise, flows and run contacts by the time they hold. */
import { counted, type CounterSettings } from '../process/counters.ts'
import { type Grade, worse } from './grade.ts'
import { createHours, freshHours, HOUR_MS, type Hours, type HoursState } from './hours.ts'
import type { Memory } from './memory.ts'
import type { Slot } from './slots.ts'

export interface Tally {
  readonly hours: Hours
  /** Called with what was added just now, and over which time. */
  readonly listeners: ((amount: number, fromMs: number, toMs: number, grade: Grade) => void)[]
}

interface TallyState {
  readonly hours: HoursState
  last: { atMs: number; value: number; grade: Grade } | null
}

const fresh = (): TallyState => ({ hours: freshHours(), last: null })

/** A gap in a counter is bridged up to here: its rise is true, its hours are a guess. */
const LONGEST_BRIDGE_MS = 24 * HOUR_MS

/**
 * A counter (litres, pulses, hours). mostPerH: fastest it can truly move. replaced: times of replacement, ms, newest 10.
 * scale: unit of the sum per unit of the counter.
 */
export function tallyCounter(slot: Slot, memory: Memory, mostPerH: number, replaced: () => readonly number[], scale = 1): Tally {
  const state = memory.of<TallyState>(`count ${slot.signal.id}`, fresh)
  const hours = createHours(state.hours)
  const settings = (): CounterSettings => ({ mostPerH, rolloverAt: null, slack: Math.max(2 * slot.signal.resolution, mostPerH / 60), replacedMs: replaced() })
  const tally: Tally = { hours, listeners: [] }
  slot.listeners.push((s) => {
    if (s.value === null || s.value < 0) return
    const { last } = state
    const now = { atMs: s.atMs, value: s.value, grade: s.grade }
    state.last = now
    if (!last) return
    const grade = worse(last.grade, now.grade)
    let rise = 0
    if (now.value !== last.value) {
      const c = counted([last, now], settings())
      if (c.atLeast || c.steps.length > 0) hours.lost(now.atMs)
      rise = c.total * scale
    }
    if (now.atMs - last.atMs > LONGEST_BRIDGE_MS) return hours.lost(now.atMs)
    hours.add(last.atMs, now.atMs, rise, grade)
    if (rise > 0) for (const l of tally.listeners) l(rise, last.atMs, now.atMs, grade)
  })
  return tally
}

/** A flow per minute or a contact: what it shows holds until the next reading, at most three reports. perHour: amount added per hour at 1. */
export function tallyHeld(slot: Slot, memory: Memory, perHour: number, gate: (value: number) => number = (v) => v): Tally {
  const state = memory.of<TallyState>(`held ${slot.signal.id}`, fresh)
  const hours = createHours(state.hours)
  const tally: Tally = { hours, listeners: [] }
  slot.listeners.push((s) => {
    const { last } = state
    state.last = s.value === null ? null : { atMs: s.atMs, value: s.value, grade: s.grade }
    if (!last) return
    const toMs = Math.min(s.atMs, last.atMs + s.holdMs)
    const amount = (Math.max(0, gate(last.value)) * perHour * (toMs - last.atMs)) / HOUR_MS
    hours.add(last.atMs, toMs, amount, last.grade)
    if (amount > 0) for (const l of tally.listeners) l(amount, last.atMs, toMs, last.grade)
  })
  return tally
}
