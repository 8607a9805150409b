/** The checks over all readings of one message: oldest first, whatever their order in it. */
import type { Reading } from '../site/reading.ts'
import type { Amendment } from '../history/history.ts'
import { judge, stampAll, type Arrival, type ClockLimits, type SignalSpec, type SignalState, type Stamp } from './checks.ts'
import { surroundings, type Around } from './checks-around.ts'
import type { BadReading, RawReading } from './payload.ts'
import type { Movement } from './qartod-judge.ts'
import { checkRow } from './qartod-stream.ts'

/** A signal we know, with what its checks remember. */
export interface Track {
  readonly spec: SignalSpec
  state: SignalState
  /** null: its surroundings say nothing of it. */
  around: Around | null
}

export interface JudgedMessage {
  /** For the store. */
  readonly batch: Reading[]
  /** Those of `batch` that were not known before, as far as can be told. */
  readonly news: Reading[]
  readonly bad: BadReading[]
  /** Of signals the site file does not hold. */
  readonly strangers: RawReading[]
  /** Exact repeats of the newest reading. */
  repeats: number
  /** Readings told late to have been spikes. */
  readonly spikes: Amendment[]
  /** Former states. */
  readonly undo: { readonly tracks: Track[]; readonly states: SignalState[] }
}

/**
 * A clock that was right so lately is right: a controller that loses its clock comes back with a day years ago, not with one
 * within its store. A day bridges a lost link. Common practice, no source.
 */
const STILL_RIGHT_MS = 24 * 3_600_000

/**
 * How old a stamp may be in this message. Beyond the usual span two things are needed: somebody vouches in the site file that the
 * controller stores so much (`backlogMs`), and a signal of the message was lately live with a right time. A controller whose
 * clock stands months back never was.
 */
function limitsFor(signals: ReadonlyMap<string, Track>, raws: readonly RawReading[], arrival: Arrival, limits: ClockLimits, backlogMs: number | null): ClockLimits {
  if (backlogMs === null || backlogMs <= limits.maxAgeMs) return limits
  const sinceMs = arrival.receivedMs - STILL_RIGHT_MS
  return raws.some((r) => (signals.get(r.signal)?.state.rightMs ?? Number.NEGATIVE_INFINITY) >= sinceMs) ? { ...limits, maxAgeMs: backlogMs } : limits
}

/**
 * Judges the readings and moves the states of their signals on; `undoAll` goes back.
 *
 * backlogMs  how far back the site's own store reaches, where its file vouches for that; null: it does not
 */
export function judgeMessage(
  signals: ReadonlyMap<string, Track>,
  raws: readonly RawReading[],
  arrival: Arrival,
  limits: ClockLimits,
  backlogMs: number | null = null,
): JudgedMessage {
  const out: JudgedMessage = { batch: [], news: [], bad: [], strangers: [], repeats: 0, spikes: [], undo: { tracks: [], states: [] } }
  const stamps = stampAll(raws, arrival.receivedMs, limitsFor(signals, raws, arrival, limits, backlogMs))
  const order = isOutOfOrder(stamps) ? [...stamps.keys()].sort((a, b) => (stamps[a]?.sourceMs ?? 0) - (stamps[b]?.sourceMs ?? 0)) : null
  for (let k = 0; k < raws.length; k++) {
    const raw = raws[order?.[k] ?? k]
    const stamp = stamps[order?.[k] ?? k]
    if (!raw || !stamp) continue
    const track = signals.get(raw.signal)
    if (!track) {
      out.strangers.push(raw)
      continue
    }
    const { around } = track
    const j = judge(
      track.state,
      raw,
      stamp,
      track.spec,
      arrival,
      around
        ? (atMs) =>
            surroundings(around, atMs, (id) =>
              movementIn(
                signals.get(id),
                raws.findIndex((r, i) => r.signal === id && stamps[i]?.sourceMs === atMs),
                raws,
                atMs,
              ),
            )
        : undefined,
    )
    if (!j.ok) out.bad.push({ signal: raw.signal, code: j.code, detail: j.detail })
    else if (j.news === 'repeat') out.repeats++
    else {
      out.batch.push(j.reading)
      if (j.news === 'new') out.news.push(j.reading)
      if (j.spike) out.spikes.push(j.spike)
      if (j.state !== track.state) {
        out.undo.tracks.push(track)
        out.undo.states.push(track.state)
        track.state = j.state
      }
    }
  }
  return out
}

/** The newest movement of a companion. Its reading of the same time may stand later in the same message: it is looked at, and changes nothing. */
function movementIn(track: Track | undefined, at: number, raws: readonly RawReading[], atMs: number): Movement | null {
  if (!track) return null
  const { checks } = track.state
  const value = raws[at]?.value
  if (checks.lastMs >= atMs || typeof value !== 'number' || raws[at]?.unit !== undefined) return checks.movement
  return checkRow(checks, { atMs, value }, track.spec.checks).state.movement
}

/** Puts every signal back to where it was before the message. */
export function undoAll({ undo }: JudgedMessage): void {
  // Last change first: a signal that stands in several rows has several former states.
  for (let i = undo.tracks.length - 1; i >= 0; i--) {
    const [track, state] = [undo.tracks[i], undo.states[i]]
    if (track && state) track.state = state
  }
}

function isOutOfOrder(stamps: readonly Stamp[]): boolean {
  let last = Number.NEGATIVE_INFINITY
  for (const s of stamps) {
    if (s.sourceMs < last) return true
    last = s.sourceMs
  }
  return false
}
