/**
 * The quality tests of one signal, reading by reading: (state, row, spec) -> flags and the next state. Nothing is altered in place, so a
 * state can be gone back to.
 *
 * Memory of a signal is bounded whatever it sends: two readings, twelve more for a rate over a span, up to 8 + 8 corners of a flat line and up to twice 8 summaries of
 * five numbers; no readings are kept. A spike is told one reading late, as a correction of the reading before.
 */
import type { QcFlag } from '../site/reading.ts'
import { longer } from './qartod-compare.ts'
import { summary, withFlag, type TestFlags } from './qartod.ts'
import { anchored, heldAgainst, type Anchor } from './qartod-anchors.ts'
import { atEnd, extendFlat, flatFlag, startFlat, stillSince, type FlatRun } from './qartod-flat.ts'
import { attenuatedFlag, companyFlag, grossFlag, rateFlag, spikeFlag, type Movement } from './qartod-judge.ts'
import type { CheckRow } from './qartod-series.ts'
import { flatGapMs, gapMs, type CheckSpec, type FlatSpec } from './qartod-spec.ts'
import { deviation, movedTo, total, withValue, type Spans } from './qartod-spans.ts'

export interface CheckState {
  /** Newest row of any kind. */
  readonly lastMs: number
  /** Its value and flags, and the value of the row before it; null where they are no neighbours for a spike. */
  readonly last: number | null
  readonly lastTests: TestFlags
  readonly before: number | null
  /** Newest row with a figure a sensor can report. */
  readonly figureMs: number
  readonly figure: number
  /** Its movement, for the signals that keep this one company; only where its deviation is kept. */
  readonly movement: Movement | null
  readonly flat: FlatRun | null
  /** Only for a rate over a span. */
  readonly anchors: readonly Anchor[]
  readonly spread: Spans | null
  readonly variation: Spans | null
}

export const unchecked: CheckState = {
  lastMs: Number.NEGATIVE_INFINITY,
  last: null,
  lastTests: 0,
  before: null,
  figureMs: Number.NEGATIVE_INFINITY,
  figure: 0,
  movement: null,
  flat: null,
  anchors: [],
  spread: null,
  variation: null,
}

/** The reading before this one, now that its right neighbour is known. */
export interface Correction {
  readonly atMs: number
  readonly tests: TestFlags
  readonly flag: QcFlag
  /** What was said of it at first. */
  readonly was: QcFlag
}

export interface Checked {
  readonly tests: TestFlags
  readonly flag: QcFlag
  readonly correction: Correction | null
  readonly state: CheckState
}

/** The flag `flag` for every test of the spec but gross range. */
function otherTests(tests: TestFlags, spec: CheckSpec, flag: QcFlag): TestFlags {
  let t = tests
  if (spec.spike) t = withFlag(t, 'spike', flag)
  if (spec.rate) t = withFlag(t, 'rate', flag)
  if (spec.flat) t = withFlag(t, 'flat', flag)
  if (spec.attenuated) t = withFlag(t, 'attenuated', flag)
  if (spec.multivariate) t = withFlag(t, 'multivariate', flag)
  if (spec.neighbour) t = withFlag(t, 'neighbour', flag)
  return t
}

/**
 * Rows are to come in order of time. One that is not later than the newest gets its gross range and 2 for the rest, and changes
 * nothing: what it would have said of its neighbours is for the series form.
 */
export function checkRow(state: CheckState, row: CheckRow, spec: CheckSpec): Checked {
  const gross = grossFlag(row.value, spec.gross)
  const tests = withFlag(0, 'gross', gross)
  if (row.atMs <= state.lastMs) return done(otherTests(tests, spec, gross === 9 ? 9 : 2), null, state)
  // No figure: the neighbours of a spike are gone, the rest waits for the next one.
  if (row.value === null || gross === 4) {
    const t = otherTests(tests, spec, gross === 9 ? 9 : 2)
    return done(t, null, { ...state, lastMs: row.atMs, last: null, lastTests: t, before: null, movement: null, ...atRest(state, row, spec) })
  }
  return checkFigure(state, row, row.value, tests, spec)
}

/** A row without a figure still says whether the signal is to be watched for standing still. */
const atRest = (state: CheckState, row: CheckRow, spec: CheckSpec): Pick<CheckState, 'flat'> => ({ flat: isRun(row, spec.flat) ? state.flat : null })
const isRun = (row: CheckRow, flat: FlatSpec | null): boolean => flat === null || flat.runWhen === null || row.runs === true

function checkFigure(state: CheckState, row: CheckRow, x: number, gross: TestFlags, spec: CheckSpec): Checked {
  const { atMs } = row
  const gap = gapMs(spec.intervalMs)
  let tests = gross

  const beside = state.last !== null && !longer(atMs - state.lastMs, gap)
  let correction: Correction | null = null
  if (spec.spike) {
    tests = withFlag(tests, 'spike', 2)
    if (beside && state.before !== null && state.last !== null) {
      const judged = withFlag(state.lastTests, 'spike', spikeFlag(state.before, state.last, x, spec.spike))
      correction = { atMs: state.lastMs, tests: judged, flag: summary(judged), was: summary(state.lastTests) }
    }
  }

  let spread = state.spread
  let sd: number | null = null
  if (spec.spread) {
    spread = movedTo(spread, atMs, spec.spread.overMs)
    sd = deviation(total(spread), spec.spread.minSamples)
    spread = withValue(spread, x)
  }
  const sinceMs = atMs - state.figureMs
  const followed = !longer(sinceMs, gap)
  // Most signals keep no company, and this runs for every reading.
  const movement = followed && (spec.spread || spec.multivariate || spec.neighbour) ? { atMs, by: Math.abs(x - state.figure), sd } : null
  const spanMs = spec.rate?.leastMs ?? 0
  const anchors = followed ? state.anchors : []
  if (spec.rate) {
    const from = followed ? (heldAgainst(anchors, atMs, spanMs) ?? { atMs: state.figureMs, x: state.figure }) : null
    tests = withFlag(tests, 'rate', from ? rateFlag(Math.abs(x - from.x), atMs - from.atMs, sd, spec.rate) : 2)
  }

  let flat = state.flat
  if (spec.flat) {
    flat = watched(flat, row, x, spec.flat, spec.intervalMs)
    tests = withFlag(tests, 'flat', flat ? stillness(flat, row, spec.flat, spec.intervalMs) : 2)
  }

  let variation = state.variation
  if (spec.attenuated && spec.attenuated.overMs !== null) {
    variation = withValue(movedTo(variation, atMs, spec.attenuated.overMs), x)
    tests = withFlag(tests, 'attenuated', attenuatedFlag(total(variation), spec.attenuated))
  } else if (spec.attenuated) tests = withFlag(tests, 'attenuated', 2)

  if (spec.multivariate) tests = withFlag(tests, 'multivariate', companyFlag(movement, row.partner ?? null, spec.multivariate, gap))
  if (spec.neighbour) tests = withFlag(tests, 'neighbour', companyFlag(movement, row.second ?? null, spec.neighbour, gap))

  const next = {
    lastMs: atMs,
    last: x,
    lastTests: tests,
    before: beside ? state.last : null,
    figureMs: atMs,
    figure: x,
    movement: spec.spread ? movement : null,
    flat,
    anchors: spanMs > 0 ? anchored(anchors, { atMs, x }, spanMs) : anchors,
    spread,
    variation,
  }
  return done(tests, correction, next)
}

const done = (tests: TestFlags, correction: Correction | null, state: CheckState): Checked => ({ tests, flag: summary(tests), correction, state })

function watched(run: FlatRun | null, row: CheckRow, x: number, flat: FlatSpec, intervalMs: number): FlatRun | null {
  if (!isRun(row, flat) || atEnd(x, flat.ends)) return null
  if (run === null || longer(row.atMs - run.newestMs, flatGapMs(flat, intervalMs))) return startFlat(row.atMs, x)
  return extendFlat(run, row.atMs, x, flat.tol)
}

const stillness = (run: FlatRun, row: CheckRow, flat: FlatSpec, intervalMs: number): QcFlag =>
  flatFlag(flat, row.atMs, row.event ?? null, (fromMs) => stillSince(run, fromMs, intervalMs, flat.minSamples))
