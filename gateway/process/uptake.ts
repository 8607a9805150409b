/**
 * How fast a tank's life takes up oxygen, from the fall of dissolved oxygen while the air is off.
 *
 * With the air off, dC/dt = -uptake + ks (C* - C): the surface goes on giving some oxygen. ks is not known and cannot be read
 * from ten minutes of data, so it is a bounded guess (0-0.3 per h, best 0.1) that widens the interval instead of hiding in it.
 * For a given ks the points C - ks * integral(C* - C) lie on a straight line whose slope is minus the uptake.
 *
 * A test is judged by the standard error of the slope, never by how much of the spread the line explains: a flat line explains
 * nothing, and "below 0.6 mg/L/h" is the most important result there is, because it is what a dead tank looks like.
 * sources  Standard Methods 2710 B (slope method); what is accepted is trade judgement, no source
 */
import { fitLine, student80, student95 } from './line.ts'
import { type Estimate, type NotObservable, notObservable, positive, within } from './range.ts'

export interface DoPoint {
  readonly atMs: number
  readonly doMgPerL: number
}

export interface Span {
  readonly fromMs: number
  readonly toMs: number
}

export interface UptakeSettings {
  /** Oxygen saturation of the water in the tank, mg/L. */
  readonly saturationMgPerL: number
  /** Smallest step the signal can show, mg/L. */
  readonly resolutionMgPerL: number
  /** Left out after the air stops: bubbles and probe lag. */
  readonly dropMs: number
  /** At and below this uptake is limited by oxygen itself, mg/L. */
  readonly floorMgPerL: number
  readonly surfacePerH: { readonly low: number; readonly best: number; readonly high: number }
  /** "below x" is only said for x up to here; a larger x would say nothing. mg/L/h */
  readonly smallMgPerLPerH: number
  /** Standard error accepted, share of the slope. */
  readonly errorShare: number
  readonly leastSamples: number
}

/** Common practice, no source; not yet tuned on data, each a site setting. */
export const UPTAKE_DEFAULTS: Omit<UptakeSettings, 'saturationMgPerL' | 'resolutionMgPerL'> = {
  dropMs: 120_000,
  floorMgPerL: 1,
  surfacePerH: { low: 0, best: 0.1, high: 0.3 },
  smallMgPerLPerH: 2,
  errorShare: 0.15,
  leastSamples: 8,
}

/** What a test says, and what it stands on. `lowMgPerLPerH` and `highMgPerLPerH` hold slope error (95 %) and the doubt about the surface. */
export interface Uptake {
  /**
   * measured: may be compared and indexed. about: real, but too much of it is the surface's doubt; show as "low, about", no index.
   * below: not told apart from none; `highMgPerLPerH` is the bound.
   */
  readonly kind: 'measured' | 'about' | 'below'
  readonly uptakeMgPerLPerH: number
  readonly standardErrorMgPerLPerH: number
  readonly lowMgPerLPerH: number
  readonly highMgPerLPerH: number
  /** Part of the uptake that was fed through the surface, at the best ks. */
  readonly surfaceMgPerLPerH: number
  readonly dropMgPerL: number
  readonly samples: number
  readonly fromMs: number
  readonly toMs: number
}

const HOUR_MS = 3_600_000

/**
 * points  of one probe, good quality, ascending; those outside the span are ignored
 * off     one span without air (air-off.ts)
 * moving  spans in which water or a chemical flowed into the tank; null: not known, taken as none
 * throws  RangeError when points run backwards or a setting is out of range
 */
export function uptakeOf(points: readonly DoPoint[], off: Span, moving: readonly Span[] | null, s: UptakeSettings): Uptake | NotObservable {
  check(s)
  const used = usable(points, off, s)
  const first = used[0]
  const last = used.at(-1)
  if (!first || !last || used.length < s.leastSamples) {
    const limited = points.some((p) => p.atMs >= off.fromMs && p.atMs <= off.toMs && p.doMgPerL <= s.floorMgPerL)
    const reached = limited ? ` before oxygen reached ${s.floorMgPerL} mg/L` : ''
    return notObservable(`only ${used.length} samples were taken without air${reached} (the first ${s.dropMs / 60_000} min do not count) and ${s.leastSamples} are needed`)
  }
  if (moving?.some((m) => m.fromMs < last.atMs && m.toMs > first.atMs)) return notObservable('water or a chemical flowed into the tank during the test')
  const spanH = (last.atMs - first.atMs) / HOUR_MS
  if (!(spanH > 0)) return notObservable('all samples carry the same time')
  const gap = longestGap(used)
  if (gap > (last.atMs - first.atMs) / 3)
    return notObservable(`a gap of ${minutes(gap)} min in a test of ${minutes(last.atMs - first.atMs)} min leaves it open what happened in between`)

  const at = (ks: number) => slopeAt(used, ks, s.saturationMgPerL)
  const best = at(s.surfacePerH.best)
  // A signal that moves in steps can hide up to one step of fall: the fit of equal values has no error of its own.
  const hidden = hiddenStep(s.resolutionMgPerL, spanH)
  const error = Math.hypot(best.error, hidden)
  const reach = student95(used.length - 2) * error
  const low = Math.max(0, at(s.surfacePerH.low).uptake - reach)
  const high = Math.max(0, at(s.surfacePerH.high).uptake + reach)
  const drop = first.doMgPerL - last.doMgPerL
  const figures = {
    uptakeMgPerLPerH: Math.max(0, best.uptake),
    standardErrorMgPerLPerH: error,
    lowMgPerLPerH: low,
    highMgPerLPerH: high,
    surfaceMgPerLPerH: best.surface,
    dropMgPerL: drop,
    samples: used.length,
    fromMs: first.atMs,
    toMs: last.atMs,
  }
  const seen = drop >= 0.5 && (s.resolutionMgPerL <= 0.05 || drop >= 10 * s.resolutionMgPerL)
  if (best.uptake > 0 && error < s.errorShare * best.uptake && (seen || low > 0)) {
    // The surface's doubt decides between a figure and an "about": 30 % either way still ranks a tank against its own past.
    return { kind: seen && (high - low) / 2 <= 0.3 * best.uptake ? 'measured' : 'about', ...figures }
  }
  if (high <= s.smallMgPerLPerH) return { kind: 'below', ...figures }
  return notObservable(
    `the fall of ${round(drop)} mg/L in ${minutes(last.atMs - first.atMs)} min tells the uptake only to between ${round(low)} and ${round(high)} mg/L/h; a longer test would`,
  )
}

/**
 * The interval that holds the true uptake in eight tests of ten, from the slope's error and a surface transfer that is not known: taken as a
 * triangle over the bounded guess. `low` and `high` of an Uptake are wider: 95 %, the surface at its worst, a hidden step on top of what the
 * points show, because a bound must hold.
 * s  the settings the test was read with
 */
export function uptake80(u: Uptake, s: Pick<UptakeSettings, 'surfacePerH' | 'resolutionMgPerL'>): Estimate {
  const { low, best, high } = s.surfacePerH
  const deficit = best > 0 ? u.surfaceMgPerLPerH / best : 0
  const mean = (low + best + high) / 3
  const spread = Math.sqrt((low ** 2 + best ** 2 + high ** 2 - low * best - low * high - best * high) / 18)
  const hidden = hiddenStep(s.resolutionMgPerL, (u.toMs - u.fromMs) / HOUR_MS)
  // Points that cross several steps already show the rounding in how they scatter; only flat ones hide it.
  const scatter = Math.sqrt(Math.max(0, u.standardErrorMgPerLPerH ** 2 - hidden ** 2))
  const middle = u.uptakeMgPerLPerH + deficit * (mean - best)
  const reach = Math.hypot(student80(Math.max(1, u.samples - 2)) * Math.max(scatter, HIDDEN_SHARE * hidden), 1.28155 * deficit * spread)
  return { low: Math.max(0, Math.min(u.uptakeMgPerLPerH, middle - reach)), best: u.uptakeMgPerLPerH, high: Math.max(u.uptakeMgPerLPerH, middle + reach) }
}

/** How much of a hidden step the 80 % interval counts: found on simulated falls of 0.5 to 60 mg/L/h in steps of 0.1 and 0.01 mg/L, where it holds 80 %. */
const HIDDEN_SHARE = 0.6

/** Standard error of a slope that rounding to a step can hide, mg/L/h. */
const hiddenStep = (resolutionMgPerL: number, spanH: number): number => resolutionMgPerL / Math.sqrt(12) / spanH

/** Uptake carried to 20 degrees C, for comparing like with like; 10-30 Cel. source: NC DEQ letter on 40 CFR 503 tests (theta 1.05 above 20 Cel, 1.07 below). */
export function uptakeAt20(uptake: number, temperatureCel: number): number {
  within('water temperature', temperatureCel, 10, 30, 'Cel')
  return positive('uptake', uptake, 'mg/L/h', true) * (temperatureCel > 20 ? 1.05 : 1.07) ** (20 - temperatureCel)
}

/** Uptake per gram of volatile solids, mg/g/h; a calculator for a laboratory figure, nothing a loop measures. */
export const specificUptake = (uptakeMgPerLPerH: number, volatileSolidsMgPerL: number): number =>
  (1000 * uptakeMgPerLPerH) / positive('volatile solids', volatileSolidsMgPerL, 'mg/L')

/** Oxygen used by a whole tank, kg/h. */
export const tankUptakeKgPerH = (uptakeMgPerLPerH: number, volumeL: number): number =>
  (positive('uptake', uptakeMgPerLPerH, 'mg/L/h', true) * positive('volume', volumeL, 'L')) / 1e6

function usable(points: readonly DoPoint[], off: Span, s: UptakeSettings): readonly DoPoint[] {
  const out: DoPoint[] = []
  let before = Number.NEGATIVE_INFINITY
  for (const p of points) {
    if (p.atMs < before) throw new RangeError(`oxygen points run backwards: ${p.atMs} after ${before}; sort them by time`)
    before = p.atMs
    if (p.atMs < off.fromMs + s.dropMs || p.atMs > off.toMs) continue
    // Once oxygen is short, later points are short too: noise that lifts one of them over the floor does not make it fit.
    if (p.doMgPerL <= s.floorMgPerL) break
    out.push(p)
  }
  return out
}

function slopeAt(points: readonly DoPoint[], ks: number, saturation: number): { uptake: number; error: number; surface: number } {
  const start = points[0]?.atMs ?? 0
  const t: number[] = []
  const y: number[] = []
  let given = 0
  let before: DoPoint | null = null
  for (const p of points) {
    const hours = (p.atMs - start) / HOUR_MS
    if (before) given += (ks * (saturation - (p.doMgPerL + before.doMgPerL) / 2) * (p.atMs - before.atMs)) / HOUR_MS
    t.push(hours)
    y.push(p.doMgPerL - given)
    before = p
  }
  const line = fitLine(t, y)
  return { uptake: -line.slope, error: line.slopeError, surface: given / (t.at(-1) ?? 1) }
}

function check(s: UptakeSettings): void {
  within('oxygen saturation', s.saturationMgPerL, 1, 20, 'mg/L')
  within('resolution of the oxygen signal', s.resolutionMgPerL, 0.0001, 1, 'mg/L')
  within('time left out', s.dropMs, 0, HOUR_MS, 'ms')
  within('oxygen floor', s.floorMgPerL, 0, 5, 'mg/L')
  within('error share', s.errorShare, 0.01, 1, '')
  within('least samples', s.leastSamples, 4, 1000, '')
  within('small uptake', s.smallMgPerLPerH, 0, 20, 'mg/L/h')
  within('surface transfer', s.surfacePerH.low, 0, s.surfacePerH.best, 'per h')
  within('surface transfer', s.surfacePerH.high, s.surfacePerH.best, 2, 'per h')
}

const longestGap = (points: readonly DoPoint[]): number => points.reduce((most, p, i) => Math.max(most, i === 0 ? 0 : p.atMs - (points[i - 1]?.atMs ?? p.atMs)), 0)
const minutes = (ms: number): string => (ms / 60_000).toFixed(0)
const round = (v: number): string => v.toFixed(1)
