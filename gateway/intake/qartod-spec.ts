/** What is tested of one signal, and with which thresholds. Plain data; null switches a test off. Units: those of the signal, s, ms. */

/** Happenings that must move some signals; see FlatSpec. Which of them touch a signal's tank is for the caller to know. */
export const MOVING_EVENTS = ['wash', 'air-off', 'dose', 'day-night'] as const
export type MovingEvent = (typeof MOVING_EVENTS)[number]

/** Outside `sensor`: fail, no working sensor says that. Outside `user`: suspect. The limits themselves pass. */
export interface GrossSpec {
  readonly sensor: readonly [number, number]
  readonly user: readonly [number, number] | null
}

/**
 * average: distance of a reading from the mean of its two neighbours; flags the neighbours of a big spike as well. differential:
 * the smaller of the two steps, and only where they go opposite ways; flags the spike alone.
 */
export interface SpikeSpec {
  readonly method: 'average' | 'differential'
  readonly suspect: number | null
  readonly fail: number | null
}

/**
 * Per second, or against the spread of the signal itself: a step of more than slack + deviations x SD is suspect. What
 * lies within the slack counts for neither: one step of the resolution within seconds is no rate.
 */
export interface RateSpec {
  /** Unit of the signal, zero or more. */
  readonly slack: number
  readonly suspectPerS: number | null
  readonly failPerS: number | null
  /**
   * A reading is held against the newest one at least so old, and against the oldest there is while there is none: noise of 0.03 within
   * 10 s is no fall of 0.2 within 5 min. Absent: against the reading before it.
   */
  readonly leastMs?: number
  /** How many of them; needs `spread`. */
  readonly deviations: number | null
}

/** The span the standard deviation is taken over (TIM_DEV); fewer readings than `minSamples` in it: no deviation. */
export interface SpreadSpec {
  readonly overMs: number
  readonly minSamples: number
}

/** All readings of the last `suspectMs` (`failMs`) lie within `tol` of each other. */
export interface FlatSpec {
  /** Above zero: with zero, rounding alone would count as life. */
  readonly tol: number
  readonly suspectMs: number | null
  readonly failMs: number | null
  /** 1 to 3. */
  readonly minSamples: number
  /** Physical ends, where standing still is no sign of anything: at or below `low`, at or above `high`, the test is not run. */
  readonly ends: { readonly low: number | null; readonly high: number | null }
  /** Happenings that must move the signal: standing still through one of them is suspect at once. */
  readonly moves: readonly MovingEvent[]
  /** state signal of the site that must be on; null: always run. */
  readonly runWhen: string | null
}

/** Variation over `overMs` below `suspect`, below `fail`; fail < suspect. */
export interface AttenuatedSpec {
  readonly method: 'sd' | 'range'
  readonly suspect: number
  readonly fail: number
  /** null: over the whole series, which only the batch form knows. */
  readonly overMs: number | null
  readonly minSamples: number
}

/** suspect when this signal moves more than `own` SD while `with` moves less than `other` SD. Needs `spread` on both. */
export interface CompanySpec {
  /** Signal id of the same site. */
  readonly with: string
  readonly own: number
  readonly other: number
}

export interface CheckSpec {
  /** Expected time between two readings; more than three of them is a gap. */
  readonly intervalMs: number
  readonly gross: GrossSpec
  readonly spike: SpikeSpec | null
  readonly rate: RateSpec | null
  readonly spread: SpreadSpec | null
  readonly flat: FlatSpec | null
  readonly attenuated: AttenuatedSpec | null
  readonly multivariate: CompanySpec | null
  readonly neighbour: CompanySpec | null
}

export const gapMs = (intervalMs: number): number => 3 * intervalMs

/**
 * Holes longer than this start a flat line anew. A link drops several times a day, and a probe that reads the same before and after
 * five minutes of silence has still not moved: an eighth of the time is forgiven. Common practice, no source.
 */
export const flatGapMs = (spec: FlatSpec, intervalMs: number): number => Math.max(gapMs(intervalMs), (spec.suspectMs ?? spec.failMs ?? 0) / 8)

/** What is wrong with a spec, one sentence each with the value found; empty: nothing. */
export function troublesOf(s: CheckSpec): readonly string[] {
  const out: string[] = []
  const ordered = (what: string, suspect: number | null, fail: number | null): void => {
    if (suspect !== null && fail !== null && !(suspect < fail)) out.push(`${what}: suspect ${suspect} must be less than fail ${fail}`)
  }
  const positive = (what: string, x: number | null): void => {
    if (x !== null && !(x > 0 && Number.isFinite(x))) out.push(`${what} is ${x}: it must be a number above zero`)
  }
  const { gross, spike, rate, spread, flat, attenuated } = s
  positive('interval, ms,', s.intervalMs)
  if (!(gross.sensor[0] < gross.sensor[1])) out.push(`sensor range ${gross.sensor.join(' to ')}: the lower limit must come first`)
  if (gross.user && !(gross.user[0] < gross.user[1])) out.push(`user range ${gross.user.join(' to ')}: the lower limit must come first`)
  if (gross.user && (gross.user[0] < gross.sensor[0] || gross.user[1] > gross.sensor[1]))
    out.push(`user range ${gross.user.join(' to ')} must lie inside the sensor range ${gross.sensor.join(' to ')}`)
  if (spike) {
    if (spike.suspect === null && spike.fail === null) out.push('spike: neither a suspect nor a fail threshold; leave the test off instead')
    ordered('spike', spike.suspect, spike.fail)
    for (const x of [spike.suspect, spike.fail]) positive('spike threshold', x)
  }
  if (rate) {
    if (rate.suspectPerS === null && rate.failPerS === null && rate.deviations === null) out.push('rate: no threshold; leave the test off instead')
    ordered('rate', rate.suspectPerS, rate.failPerS)
    for (const x of [rate.suspectPerS, rate.failPerS]) positive('rate threshold', x)
    positive('rate, number of standard deviations,', rate.deviations)
    if (!(rate.slack >= 0)) out.push(`rate, slack is ${rate.slack}: it must be zero or more`)
  }
  if (((rate && rate.deviations !== null) || s.multivariate || s.neighbour) && !spread)
    out.push('rate against standard deviations, multivariate and neighbour need the span of the deviation: set spread')
  if (spread) positive('spread, span in ms,', spread.overMs)
  if (flat) {
    positive('flat line tolerance', flat.tol)
    ordered('flat line, ms', flat.suspectMs, flat.failMs)
    for (const x of [flat.suspectMs, flat.failMs]) positive('flat line, ms,', x)
    if (![1, 2, 3].includes(flat.minSamples)) out.push(`flat line needs ${flat.minSamples} readings: it can ask for 1, 2 or 3`)
  }
  if (attenuated) {
    if (!(attenuated.fail < attenuated.suspect))
      out.push(`attenuated: fail ${attenuated.fail} must be less than suspect ${attenuated.suspect}, or nothing can ever be suspect without failing`)
    positive('attenuated, span in ms,', attenuated.overMs)
  }
  for (const c of [s.multivariate, s.neighbour]) {
    if (!c) continue
    positive(`company of ${c.with}, own deviations,`, c.own)
    positive(`company of ${c.with}, its deviations,`, c.other)
  }
  return out
}
