/**
 * What the rules remember of one signal: its last usable value on event time, when it got here on the steady clock, and since
 * when it cannot be believed. A live value stands until the next one, or until it is stale.
 *
 * Only wire fault, sensor range, failed device and dead link arrive as `bad` and hold an alarm's state; a doubtful value
 * (`uncertain`) is judged like a good one, or an acid pump that is stuck would silence its own alarm.
 */
import { QUANTITIES } from '../site/quantity.ts'
import type { Reading } from '../site/reading.ts'
import type { Signal } from '../site/site.ts'

/** Allowance for the way from controller to here, ms; the same 10 s as in "silent after three reports + 10 s". */
export const LINK_MS = 10_000

export interface SignalMemory {
  readonly key: string
  readonly site: number
  readonly unit: string
  readonly kind: 'analogue' | 'state' | 'counter'
  readonly reportEveryMs: number
  /** Nothing for this long: stale, its value is no longer evidence. */
  readonly staleAfterMs: number
  /** Last usable value; NaN before the first. */
  value: number
  /** Event time of that value; -1 before the first. */
  sourceMs: number
  /** Event time of the newest live reading, usable or not; -1 before the first. */
  stampMs: number
  /** Steady clock when that reading got here. */
  steadyMs: number
  /** Event time since when there is no usable value (bad or stale); null: usable, or never heard. */
  heldSinceMs: number | null
  /** It came since the start, but late or retained: something is connected, and nothing of it can be judged. */
  cameLate: boolean
  /** Event time since when it is at work: a state that reads 1, a counter that rises; null: at rest. */
  busySinceMs: number | null
  /** Event time of the last reading that found it at work, or that ended its work; -1: never. */
  lastBusyMs: number
  /** Event time of the first usable value of a state or counter; -1 before it. */
  firstMs: number
  /** Interval of a computed value; NaN where it has none. */
  low: number
  high: number
  /** Smallest step it can show. */
  readonly resolution: number
  /** Rain: at work while it falls. */
  readonly falls: boolean
  /** A vital: withheld until it can be told, which is no fault of an instrument. */
  readonly computed: boolean
}

export function remember(key: string, site: number, s: Pick<Signal, 'quantity' | 'unit' | 'reportEveryMs' | 'resolution'>): SignalMemory {
  return blank(key, site, s.unit, QUANTITIES[s.quantity].kind, s.reportEveryMs, s.resolution, false, s.quantity === 'rain')
}

/** A computed signal: it speaks when it moves and at least every `reportEveryMs`, and takes its word back itself. */
export function rememberVital(key: string, site: number, v: { readonly unit: string; readonly digits: number; readonly reportEveryMs: number }): SignalMemory {
  return blank(key, site, v.unit, 'analogue', v.reportEveryMs, 10 ** -v.digits, true)
}

function blank(key: string, site: number, unit: string, kind: SignalMemory['kind'], reportEveryMs: number, resolution: number, computed: boolean, falls = false): SignalMemory {
  return {
    key,
    site,
    unit,
    kind,
    reportEveryMs,
    staleAfterMs: 3 * reportEveryMs + LINK_MS,
    value: Number.NaN,
    sourceMs: -1,
    stampMs: -1,
    steadyMs: 0,
    heldSinceMs: null,
    cameLate: false,
    busySinceMs: null,
    lastBusyMs: -1,
    firstMs: -1,
    low: Number.NaN,
    high: Number.NaN,
    resolution,
    falls,
    computed,
  }
}

/** The values a rule may judge: a live figure that is not bad, nor a stand-in for one that did not come. */
export function usable(r: Pick<Reading, 'live' | 'value' | 'quality' | 'sub'>): boolean {
  return r.live && r.value !== null && r.quality !== 'bad' && r.sub !== 'last_usable' && r.sub !== 'initial'
}

export const heard = (m: SignalMemory): boolean => m.sourceMs >= 0
export const known = (m: SignalMemory): boolean => m.sourceMs >= 0 && m.heldSinceMs === null

/** Takes in a usable reading. */
export function learn(m: SignalMemory, value: number, atMs: number, steadyMs: number): void {
  if (m.kind !== 'analogue' || m.falls) {
    const busy = m.kind === 'counter' ? m.sourceMs >= 0 && value > m.value : value !== 0
    if (m.sourceMs < 0) m.firstMs = atMs
    if (busy || m.busySinceMs !== null) m.lastBusyMs = atMs
    if (!busy) m.busySinceMs = null
    else if (m.busySinceMs === null) m.busySinceMs = atMs
  }
  m.value = value
  m.sourceMs = atMs
  m.stampMs = atMs
  m.steadyMs = steadyMs
  m.heldSinceMs = null
}

/** Takes in how sure a computed value is. */
export function learnInterval(m: SignalMemory, interval: Reading['interval']): void {
  m.low = interval?.low ?? Number.NaN
  m.high = interval?.high ?? Number.NaN
}

/** Takes in a live reading without a usable figure, or the end of a signal's trustworthy span. */
export function doubt(m: SignalMemory, atMs: number): void {
  m.heldSinceMs ??= atMs
  m.busySinceMs = null
}

/** The present in event time as far as this signal can tell: its newest stamp plus what has passed since it got here. */
export const presentOf = (m: SignalMemory, steadyMs: number): number => m.stampMs + (steadyMs - m.steadyMs)
