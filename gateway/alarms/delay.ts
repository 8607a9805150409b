/**
 * On-delay and off-delay, on event time: a run of violated samples raises at first sample + delay, not at the sample
 * that happens to come next; any sample that breaks the run cancels it; a sample stamped with the due time itself is applied
 * before the timer. Nothing here knows the present: whoever holds the clock calls `elapse`.
 *
 *   normal --violated--> rising --(onMs)--> active --cleared--> falling --(offMs)--> normal
 *      ^------ any other ---'                 ^------- any other -----'
 */
import type { Judgement } from './limit.ts'

export type DelayState =
  | { readonly phase: 'normal' }
  | { readonly phase: 'rising'; readonly sinceMs: number }
  | { readonly phase: 'active' }
  | { readonly phase: 'falling'; readonly sinceMs: number }

/** Both >= 0; zero acts at the sample itself. */
export interface Delays {
  readonly onMs: number
  readonly offMs: number
}

export interface Change {
  readonly kind: 'raise' | 'clear'
  /** Event time at which the delay was over. */
  readonly atMs: number
}

export interface DelayStep {
  readonly state: DelayState
  readonly changes: readonly Change[]
}

export const NORMAL: DelayState = { phase: 'normal' }
export const ACTIVE: DelayState = { phase: 'active' }
const NONE: readonly Change[] = []

/** When the running timer is over; Infinity when none runs. */
export function dueMs(s: DelayState, d: Delays): number {
  if (s.phase === 'rising') return s.sinceMs + d.onMs
  return s.phase === 'falling' ? s.sinceMs + d.offMs : Number.POSITIVE_INFINITY
}

/** Lets time pass without a sample: a timer due at or before `untilMs` fires at its due time. */
export function elapse(s: DelayState, untilMs: number, d: Delays): DelayStep {
  const due = dueMs(s, d)
  return due <= untilMs ? fire(s, due) : { state: s, changes: NONE }
}

/**
 * One sample. `before` are the delays that ran until now, `after` those that hold from this sample on (they differ only for
 * rules whose delay depends on the state of the plant). A delay that is shortened below what has already run is over at `atMs`.
 */
export function stepDelay(s: DelayState, judged: Judgement, atMs: number, before: Delays, after: Delays = before): DelayStep {
  let state = s
  let changes = NONE
  const due = dueMs(state, before)
  if (due < atMs) {
    const fired = fire(state, due)
    state = fired.state
    changes = fired.changes
  }
  state = take(state, judged, atMs)
  if (dueMs(state, after) <= atMs) {
    const fired = fire(state, atMs)
    state = fired.state
    changes = changes === NONE ? fired.changes : [...changes, ...fired.changes]
  }
  return { state, changes }
}

/** A timer that stood still for `byMs` is over that much later. */
export function shiftDelay(s: DelayState, byMs: number): DelayState {
  return (s.phase === 'rising' || s.phase === 'falling') && byMs > 0 ? { phase: s.phase, sinceMs: s.sinceMs + byMs } : s
}

function take(s: DelayState, judged: Judgement, atMs: number): DelayState {
  switch (s.phase) {
    case 'normal':
      return judged === 'violated' ? { phase: 'rising', sinceMs: atMs } : s
    case 'rising':
      return judged === 'violated' ? s : NORMAL
    case 'active':
      return judged === 'cleared' ? { phase: 'falling', sinceMs: atMs } : s
    case 'falling':
      return judged === 'cleared' ? s : ACTIVE
  }
}

function fire(s: DelayState, atMs: number): DelayStep {
  return s.phase === 'rising' ? { state: ACTIVE, changes: [{ kind: 'raise', atMs }] } : { state: NORMAL, changes: [{ kind: 'clear', atMs }] }
}
