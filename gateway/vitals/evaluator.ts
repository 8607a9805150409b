/**
 * Vitals of one loop as its readings come in: readings and log entries in, computed readings out.
 *
 * Time is that of the readings. Every minute of it ("beat") what depends on the newest readings is computed, every full hour what stands on
 * sums, and what stands on a test, a wash or a night when that is over. A figure is given out when it has moved by a shown digit, and at least
 * every quarter of an hour; so no vital gives more than one reading a minute. When a figure can no longer be told one bad reading without a
 * value says so, and then nothing until it can. The same readings give the same vitals however they are grouped into messages.
 *
 * A reading older than the newest of its signal is late: it is counted and changes nothing, since what has been told stays told. A repeated one is
 * the same. A signal of another loop, or one no vital knows, is passed by. Time that jumps ahead skips the beats between.
 */
import type { LogEntry } from '../log/entry.ts'
import { keyOf, type Reading } from '../site/reading.ts'
import { reportEveryMs, type Site } from '../site/site.ts'
import { vitalsIn } from './catalogue.ts'
import { type Grade, NOTHING, worst } from './grade.ts'
import type { Kept } from './memory.ts'
import { type Explanation, type Outcome, type Vital, type VitalDef, withheld } from './vital.ts'
import { createWorks } from './works.ts'

export const BEAT_MS = 60_000
const HOUR_MS = 3_600_000
/** A figure that does not move is given this often. */
const AGAIN_MS = 15 * 60_000

export interface Vitals {
  readonly defs: readonly VitalDef[]
  /** Readings of this loop, stored a moment ago. Gives computed readings in the order of their times. */
  take(readings: readonly Reading[]): readonly Reading[]
  /** An entry of the site log; also those of the past, when the work begins. */
  note(entry: LogEntry): void
  /** What is known of a vital now; null: no such vital. */
  explain(id: string): Explanation | null
  explainAll(): readonly Explanation[]
  /** Plain data to go on from after a restart. */
  keep(): Kept
  /** With `keep()`: plain data to go on from as if there had been no restart. */
  running(): Running
  /** Since when these vitals remember, ms of event time; null: they have heard nothing. 0: since before this was written down. */
  sinceMs(): number | null
  readonly counts: { readonly taken: number; readonly late: number; readonly given: number }
}

/** JSON: what stands between two readings and is not worth remembering over a restart, except where a past is gone through in order. */
export interface Running {
  readonly nextBeatMs: number | null
  readonly hourMs: number | null
  readonly logged: boolean
  readonly slots: Readonly<Record<string, { readonly atMs: number; readonly value: number | null; readonly grade: Grade }>>
  readonly desks: Readonly<
    Record<string, { readonly version: number; readonly givenMs: number; readonly givenValue: number | null; readonly givenGrade: Grade } | { readonly version: number }>
  >
}

interface Desk {
  readonly vital: Vital
  readonly key: string
  readonly digit: number
  outcome: Outcome
  version: number
  /** Last reading given: when, and its value; undefined: none. */
  givenMs: number
  givenValue: number | null | undefined
  /** Quality last given, so that a change of it is told at once. */
  givenGrade: Grade
}

export function createVitals(site: Site, kept: Kept | null = null, running: Running | null = null): Vitals {
  const works = createWorks(site, kept)
  const since = works.memory.of<{ ms: number | null }>('since', () => ({ ms: kept ? 0 : null }))
  const nothing = withheld('nothing was heard since the start', 'A reading')
  const desks: readonly Desk[] = vitalsIn(works).map((vital) => ({
    vital,
    key: keyOf(site.id, vital.def.id),
    digit: 10 ** -vital.def.digits,
    outcome: vital.def.unobservable ? withheld(vital.def.unobservable.why, vital.def.unobservable.unlock) : nothing,
    version: -1,
    givenMs: Number.NEGATIVE_INFINITY,
    givenValue: undefined,
    givenGrade: NOTHING,
  }))
  const active = desks.filter((d) => d.vital.def.unobservable === null)
  const byId = new Map(desks.map((d) => [d.vital.def.id, d]))
  const beatMs = Math.max(BEAT_MS, Math.min(15 * BEAT_MS, reportEveryMs(site)))
  const counts = { taken: 0, late: 0, given: 0 }
  let nextBeatMs = running?.nextBeatMs ?? Number.NEGATIVE_INFINITY
  let hourMs = running?.hourMs ?? Number.NEGATIVE_INFINITY
  let logged = running?.logged ?? false
  if (running) {
    for (const slot of works.slots.all()) Object.assign(slot, running.slots[slot.signal.id])
    for (const d of desks) Object.assign(d, running.desks[d.vital.def.id])
  }

  const beat = (atMs: number, r: Reading, out: Reading[]): void => {
    const hour = Math.floor(atMs / HOUR_MS) * HOUR_MS
    const hourly = hour > hourMs || logged
    hourMs = Math.max(hourMs, hour)
    logged = false
    for (const d of active) {
      const { pace } = d.vital
      if (pace === 'event') {
        const version = d.vital.version()
        if (version === d.version) continue
        d.version = version
      } else if (pace === 'hour' && !hourly) continue
      d.outcome = outcomeOf(d.vital, atMs)
      give(d, atMs, r, out)
    }
  }

  const give = (d: Desk, atMs: number, r: Reading, out: Reading[]): void => {
    const { outcome } = d
    const told = outcome.kind === 'told' && Number.isFinite(outcome.value)
    const grade = told ? outcome.grade : NOTHING
    const value = told && grade.quality !== 'bad' ? outcome.value : null
    // A vital that never told anything has nothing to take back.
    if (value === null && (d.givenValue === undefined || d.givenValue === null)) return
    const moved = value === null || d.givenValue === null || d.givenValue === undefined || Math.abs(value - d.givenValue) >= d.digit
    const event = d.vital.pace === 'event'
    if (!moved && !event && grade.quality === d.givenGrade.quality && atMs - d.givenMs < AGAIN_MS) return
    // A test speaks of its own end, unless that has been told already: then of now.
    const speaksOf = event && outcome.atMs !== null && outcome.atMs > d.givenMs ? Math.min(atMs, Math.round(outcome.atMs)) : atMs
    if (speaksOf <= d.givenMs) return
    const g = value === null ? worst([grade, NOTHING]) : grade
    out.push({
      key: d.key,
      sourceMs: speaksOf,
      receivedMs: r.receivedMs,
      value,
      quality: g.quality,
      sub: g.sub,
      qc: g.qc,
      clock: r.clock === 'suspect' ? 'suspect' : 'ok',
      live: r.live,
      ...(value !== null && told && outcome.interval !== null && { interval: outcome.interval }),
    })
    counts.given++
    d.givenMs = speaksOf
    d.givenValue = value
    d.givenGrade = g
  }

  return {
    defs: desks.map((d) => d.vital.def),
    take(readings) {
      const out: Reading[] = []
      for (const r of readings) {
        if (r.sourceMs >= nextBeatMs) {
          if (nextBeatMs !== Number.NEGATIVE_INFINITY) beat(nextBeatMs, r, out)
          nextBeatMs = (Math.floor(r.sourceMs / beatMs) + 1) * beatMs
        }
        const was = works.slots.take(r)
        if (was === 'taken') {
          counts.taken++
          since.ms ??= r.sourceMs
        } else if (was === 'late') counts.late++
      }
      return out
    },
    note(entry) {
      if (entry.site !== site.id) return
      works.book.note(entry)
      logged = true
    },
    explain(id) {
      const d = byId.get(id)
      return d ? { def: d.vital.def, outcome: d.outcome } : null
    },
    explainAll: () => desks.map((d) => ({ def: d.vital.def, outcome: d.outcome })),
    keep: () => works.memory.keep(),
    running: () => ({
      nextBeatMs: finite(nextBeatMs),
      hourMs: finite(hourMs),
      logged,
      slots: Object.fromEntries(works.slots.all().flatMap(({ signal, atMs, value, grade }) => (finite(atMs) === null ? [] : [[signal.id, { atMs, value, grade }]]))),
      desks: Object.fromEntries(
        desks.map(({ vital, version, givenMs, givenValue, givenGrade }) => [vital.def.id, { version, ...(givenValue !== undefined && { givenMs, givenValue, givenGrade }) }]),
      ),
    }),
    sinceMs: () => since.ms,
    counts,
  }
}

const finite = (ms: number): number | null => (Number.isFinite(ms) ? ms : null)

/** Formulas refuse what they do not cover (a temperature of 60 degrees) with a RangeError; that is the loop's doing, so the vital says it. */
function outcomeOf(vital: Vital, atMs: number): Outcome {
  try {
    return vital.compute(atMs)
  } catch (e) {
    if (e instanceof RangeError) return withheld(`a reading lies outside what the formula covers: ${e.message}`, 'A look at the probes', [], atMs)
    throw e
  }
}
