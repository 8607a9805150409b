/**
 * The thresholds a signal starts with. None is tuned on data of wash-water loops; a site file changes them per signal. Where no source
 * and no practice gives a threshold that fits, the test is off rather than guessed.
 *
 * Attenuated signal is off for every quantity: a loop that rests over a weekend is quiet for good reason, and the printed example
 * (12 h, 0.1 / 0.2) leaves no room between suspect and fail. Multivariate and neighbour need a partner, which a site file names.
 */
import { QUANTITIES, type Quantity } from '../site/quantity.ts'
import type { Signal, StageKind } from '../site/site.ts'
import type { CheckOverride } from './qartod-override.ts'
import type { AttenuatedSpec, CheckSpec, FlatSpec, MovingEvent, RateSpec, SpikeSpec, SpreadSpec } from './qartod-spec.ts'

const HOUR = 3_600_000
const MANUAL = 'IOOS QARTOD pH manual v1.0 (2019)'
const SCRIPTS = 'public quality scripts of a US EPA estuary programme'
const PUBLIC = 'public implementation of the QARTOD oxygen tests'
const PRACTICE = 'common practice, no source'

/** A threshold and where it comes from. */
export interface Sourced<T> {
  readonly is: T
  readonly source: string
}

export interface Start {
  /** Only for tanks where it means something; null: any. */
  readonly user?: Sourced<readonly [number, number]> & { readonly stages: readonly StageKind[] | null }
  readonly spike?: Sourced<SpikeSpec>
  readonly rate?: Sourced<{ readonly suspectPerS: number; readonly leastMs: number } | { readonly deviations: number; readonly overMs: number }>
}

/**
 * Spikes by the differential method, which flags the spike and not its neighbours: the thresholds were published for the average
 * method, and both give the same figure for a lone spike.
 */
export const STARTS: Partial<Record<Quantity, Start>> = {
  ph: {
    user: { is: [6, 9], stages: ['treatment', 'bio', 'finished'], source: `${MANUAL}, where the two numbers are printed swapped` },
    spike: { is: { method: 'differential', suspect: 0.25, fail: 0.5 }, source: `${SCRIPTS}, least of 0.25 to 1 and 0.5 to 2` },
    rate: { is: { suspectPerS: 0.2 / 300, leastMs: 300_000 }, source: `0.2 per 5 min, ${PRACTICE}` },
  },
  do: {
    user: { is: [0, 15], stages: null, source: SCRIPTS },
    spike: { is: { method: 'differential', suspect: 4, fail: 8 }, source: PUBLIC },
    rate: { is: { deviations: 3, overMs: 25 * HOUR }, source: PUBLIC },
  },
  temperature: { rate: { is: { deviations: 3, overMs: 24 * HOUR }, source: SCRIPTS } },
}

/** No change for 24 h is suspect, for 72 h fails; through a happening that must move the signal it is suspect at once (common practice, no source). */
export const STILL = { suspectMs: 24 * HOUR, failMs: 72 * HOUR, source: PRACTICE } as const

/** Where standing still means nothing: nothing there, nothing flowing, full. */
const ZERO_IS_AN_END: readonly Quantity[] = ['do', 'level', 'flow', 'pressure', 'current', 'voltage', 'conductivity', 'turbidity', 'ozone', 'h2s', 'humidity', 'rain']
const HUNDRED_IS_AN_END: readonly Quantity[] = ['level', 'humidity']

/** null: standing still is no sign at all. */
function movesOf(q: Quantity, stage: StageKind | null): readonly MovingEvent[] | null {
  switch (q) {
    case 'do':
      // Further down the train the food of a wash hardly arrives, so the oxygen need not move.
      return stage === 'treatment' ? ['air-off', 'wash'] : ['air-off']
    case 'ph':
      return ['dose']
    case 'orp':
      return ['air-off']
    case 'temperature':
      // Air follows the sun within a day; tons of water need not by a whole step.
      return stage === null ? ['day-night'] : []
    case 'level':
      // A tank that runs over into the next stands at its weir for weeks.
      return stage === 'treatment' || stage === 'bio' ? null : stage === 'sump' || stage === 'finished' ? ['wash'] : []
    case 'paper':
      // Paper moves when somebody washes and not otherwise.
      return null
    default:
      return []
  }
}

function flatOf(s: Signal, stage: StageKind | null): FlatSpec | null {
  const moves = movesOf(s.quantity, stage)
  if (moves === null) return null
  return {
    ...stillness(s),
    ends: {
      low: ZERO_IS_AN_END.includes(s.quantity) ? s.resolution : null,
      high: HUNDRED_IS_AN_END.includes(s.quantity) && s.unit === '%' ? 100 - s.resolution : null,
    },
    moves,
  }
}

/** By time alone, no ends. */
const stillness = (s: Signal): FlatSpec => ({
  tol: s.resolution / 2,
  suspectMs: STILL.suspectMs,
  failMs: STILL.failMs,
  minSamples: 3,
  ends: { low: null, high: null },
  moves: [],
  runWhen: null,
})

/** Half of what the interval would give, so that a signal sent only on change, or just begun, is not judged by a few readings. */
const enough = (overMs: number, s: Signal): number => Math.max(10, Math.ceil((0.5 * overMs) / s.sampleEveryMs))

/** Where the signal stands, and what a person changed. */
export interface Given {
  /** Kind of the stage the signal belongs to; null or absent: none, or not known. */
  readonly stage?: StageKind | null
  readonly override?: CheckOverride
}

/** What is tested of a signal. States and counters: gross range only. Ask troublesOf() before using one with an override. */
export function checksFor(s: Signal, given: Given = {}): CheckSpec {
  const stage = given.stage ?? null
  const start: Start = STARTS[s.quantity] ?? {}
  const analogue = QUANTITIES[s.quantity].kind === 'analogue'
  const rate = start.rate?.is
  const slack = slackOf(s)
  const spec: CheckSpec = {
    intervalMs: s.sampleEveryMs,
    gross: { sensor: s.range, user: start.user && (start.user.stages === null || (stage && start.user.stages.includes(stage))) ? inside(start.user.is, s.range) : null },
    spike: start.spike?.is ?? null,
    rate: !rate
      ? null
      : 'suspectPerS' in rate
        ? { slack, suspectPerS: rate.suspectPerS, failPerS: null, leastMs: rate.leastMs, deviations: null }
        : { slack, suspectPerS: null, failPerS: null, deviations: rate.deviations },
    spread: rate && 'overMs' in rate ? { overMs: rate.overMs, minSamples: enough(rate.overMs, s) } : null,
    flat: analogue ? flatOf(s, stage) : null,
    attenuated: null,
    multivariate: null,
    neighbour: null,
  }
  return given.override ? overridden(spec, given.override, s) : spec
}

/** Two steps of the resolution: common practice, no source. */
const slackOf = (s: Signal): number => 2 * s.resolution

/** A sensor with a narrower range than the user limits says nothing outside its own. */
function inside(user: readonly [number, number], sensor: readonly [number, number]): readonly [number, number] | null {
  const low = Math.max(user[0], sensor[0])
  const high = Math.min(user[1], sensor[1])
  return low < high ? [low, high] : null
}

function overridden(d: CheckSpec, o: CheckOverride, s: Signal): CheckSpec {
  return {
    intervalMs: d.intervalMs,
    gross: { sensor: d.gross.sensor, user: o.userRange === undefined ? d.gross.user : o.userRange === 'off' ? null : o.userRange },
    spike: changed(o.spike, d.spike, (x): SpikeSpec => ({ method: x.method ?? d.spike?.method ?? 'differential', suspect: x.suspect ?? null, fail: x.fail ?? null })),
    rate: changed(
      o.rate,
      d.rate,
      (x): RateSpec => ({
        slack: x.slack ?? slackOf(s),
        suspectPerS: x.suspect ? x.suspect.by / (x.suspect.within / 1000) : null,
        leastMs: Math.max(x.suspect?.within ?? 0, x.fail?.within ?? 0),
        failPerS: x.fail ? x.fail.by / (x.fail.within / 1000) : null,
        deviations: x.deviations ?? null,
      }),
    ),
    spread: changed(
      o.spread,
      d.spread ?? (needsSpread(o) ? { overMs: 25 * HOUR, minSamples: enough(25 * HOUR, s) } : null),
      (x): SpreadSpec => ({
        overMs: x.over,
        minSamples: x.minSamples ?? enough(x.over, s),
      }),
    ),
    flat: changed(o.flat, d.flat, (x): FlatSpec => {
      const was = d.flat ?? stillness(s)
      return {
        tol: x.tolerance ?? was.tol,
        suspectMs: x.suspectAfter ?? was.suspectMs,
        failMs: x.failAfter ?? was.failMs,
        minSamples: was.minSamples,
        ends: x.ends ? { low: x.ends[0], high: x.ends[1] } : was.ends,
        moves: x.moves ?? was.moves,
        runWhen: x.runWhen ?? was.runWhen,
      }
    }),
    attenuated: changed(
      o.attenuated,
      d.attenuated,
      (x): AttenuatedSpec => ({
        method: x.method,
        suspect: x.suspect,
        fail: x.fail,
        overMs: x.over,
        minSamples: x.minSamples ?? enough(x.over, s),
      }),
    ),
    multivariate: changed(o.multivariate, d.multivariate, (x) => x),
    neighbour: changed(o.neighbour, d.neighbour, (x) => x),
  }
}

/** The default where nothing is said, nothing where it says off, else what `make` makes of it. */
const changed = <O, T>(over: O | 'off' | undefined, was: T | null, make: (o: Exclude<O, 'off'>) => T): T | null =>
  over === undefined ? was : over === 'off' ? null : make(over as Exclude<O, 'off'>)

const needsSpread = (o: CheckOverride): boolean =>
  (typeof o.rate === 'object' && o.rate.deviations !== undefined) || typeof o.multivariate === 'object' || typeof o.neighbour === 'object'
