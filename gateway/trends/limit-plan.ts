/** What both forecasts of a limit ask of the readings, and how an uncertain course meets it. */
import { type NotObservable, notObservable, positive, within } from '../process/range.ts'
import type { Outlook } from './outlook.ts'
import { DAY_MS, type Point, type Series, usable } from './points.ts'

export interface LimitPlan {
  /** Unit of the signal. */
  readonly limit: number
  /** The side of the limit that is to be avoided. */
  readonly side: 'above' | 'below'
  /** Smallest step of the signal, its unit. */
  readonly resolution: number
  /** Longer without a reading: only what came after counts. A refill, calibration or part replaced cuts too; the caller begins there. */
  readonly gapMs: number
  readonly leastPoints: number
  readonly leastSpanMs: number
  /** Oldest the newest point may be. */
  readonly freshMs: number
  /** How many times the time observed may be looked ahead. */
  readonly aheadSpans: number
}

export const LIMIT: Pick<LimitPlan, 'leastPoints' | 'aheadSpans'> = { leastPoints: 10, aheadSpans: 3 }

/** The points since the last gap when they can carry a forecast. throws RangeError for a plan outside its ranges or times that run backwards */
export function sinceGap(points: readonly Point[], nowMs: number, p: LimitPlan): Series | NotObservable {
  within('limit', p.limit, -1e15, 1e15, '')
  positive('resolution', p.resolution, 'of the signal')
  positive('gap', p.gapMs, 'ms')
  positive('span at least', p.leastSpanMs, 'ms')
  positive('age of the newest reading', p.freshMs, 'ms')
  within('points at least', p.leastPoints, 6, 5000, '')
  within('times the time observed', p.aheadSpans, 0.1, 20, '')
  const all = usable(points)
  let from = Math.max(0, all.atMs.length - 1)
  while (from > 0 && (all.atMs[from] as number) - (all.atMs[from - 1] as number) <= p.gapMs) from -= 1
  const s = { ...all, atMs: all.atMs.subarray(from), value: all.value.subarray(from) }
  const n = s.value.length
  if (n < p.leastPoints) return notObservable(`only ${n} readings are there since the last gap and ${p.leastPoints} are needed`)
  const spanMs = spanOf(s.atMs)
  const lastMs = s.atMs[n - 1] as number
  if (lastMs > nowMs) throw new RangeError(`the newest point is at ${lastMs}, after now (${nowMs}): leave out what is to come`)
  if (spanMs < p.leastSpanMs) return notObservable(`the readings span ${span(spanMs)} and ${span(p.leastSpanMs)} are needed`)
  if (nowMs - lastMs > p.freshMs) return notObservable(`the newest reading is ${span(nowMs - lastMs)} old`)
  if (spanOf(s.value) <= p.resolution) return notObservable('the signal did not move by more than its smallest step')
  return s
}

function spanOf(values: Float64Array): number {
  let least = Number.POSITIVE_INFINITY
  let most = Number.NEGATIVE_INFINITY
  for (const v of values) {
    least = Math.min(least, v)
    most = Math.max(most, v)
  }
  return most - least
}

/** A course from `originMs` on, time in days; up is towards the limit. */
export interface Course {
  readonly originMs: number
  /** Below zero: how much is missing to the limit at the origin. */
  readonly short: number
  readonly risePerDay: number
  /** Of the course after t days: variances[0] + variances[1] t + variances[2] t^2. */
  readonly variances: readonly [number, number, number]
  /** Standard deviations from the middle to either end of the interval. */
  readonly reach: number
  readonly from: number
  readonly observedMs: number
}

/** Where what the course may be lies on the limit: the roots of (short + rise t)^2 = reach^2 (v0 + v1 t + v2 t^2). */
export function meets(c: Course, nowMs: number, aheadSpans: number): Outlook {
  const { short, risePerDay: rise } = c
  const [v0, v1, v2] = c.variances
  if (short + (rise * (nowMs - c.originMs)) / DAY_MS >= 0) return { kind: 'reached' }
  if (rise <= 0) return notObservable('the level does not move towards the limit')
  const t2 = c.reach * c.reach
  const a = rise * rise - t2 * v2
  if (a <= 0) return notObservable('the drift cannot be told from none')
  const b = rise * short - (t2 * v1) / 2
  const half = Math.sqrt(Math.max(0, b * b - a * (short * short - t2 * v0)))
  const atMs = (day: number): number => Math.max(nowMs, c.originMs + day * DAY_MS)
  const medianMs = atMs(-short / rise)
  if (medianMs - nowMs > aheadSpans * c.observedMs)
    return notObservable(`at this pace the limit is ${span(medianMs - nowMs)} away, more than ${aheadSpans} times the ${span(c.observedMs)} observed`)
  return { kind: 'forecast', lowMs: Math.min(medianMs, atMs((-b - half) / a)), medianMs, highMs: Math.max(medianMs, atMs((-b + half) / a)), from: c.from }
}

/** A length of time in words. */
export const span = (ms: number): string =>
  ms >= 3 * DAY_MS ? `${Math.round(ms / DAY_MS)} days` : ms >= DAY_MS / 8 ? `${Math.round((24 * ms) / DAY_MS)} h` : `${Math.round((1440 * ms) / DAY_MS)} min`
