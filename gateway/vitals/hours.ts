/**
 * What was counted, hour by hour, for eight days: litres, hours run, pulses. A ring of 192 hours with the worst grade of what was counted
 * and the time the signal was known, so that a sum says how much of its span it really saw.
 */
import { GOOD, worse, type Grade } from './grade.ts'

export const HOUR_MS = 3_600_000
export const RING_HOURS = 192

export interface HoursState {
  /** Number of the newest hour (ms / 3,600,000); -1: nothing yet. */
  hour: number
  firstHour: number
  readonly sums: number[]
  readonly knownMs: number[]
  readonly grades: (Grade | null)[]
  /** Something was lost in a reset or a gap: sums are "at least". Hour it last happened; -1 never. */
  lostHour: number
}

export interface Sum {
  readonly total: number
  readonly grade: Grade
  /** Share of the span in which the signal was known, 0-1. */
  readonly seen: number
  readonly atLeast: boolean
}

export interface Hours {
  add(fromMs: number, toMs: number, amount: number, grade: Grade): void
  lost(atMs: number): void
  /** The `hours` full hours before the hour that holds `atMs`; null: this was not yet running then. */
  sum(atMs: number, hours: number): Sum | null
}

export const freshHours = (): HoursState => ({
  hour: -1,
  firstHour: -1,
  sums: Array.from({ length: RING_HOURS }, () => 0),
  knownMs: Array.from({ length: RING_HOURS }, () => 0),
  grades: Array.from({ length: RING_HOURS }, () => null),
  lostHour: -1,
})

export function createHours(state: HoursState): Hours {
  const goTo = (hour: number): void => {
    if (state.hour < 0) {
      state.hour = hour
      state.firstHour = hour
    }
    const from = Math.max(state.hour + 1, hour - RING_HOURS + 1)
    for (let h = from; h <= hour; h++) {
      const i = h % RING_HOURS
      state.sums[i] = 0
      state.knownMs[i] = 0
      state.grades[i] = null
    }
    if (hour > state.hour) state.hour = hour
  }
  const put = (hour: number, amount: number, ms: number, grade: Grade): void => {
    if (hour <= state.hour - RING_HOURS) return
    const i = hour % RING_HOURS
    state.sums[i] = (state.sums[i] ?? 0) + amount
    state.knownMs[i] = (state.knownMs[i] ?? 0) + ms
    const was = state.grades[i]
    state.grades[i] = was ? worse(was, grade) : grade
  }

  return {
    add(fromMs, toMs, amount, grade) {
      const last = Math.floor(toMs / HOUR_MS)
      if (state.hour < 0) goTo(Math.floor(fromMs / HOUR_MS))
      if (last > state.hour) goTo(last)
      const first = Math.floor(fromMs / HOUR_MS)
      if (first === last || toMs <= fromMs) return put(last, amount, Math.max(0, toMs - fromMs), grade)
      // What was counted across a full hour is spread evenly over the time.
      for (let h = Math.max(first, last - RING_HOURS + 1); h <= last; h++) {
        const ms = Math.min(toMs, (h + 1) * HOUR_MS) - Math.max(fromMs, h * HOUR_MS)
        if (ms > 0) put(h, (amount * ms) / (toMs - fromMs), ms, grade)
      }
    },
    lost(atMs) {
      state.lostHour = Math.floor(atMs / HOUR_MS)
    },
    sum(atMs, hours) {
      const end = Math.floor(atMs / HOUR_MS)
      if (state.hour < 0 || hours >= RING_HOURS || state.firstHour > end - hours) return null
      let total = 0
      let ms = 0
      let grade: Grade = GOOD
      for (let h = end - hours; h < end; h++) {
        if (h > state.hour) break
        const i = h % RING_HOURS
        total += state.sums[i] ?? 0
        ms += state.knownMs[i] ?? 0
        const g = state.grades[i]
        if (g) grade = worse(grade, g)
      }
      return { total, grade, seen: ms / (hours * HOUR_MS), atLeast: state.lostHour >= end - hours }
    },
  }
}
