/**
 * When was the air off? From what a controller reports about its aerator to spans that can carry an uptake test, and back to
 * when the air returned. A report holds until the next; an unknown state (null: link lost, doubtful proof) ends a span without
 * proving that the air came back.
 */
import { positive } from './range.ts'

/** `on: null`: the state of the air is not known from here on. */
export interface AirState {
  readonly atMs: number
  readonly on: boolean | null
}

export interface AirOff {
  /** First report that says off; the air may have stopped up to one report earlier. */
  readonly fromMs: number
  /** Last moment the air was certainly off. */
  readonly toMs: number
  /** First report that says on again; null while it is off, or when the state was lost first. */
  readonly backMs: number | null
  /** Longest the true stop can lie before `fromMs`; null when no report came before. */
  readonly startDoubtMs: number | null
}

/**
 * states   ascending by time; equal times allowed, the later entry counts
 * untilMs  how far the last report may be carried, usually now or the last message of the site
 * gives    spans in order, each at least `shortestMs` long (default 0)
 * throws   RangeError when the states run backwards
 */
export function airOffSpans(states: readonly AirState[], untilMs: number, shortestMs = 0): readonly AirOff[] {
  positive('shortest span', shortestMs, 'ms', true)
  const out: AirOff[] = []
  let open: { fromMs: number; lastMs: number; doubt: number | null } | null = null
  let before: AirState | null = null
  for (const s of states) {
    if (before && s.atMs < before.atMs) throw new RangeError(`air states run backwards: ${s.atMs} after ${before.atMs}; sort them by time`)
    if (s.on === false) {
      // Off after an unknown stretch: the stop may lie anywhere in it, so how long before is not known.
      open ??= { fromMs: s.atMs, lastMs: s.atMs, doubt: before?.on === true ? s.atMs - before.atMs : null }
      open.lastMs = s.atMs
    } else if (open) {
      keep(out, open, open.lastMs, s.on === true ? s.atMs : null, shortestMs)
      open = null
    }
    before = s
  }
  if (open) keep(out, open, Math.max(open.lastMs, untilMs), null, shortestMs)
  return out
}

function keep(out: AirOff[], open: { fromMs: number; doubt: number | null }, toMs: number, backMs: number | null, shortestMs: number): void {
  if (toMs - open.fromMs >= shortestMs) out.push({ fromMs: open.fromMs, toMs, backMs, startDoubtMs: open.doubt })
}
