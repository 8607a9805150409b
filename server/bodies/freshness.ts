/** Whether a newest reading may still be shown as "now". */
import type { SiteState } from '../../gateway/port.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import type { Signal } from '../../gateway/site/site.ts'

/** Three reports and 10 s; the same span after which a whole site is silent. Common practice, no source. */
export const staleAfterMs = (signal: Signal): number => 3 * signal.reportEveryMs + 10_000

/**
 * A live reading ages from when we got it: a controller whose clock is some minutes slow, or ahead, is no dead signal. One that came
 * late (a store that emptied itself, the last one before our own restart) ages from when it was taken.
 */
export function isStale(signal: Signal, reading: Reading, nowMs: number): boolean {
  return nowMs - (reading.live ? reading.receivedMs : Math.min(reading.sourceMs, reading.receivedMs)) > staleAfterMs(signal)
}

/** The figure of a signal, when there is one that is not bad and not stale. */
export function valueNow(state: SiteState, signal: Signal | undefined, nowMs: number): number | null {
  const reading = signal && state.latest.get(signal.id)
  if (!signal || !reading || reading.quality === 'bad' || isStale(signal, reading, nowMs)) return null
  return reading.value
}
