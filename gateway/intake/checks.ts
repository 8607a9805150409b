/**
 * What a raw reading is worth: its time, its quality, and whether it is news. One pure function, (state of the signal,
 * raw reading, signal) -> reading and next state. The quality tests (qartod-stream.ts) say what is unusual about a value; they
 * never change it, and only what no working sensor can report is bad and so holds an alarm.
 */
import type { Amendment } from '../history/history.ts'
import { convert } from '../site/convert.ts'
import { QUANTITIES } from '../site/quantity.ts'
import { keyOf, type ClockState, type Quality, type Reading } from '../site/reading.ts'
import type { Signal, StageKind } from '../site/site.ts'
import { UNITS } from '../site/units.ts'
import type { RawReading } from './payload.ts'
import { worthOf, type Worth } from './qartod.ts'
import { checksFor } from './qartod-defaults.ts'
import type { CheckSpec } from './qartod-spec.ts'
import type { CheckRow } from './qartod-series.ts'
import { checkRow, unchecked, type CheckState } from './qartod-stream.ts'
import { reject, shown, type Reject } from './reject-codes.ts'

export interface ClockLimits {
  /** Furthest a source time may lie ahead of ours. */
  readonly maxFutureMs: number
  /** Oldest a stored-up reading may be. */
  readonly maxAgeMs: number
  /** Before this no loop of ours ran: a stamp from there is a clock that lost its setting. */
  readonly notBeforeMs: number
}

/** 2020-01-01T00:00:00Z. */
export const CLOCK_LIMITS: ClockLimits = { maxFutureMs: 120_000, maxAgeMs: 7 * 86_400_000, notBeforeMs: 1_577_836_800_000 }

/** What the checks need of a signal, worked out once. */
export interface SignalSpec {
  readonly key: string
  readonly isState: boolean
  /** UCUM. */
  readonly unit: string
  readonly checks: CheckSpec
  /** Older than this on arrival is late: two reports, or one and two minutes for the link, whichever is more. */
  readonly liveWithinMs: number
}

/** `stage`: kind of the stage it belongs to; null: none. */
export const specOf = (site: string, s: Signal, stage: StageKind | null = null): SignalSpec => ({
  key: keyOf(site, s.id),
  isState: QUANTITIES[s.quantity].kind === 'state',
  unit: s.unit,
  checks: checksFor(s, { stage, ...(s.checks && { override: s.checks }) }),
  liveWithinMs: Math.max(2 * s.reportEveryMs, s.reportEveryMs + 120_000),
})

/** What a signal remembers between readings. */
export interface SignalState {
  /** Source time of the newest live reading; after a restart, of the newest stored one. */
  readonly newestMs: number
  /** Its value; undefined: not known, after a restart. */
  readonly newestValue: number | null | undefined
  /** Newest time that was ours and not the sender's, live or not. */
  readonly givenMs: number
  /** Since when it has had that value, as far as live readings tell. */
  readonly sinceMs: number
  /** Our time when a reading last came live with a time of its own: its clock was right then. */
  readonly rightMs: number
  readonly checks: CheckState
}

const NEVER = Number.NEGATIVE_INFINITY
export const neverHeard: SignalState = { newestMs: NEVER, newestValue: undefined, givenMs: NEVER, sinceMs: NEVER, rightMs: NEVER, checks: unchecked }
export const heardUntil = (sourceMs: number, rightMs = NEVER): SignalState => ({ ...neverHeard, newestMs: sourceMs, rightMs })

export interface Arrival {
  readonly receivedMs: number
  /** A retained value is old by definition: stored, never live. */
  readonly retained: boolean
}

/** When a reading was taken, as far as we believe it. `backlog`: the stamp is old rather than wrong, so it is no news. */
export interface Stamp {
  readonly sourceMs: number
  readonly clock: ClockState
  readonly backlog: boolean
}

const isPlausible = (sentMs: number, receivedMs: number, c: ClockLimits): boolean =>
  sentMs <= receivedMs + c.maxFutureMs && sentMs >= receivedMs - c.maxAgeMs && sentMs >= c.notBeforeMs

/**
 * Times of the readings of one message. An implausible one is replaced by the time of arrival; when a block of rows carries
 * implausible times, its newest row takes the time of arrival and the others keep their distance from it, because a clock
 * that is set wrong still counts the minutes rightly.
 */
export function stampAll(raws: readonly RawReading[], receivedMs: number, c: ClockLimits = CLOCK_LIMITS): readonly Stamp[] {
  let newestSuspect = Number.NEGATIVE_INFINITY
  for (const r of raws) if (r.sentMs !== null && r.sentMs > newestSuspect && !isPlausible(r.sentMs, receivedMs, c)) newestSuspect = r.sentMs
  const out: Stamp[] = []
  let stamp: Stamp | null = null
  let last: number | null = null
  for (const { sentMs } of raws) {
    // Most messages hold one time for all their readings.
    if (stamp === null || sentMs !== last) stamp = stampOf(sentMs, receivedMs, newestSuspect, c)
    last = sentMs
    out.push(stamp)
  }
  return out
}

function stampOf(sentMs: number | null, receivedMs: number, newestSuspect: number, c: ClockLimits): Stamp {
  if (sentMs === null) return { sourceMs: receivedMs, clock: 'none', backlog: false }
  if (isPlausible(sentMs, receivedMs, c)) return { sourceMs: sentMs, clock: 'ok', backlog: false }
  const before = newestSuspect - sentMs
  return { sourceMs: receivedMs - (before <= c.maxAgeMs ? before : 0), clock: 'suspect', backlog: sentMs >= c.notBeforeMs && sentMs < receivedMs }
}

/**
 * new: not seen so far as we know. repeat: the very reading we had last, dropped. conflict: same time as the one we had
 * last, another value; the store keeps it as a correction.
 */
export type Judged =
  | {
      readonly ok: true
      readonly news: 'new' | 'repeat' | 'conflict'
      readonly reading: Reading
      readonly state: SignalState
      /** The reading before this one turns out to have been a spike, which only its right neighbour could show: what is to be said of it from now on. */
      readonly spike: Amendment | null
    }
  | Reject

/** What the surroundings of the signal say of this reading (checks-around.ts). */
type Surroundings = Pick<CheckRow, 'runs' | 'event' | 'partner' | 'second'>

/** Messages without a time that arrive within the same millisecond are told apart by counting on from the last one, this far at most. */
const MOST_COUNTED_ON_MS = 10_000

/** Judges one reading. Rejects NOT_A_NUMBER for true or false on a signal that is no state, and UNIT. */
export function judge(state: SignalState, raw: RawReading, stamp: Stamp, spec: SignalSpec, arrival: Arrival, around?: (atMs: number) => Surroundings): Judged {
  if (typeof raw.value === 'boolean' && !spec.isState) return reject('NOT_A_NUMBER', `${shown(raw.signal)} is true or false, but measures a quantity: send its figure`)
  const value = typeof raw.value === 'boolean' ? Number(raw.value) : raw.unit === undefined ? raw.value : inUnit(raw.value, raw.unit, spec.unit)
  if (value === undefined) return reject('UNIT', `${shown(raw.signal)} is in "${shown(spec.unit)}" and was sent in "${shown(raw.unit ?? '', 20)}", which cannot be turned into it`)
  const known = stamp.sourceMs === state.newestMs
  const repeat = known && value === state.newestValue
  const ours = stamp.clock !== 'ok' && stamp.sourceMs === arrival.receivedMs
  const lastMs = Math.max(state.newestMs, state.givenMs)
  const countedOn = ours && !repeat && stamp.sourceMs <= lastMs && lastMs - stamp.sourceMs < MOST_COUNTED_ON_MS
  const sourceMs = countedOn ? lastMs + 1 : stamp.sourceMs
  const newer = sourceMs > state.newestMs
  const live = newer && !arrival.retained && !stamp.backlog && arrival.receivedMs - sourceMs <= spec.liveWithinMs
  const news = repeat ? 'repeat' : known && !countedOn && state.newestValue !== undefined ? 'conflict' : 'new'
  const checked = checkRow(state.checks, around ? { atMs: sourceMs, value, ...around(sourceMs) } : { atMs: sourceMs, value }, spec.checks)
  const { quality, sub, qc } = assess(value, raw.quality, stamp.clock, worthOf(checked.tests), spec, arrival)
  const reading: Reading = { key: spec.key, sourceMs, receivedMs: arrival.receivedMs, value, quality, sub, qc, clock: stamp.clock, live }
  // A retained value says nothing about the order of things, a repeat nothing new.
  const counts = news === 'new' && !arrival.retained
  const checks = counts ? checked.state : state.checks
  const { correction } = checked
  const spike: Amendment | null =
    counts && correction !== null && correction.flag !== correction.was && correction.flag !== 1 ? { key: spec.key, sourceMs: correction.atMs, ...worthOf(correction.tests) } : null
  // Only live readings move the newest on: a retained or late one must not make the live copy of itself look like a repeat.
  const givenMs = ours && !repeat ? sourceMs : state.givenMs
  const rightMs = stamp.clock === 'ok' ? arrival.receivedMs : state.rightMs
  const sinceMs = value === state.newestValue ? state.sinceMs : sourceMs
  if (live) return { ok: true, news, reading, state: { newestMs: sourceMs, newestValue: value, givenMs, sinceMs, rightMs, checks }, spike }
  return { ok: true, news, reading, state: givenMs === state.givenMs && checks === state.checks ? state : { ...state, givenMs, checks }, spike }
}

/** The figure in the signal's unit; undefined: there is no way from one to the other. Its display text is taken for the unit itself. */
function inUnit(value: number | null, from: string, to: string): number | null | undefined {
  if (value === null || from === to || from === UNITS[to]?.text) return value
  const turned = convert(value, from, to)
  // 950 ug/L are 0.95 mg/L, not 0.9500000000000001.
  return turned === null ? undefined : Number(turned.toPrecision(12))
}

/** Worst finding first. Limits themselves pass. `tested`: what the quality tests make of the value. */
function assess(value: number | null, sent: Quality | null, clock: ClockState, tested: Worth, spec: SignalSpec, arrival: Arrival): Worth {
  if (tested.quality === 'bad') return tested
  if (spec.isState && value !== 0 && value !== 1) return NO_STATE
  if (sent === 'bad') return DISOWNED
  if (sent === 'uncertain') return { ...DOUBTED, qc: tested.qc }
  if (arrival.retained && clock !== 'ok') return { ...OF_UNKNOWN_AGE, qc: tested.qc }
  return clock === 'suspect' && tested.quality === 'good' ? { ...BAD_CLOCK, qc: tested.qc } : tested
}

const BAD_CLOCK = { quality: 'uncertain', sub: 'clock_suspect' } as const
/** Kept by the broker, since when nobody can say: a start value, not a measurement of now, so it draws no trend line. */
const OF_UNKNOWN_AGE = { quality: 'uncertain', sub: 'initial' } as const
/** The sender's own doubt is NE 107 "out of specification". */
const DOUBTED = { quality: 'uncertain', sub: 'not_accurate' } as const
/** The sender says its device failed: no test of ours says anything about such a value. */
const DISOWNED: Worth = { quality: 'bad', sub: 'device_failure', qc: 2 }
/** A state is 0 or 1. */
const NO_STATE: Worth = { quality: 'bad', sub: 'sensor_failure', qc: 4 }
