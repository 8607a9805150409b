/** What a span did, said and laid out for its lane: drift with its interval, change of level with its own, or why neither. Pure. */
import type { CourseBody, SignalBody } from '../../server/wire.ts'
import { figure, measured } from '../words/numbers.ts'
import { moment } from '../words/times.ts'
import type { Span } from './trend.ts'

const HOUR_MS = 3_600_000
const DAY_MS = 24 * HOUR_MS

/** Slopes are said per hour up to a day and a half, per day up to ten, then per week: a unit that fits into the span. */
export function pace(span: Span): { readonly word: string; readonly days: number } {
  const width = span.toMs - span.fromMs
  if (width <= 36 * HOUR_MS) return { word: 'hour', days: 1 / 24 }
  return width <= 10 * DAY_MS ? { word: 'day', days: 1 } : { word: 'week', days: 7 }
}

/** Digits that leave two figures of the larger one, or tell two levels apart. */
const digitsOf = (size: number): number => (size > 0 ? Math.max(0, Math.min(6, 1 - Math.floor(Math.log10(size)))) : 0)
const signed = (v: number, digits: number): string => (v > 0 && Number(v.toFixed(digits)) !== 0 ? `+${figure(v, digits)}` : figure(v, digits))

/** Sentences of one signal, without its name; the first says what matters most. `unit`: as written or as spoken. */
export function courseSentences(signal: SignalBody, c: CourseBody, zone: string, nowMs: number, unit: string): readonly string[] {
  if (c.why !== null || c.line === null) return [`No drift and no step can be told: ${c.why ?? 'no reason was given'}.`]
  const { word, days } = pace(c)
  const [low, best, high] = [c.line.perDay.low * days, c.line.perDay.best * days, c.line.perDay.high * days]
  const digits = digitsOf(Math.max(Math.abs(low), Math.abs(high)))
  const perWord = unit === '' ? ` per ${word}` : `\u00a0${unit} per ${word}`
  const slope = `${signed(best, digits)}${perWord}, between ${signed(low, digits)} and ${signed(high, digits)}`
  if (c.step !== null) return [stepSentence(signal, c.step, zone, nowMs, unit), `One line through both halves would mislead and is not drawn; it would say ${slope}.`]
  const drift = c.line.says === 'none told' ? `No drift told: ${slope}.` : `${c.line.says === 'rising' ? 'Rising' : 'Falling'}: ${slope}.`
  return [
    drift,
    ...(c.line.bent ? ['The course is not one straight line: this is its direction over the whole span.'] : []),
    ...(c.stepWhy === null ? [] : [`No step in level: ${c.stepWhy}.`]),
  ]
}

function stepSentence(signal: SignalBody, s: NonNullable<CourseBody['step']>, zone: string, nowMs: number, unit: string): string {
  const digits = Math.max(signal.digits, Math.min(4, digitsOf(Math.abs(s.after - s.before)) - 1))
  const at = moment((s.lastBeforeMs + s.firstAfterMs) / 2, zone, nowMs)
  const from = s.earliestMs === null ? 'the start of the span or earlier' : moment(s.earliestMs, zone, nowMs)
  const to = s.latestMs === null ? 'its end or later' : moment(s.latestMs, zone, nowMs)
  return `The level changed at ${at}, between ${from} and ${to}: ${figure(s.before, digits)} before, ${measured(s.after, digits, unit)} after.`
}

/** A line to draw: values at both ends of the span, and of both edges of its interval. */
export interface LaidLine {
  readonly best: readonly [number, number]
  readonly low: readonly [number, number]
  readonly high: readonly [number, number]
  readonly atMs: number
  readonly value: number
}

export interface LaidStep {
  readonly atMs: number
  /** null: open on that side. */
  readonly earliestMs: number | null
  readonly latestMs: number | null
  readonly before: number
  readonly after: number
}

export interface Laid {
  readonly fromMs: number
  readonly toMs: number
  /** Only where no step is the better account. */
  readonly line: LaidLine | null
  readonly step: LaidStep | null
}

/** What is drawn over the lane; null: nothing can be told. */
export function laid(c: CourseBody): Laid | null {
  if (c.line === null) return null
  const { atMs, value, perDay } = c.line
  const ends = (slope: number): readonly [number, number] => [value + (slope * (c.fromMs - atMs)) / DAY_MS, value + (slope * (c.toMs - atMs)) / DAY_MS]
  const span = { fromMs: c.fromMs, toMs: c.toMs }
  if (c.step === null) return { ...span, line: { best: ends(perDay.best), low: ends(perDay.low), high: ends(perDay.high), atMs, value }, step: null }
  const { lastBeforeMs, firstAfterMs, earliestMs, latestMs, before, after } = c.step
  return { ...span, line: null, step: { atMs: (lastBeforeMs + firstAfterMs) / 2, earliestMs, latestMs, before, after } }
}
