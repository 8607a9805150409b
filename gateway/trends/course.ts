/**
 * What a span of readings did: did it drift, how fast, and did its level step? For the lane of a trend, over any span a person looks at.
 *
 * Medians of even steps stand for the readings, so that one wash or one wild reading does not pull. The line is Theil-Sen's with its
 * interval; the step is the break that leaves the least. A drift looks like a step to whoever seeks only steps, and the other way round: so a
 * step is told only where it is a better account of the span than one straight line (Schwarz's criterion), and a line through a step says so.
 * sources  as in theil-sen.ts, mann-kendall.ts, change-point.ts; Schwarz 1978 (Annals of Statistics 6: 461) for the better account
 * cost     O(steps^2) time, MOST_STEPS of them: a few ms
 */
import { fitLine } from '../process/line.ts'
import { type NotObservable, notObservable, positive } from '../process/range.ts'
import { bendOf } from './bend.ts'
import { CHANGE, type ChangePoint, changePoint } from './change-point.ts'
import type { Grid } from './grid.ts'
import { mannKendallCorrected } from './mann-kendall.ts'
import { memoryAboutLine, memoryInflation } from './memory.ts'
import { autocorrelation } from './moments.ts'
import { median } from './order.ts'
import { DAY_MS } from './points.ts'
import { theilSen } from './theil-sen.ts'

const MIN_MS = 60_000
const HOUR_MS = 60 * MIN_MS
const STEPS_MIN = [1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440]
/** Largest F that chance passes once in a hundred series without memory, as in change-point.ts: hours that resemble each other make steps by themselves. */
const CLEAR_F = 12.16
/** More say nothing more, and cost with their square. */
export const MOST_STEPS = 360
const USUAL_STEPS = 48
/** Steps with a figure, at least. */
export const LEAST_STEPS = 20
/** Chance that the interval of the slope, and that of the break, holds the true one. */
export const COURSE_LEVEL = 0.95

export interface Steps {
  readonly fromMs: number
  readonly stepMs: number
  readonly steps: number
}

/**
 * Steps for a span: of an hour where two days to two weeks are looked at, shorter in a shorter span, longer in a longer one; never shorter than
 * readings come. They end where the span ends. source: common practice, no source
 */
export function stepsOf(fromMs: number, toMs: number, readingEveryMs: number): Steps {
  const width = positive('span', toMs - fromMs, 'ms')
  const least = Math.max(width / MOST_STEPS, readingEveryMs, Math.min(HOUR_MS, width / USUAL_STEPS) / 2)
  const ladder = STEPS_MIN.map((m) => m * MIN_MS)
  const wanted = ladder.findLast((s) => s <= Math.min(HOUR_MS, width / USUAL_STEPS)) ?? MIN_MS
  const stepMs = wanted >= least ? wanted : (ladder.find((s) => s >= least) ?? Math.ceil(least / DAY_MS) * DAY_MS)
  const steps = Math.max(1, Math.floor(width / stepMs))
  return { fromMs: toMs - steps * stepMs, stepMs, steps }
}

export interface CourseLine {
  /** rising, falling: the interval of the slope leaves zero out. */
  readonly says: 'rising' | 'falling' | 'none told'
  /** Unit of the signal per day; `low <= best <= high`. */
  readonly perDay: { readonly low: number; readonly best: number; readonly high: number }
  /** The line and both edges of its interval turn about this place, the middle of times and values. */
  readonly atMs: number
  readonly value: number
  /** The course is not one straight line. */
  readonly bent: boolean
}

export interface Course {
  readonly line: CourseLine
  readonly step: ChangePoint | NotObservable
  /** Steps with a figure. */
  readonly points: number
}

/**
 * resolution  smallest step of the signal, above zero, its unit
 * withUnit    a figure of the signal in words, for a reason
 * throws      RangeError for a grid of more than 5,000 steps
 */
export function courseOf(g: Grid, resolution: number, withUnit: (v: number) => string): Course | NotObservable {
  positive('resolution', resolution, 'of the signal')
  const at: number[] = []
  const y: number[] = []
  g.value.forEach((v, i) => {
    if (Number.isNaN(v)) return
    at.push(i)
    y.push(v)
  })
  const n = at.length
  if (n < LEAST_STEPS) return notObservable(`only ${n} of ${g.value.length} steps of ${lengthOf(g.stepMs)} have readings and ${LEAST_STEPS} are needed`)
  const [least, most] = y.reduce(([a, b], v) => [Math.min(a, v), Math.max(b, v)], [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY])
  if (least === most) return notObservable(`it did not move at all: ${withUnit(least)} throughout`)
  // What is smaller than two steps of the instrument may be its rounding and nothing else.
  if (most - least < 1.999 * resolution) return notObservable(`it moved by less than two of its own steps of ${withUnit(resolution)}`)
  return { line: lineOf(g, at, y, resolution), step: stepIn(g, at, y, resolution), points: n }
}

function lineOf(g: Grid, at: readonly number[], y: readonly number[], resolution: number): CourseLine {
  const plain = theilSen(at, y)
  const corrected = mannKendallCorrected(g.value)
  const inflation = Math.max(1, 'because' in corrected ? 1 : corrected.inflation, memoryAboutLine(g.value, plain.slope))
  const line = theilSen(at, y, { level: COURSE_LEVEL, ranks: 'rounded', inflation })
  const perDay = DAY_MS / g.stepMs
  return {
    says: line.low > 0 ? 'rising' : line.high < 0 ? 'falling' : 'none told',
    perDay: { low: line.low * perDay, best: line.slope * perDay, high: line.high * perDay },
    atMs: g.fromMs + (median(at) + 0.5) * g.stepMs,
    value: median(y),
    bent: (bendOf(at, y, resolution)?.strength ?? 0) > 1,
  }
}

function stepIn(g: Grid, at: readonly number[], y: readonly number[], resolution: number): ChangePoint | NotObservable {
  const atMs = Float64Array.from(at, (i) => g.fromMs + (i + 0.5) * g.stepMs)
  const found = changePoint({ atMs, value: Float64Array.from(y), missing: g.holes }, { ...CHANGE, level: COURSE_LEVEL, resolution })
  if ('because' in found) return found
  const inflation = memoryAbout(g, at[found.lastBefore] as number, found)
  if (found.largestF / inflation < CLEAR_F) return notObservable('no split into a before and an after is more than chance gives')
  // Steps that resemble their neighbours count as fewer.
  const n = Math.max(2, y.length / inflation)
  const floor = resolution ** 2 / 12
  const criterion = (squares: number, parameters: number): number => n * Math.log(Math.max(squares / y.length, floor)) + parameters * Math.log(n)
  const line = fitLine(at, y)
  if (criterion(line.residual ** 2 * (y.length - 2), 3) <= criterion(found.squaresWith, 4)) return notObservable('one straight line accounts for it better than a step')
  return found
}

/** Of neighbouring steps about the two levels; two means, and the choice of the split, take some of it away with them: about 4 + 8 r parts of n. */
function memoryAbout(g: Grid, lastBefore: number, c: ChangePoint): number {
  const off = g.value.map((v, i) => v - (i <= lastBefore ? c.before : c.after))
  const n = off.reduce((sum, v) => sum + (Number.isNaN(v) ? 0 : 1), 0)
  return memoryInflation(((autocorrelation(off, 1)[1] as number) + 4 / n) / Math.max(0.5, 1 - 8 / n), n)
}

/** "10 min", "1 h", "2 d". */
function lengthOf(ms: number): string {
  return ms < HOUR_MS ? `${ms / MIN_MS} min` : ms < DAY_MS ? `${ms / HOUR_MS} h` : `${ms / DAY_MS} d`
}
