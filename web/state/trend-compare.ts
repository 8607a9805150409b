/** What a trend is laid beside: the same signals at another time, or those of another loop. Pure. */
import type { Standing } from './then.ts'
import type { Span } from './trend.ts'
import { daysEarlier } from './wall-time.ts'
import { moment } from '../words/times.ts'

export type Compare =
  | { readonly kind: 'days'; readonly days: number }
  | { readonly kind: 'from'; readonly fromMs: number }
  /** Two raises of one alarm laid over each other: the one in the span, and the other. */
  | { readonly kind: 'raise'; readonly hereMs: number; readonly thereMs: number }
  | { readonly kind: 'loop'; readonly site: string }

const MOST_MS = 2 ** 45
const whole = (text: string | undefined): number | null => (text !== undefined && /^\d{1,14}$/.test(text) && Number(text) <= MOST_MS ? Number(text) : null)

/** From an address: `1d`, `7d`, `from:MS`, `raise:MS:MS`, `loop:ID`; null: nothing, or nothing that can be understood. */
export function compareOf(text: string | null): Compare | null {
  const days = /^(\d{1,3})d$/.exec(text ?? '')
  if (days && Number(days[1]) > 0) return { kind: 'days', days: Number(days[1]) }
  const [kind, a, b] = (text ?? '').split(':')
  const [first, second] = [whole(a), whole(b)]
  if (kind === 'from' && first !== null) return { kind, fromMs: first }
  if (kind === 'raise' && first !== null && second !== null) return { kind, hereMs: first, thereMs: second }
  return kind === 'loop' && a ? { kind, site: a } : null
}

export function compareText(c: Compare): string {
  if (c.kind === 'days') return `${c.days}d`
  if (c.kind === 'from') return `from:${Math.round(c.fromMs)}`
  return c.kind === 'raise' ? `raise:${Math.round(c.hereMs)}:${Math.round(c.thereMs)}` : `loop:${c.site}`
}

/** Ms to add to a time of the other period so that it lies where it is drawn. Days go by the clock of `zone` at the start of the span. */
export function shiftOf(c: Compare, span: Span, zone: string): number {
  if (c.kind === 'days') return span.fromMs - daysEarlier(span.fromMs, c.days, zone)
  if (c.kind === 'from') return span.fromMs - c.fromMs
  return c.kind === 'raise' ? c.hereMs - c.thereMs : 0
}

/** Its name in the legend. */
export function compareName(c: Compare, span: Span, zone: string, nowMs: number, loopName: string): string {
  if (c.kind === 'loop') return loopName
  if (c.kind === 'days') return c.days === 1 ? 'a day earlier' : c.days === 7 ? 'a week earlier' : `${c.days}\u00a0days earlier`
  return c.kind === 'from' ? `from ${moment(c.fromMs, zone, nowMs)}` : `raise of ${moment(c.thereMs, zone, nowMs)}`
}

const MOST_PAIRS = 20

export interface RaisePair {
  readonly what: string
  readonly hereMs: number
  readonly thereMs: number
}

/** Alarms raised in the span, each with its other raises before it, newest first. */
export function raisePairs(stood: readonly Standing[], span: Span): readonly RaisePair[] {
  const here = stood.filter((s) => s.fromMs >= span.fromMs && s.fromMs < span.toMs)
  return here
    .flatMap((h) => stood.filter((s) => s.alarm === h.alarm && s.fromMs < h.fromMs).map((s) => ({ what: h.what, hereMs: h.fromMs, thereMs: s.fromMs })))
    .toSorted((a, b) => b.hereMs - a.hereMs || b.thereMs - a.thereMs)
    .slice(0, MOST_PAIRS)
}
