/**
 * Running statistics over the last while, in bounded memory: the time is cut into eighths of the span, and the window holds the
 * eighth a reading falls into and the seven before it, so it covers between 7/8 of the span and all of it. Eighths begin at
 * whole multiples since 1970, so the window of a reading does not depend on when the watching began.
 *
 * Bound: 8 summaries of 5 numbers a signal, whatever the sampling. Joining two summaries: Chan, Golub, LeVeque 1979.
 */
export const SPANS = 8

/** n readings: mean, sum of squared distances from it, least and greatest. */
export interface Summary {
  readonly n: number
  readonly mean: number
  readonly m2: number
  readonly min: number
  readonly max: number
}

interface Span extends Summary {
  readonly index: number
}

export interface Spans {
  /** Finished eighths still in the window, oldest first, at most 7. */
  readonly closed: readonly Span[]
  /** They together. */
  readonly before: Summary
  /** The eighth under way. */
  readonly index: number
  readonly now: Summary
}

export const NOTHING: Summary = { n: 0, mean: 0, m2: 0, min: Number.POSITIVE_INFINITY, max: Number.NEGATIVE_INFINITY }

export const spanOf = (atMs: number, overMs: number): number => Math.floor(atMs / (overMs / SPANS))

export function join(a: Summary, b: Summary): Summary {
  if (a.n === 0) return b
  if (b.n === 0) return a
  const n = a.n + b.n
  const d = b.mean - a.mean
  return { n, mean: a.mean + (d * b.n) / n, m2: a.m2 + b.m2 + (d * d * a.n * b.n) / n, min: Math.min(a.min, b.min), max: Math.max(a.max, b.max) }
}

/** The window as a reading at `atMs` finds it, without that reading. */
export function movedTo(s: Spans | null, atMs: number, overMs: number): Spans {
  const index = spanOf(atMs, overMs)
  if (s === null) return { closed: [], before: NOTHING, index, now: NOTHING }
  if (s.index === index) return s
  const closed = (s.now.n === 0 ? s.closed : [...s.closed, { ...s.now, index: s.index }]).filter((x) => x.index > index - SPANS)
  return { closed, before: closed.reduce<Summary>(join, NOTHING), index, now: NOTHING }
}

export function withValue(s: Spans, x: number): Spans {
  const { now } = s
  const n = now.n + 1
  const d = x - now.mean
  const mean = now.mean + d / n
  return {
    closed: s.closed,
    before: s.before,
    index: s.index,
    now: { n, mean, m2: now.m2 + d * (x - mean), min: x < now.min ? x : now.min, max: x > now.max ? x : now.max },
  }
}

export const total = (s: Spans): Summary => join(s.before, s.now)

/** Standard deviation of a sample, or null below `minSamples` (and below two). */
export const deviation = (s: Summary, minSamples: number): number | null => (s.n < 2 || s.n < minSamples ? null : Math.sqrt(s.m2 / (s.n - 1)))
