/**
 * The transfer coefficient KLa from the time constant of the rise after air returns.
 *
 * C(t) = Cr - (Cr - C0) exp(-KLa t), where Cr is where oxygen comes to rest with the uptake going on. Only the time constant is
 * used: a probe that reads 20 % low scales C, Cr and C0 alike and leaves it untouched. A *slow* probe is the other trap: behind
 * a lag the foot of the rise is the probe's, so only the part from 20 to 90 % is read, and when the lag is not small beside
 * 1/KLa the answer is "at least". A third: oxygen that waits and then rises was lifted by something else, a load that ended.
 * sources  ASCE 2 for the shape of the curve; limits are trade judgement
 */
import { fitLine, student95 } from './line.ts'
import { type NotObservable, notObservable, positive, within } from './range.ts'
import type { DoPoint } from './uptake.ts'

export interface RiseSettings {
  /** Time constant of the probe, min: optical 0.5-1 when clean, more when fouled. */
  readonly probeLagMin: number
  /** Smallest step of the signal, mg/L. */
  readonly resolutionMgPerL: number
  /** Part of the rise that is read, shares of it. */
  readonly part: { readonly from: number; readonly to: number }
  readonly leastSamples: number
  /** Smallest rise worth reading, mg/L. */
  readonly leastRiseMgPerL: number
}

export const RISE_DEFAULTS: RiseSettings = { probeLagMin: 1, resolutionMgPerL: 0.1, part: { from: 0.2, to: 0.9 }, leastSamples: 5, leastRiseMgPerL: 1 }

export interface Rise {
  /** at-least: the probe is too slow to tell more. */
  readonly kind: 'measured' | 'at-least'
  readonly kLaPerH: number
  readonly standardErrorPerH: number
  /** 95 %, from the fit and the doubt about the resting value. */
  readonly lowPerH: number
  readonly highPerH: number
  /** Where oxygen came to rest, mg/L. */
  readonly restingMgPerL: number
  readonly riseMgPerL: number
  readonly samples: number
}

const HOUR_MS = 3_600_000
/** How much of its time constant a rise may wait, beyond probe and readings. Common practice, no source. */
const WAIT_OF_CONSTANT = 0.5

/**
 * points  of one probe, good quality, ascending, from the return of the air to well after oxygen has come to rest, under one
 *         steady load; those before `airOnMs` are ignored
 * throws  RangeError when points run backwards or a setting is out of range
 */
export function kLaOfRise(points: readonly DoPoint[], airOnMs: number, s: RiseSettings = RISE_DEFAULTS): Rise | NotObservable {
  within('probe lag', s.probeLagMin, 0, 60, 'min')
  within('resolution of the oxygen signal', s.resolutionMgPerL, 0.0001, 1, 'mg/L')
  within('lower end of the part read', s.part.from, 0, 0.5, '')
  within('upper end of the part read', s.part.to, 0.5, 0.97, '')
  const after = points.filter((p) => p.atMs >= airOnMs)
  for (let i = 1; i < after.length; i += 1)
    if (value(after, i).atMs < value(after, i - 1).atMs) throw new RangeError(`oxygen points run backwards at ${value(after, i).atMs}; sort them by time`)
  if (after.length < 2 * s.leastSamples) return notObservable(`only ${after.length} samples were taken after the air returned and ${2 * s.leastSamples} are needed`)

  // Rest: the last quarter of the time must be flat, or the rise is not over.
  const endMs = value(after, after.length - 1).atMs
  const tail = after.filter((p) => p.atMs >= endMs - (endMs - airOnMs) / 4)
  const resting = mean(tail)
  const start = Math.min(...after.slice(0, 3).map((p) => p.doMgPerL))
  const rise = resting - start
  if (rise < s.leastRiseMgPerL) return notObservable(`oxygen rose by ${rise.toFixed(1)} mg/L after the air returned and ${s.leastRiseMgPerL} is needed`)
  const half = Math.floor(tail.length / 2)
  const drift = tail.length < 4 ? Number.POSITIVE_INFINITY : mean(tail.slice(half)) - mean(tail.slice(0, half))
  if (Math.abs(drift) > Math.max(0.04 * rise, s.resolutionMgPerL)) return notObservable('oxygen had not come to rest by the end of the record')

  const share = (p: DoPoint): number => (p.doMgPerL - start) / rise
  const past = after.findIndex((p) => share(p) > s.part.to)
  const read = after.slice(0, past < 0 ? after.length : past).filter((p) => share(p) >= s.part.from)
  if (read.length < s.leastSamples)
    return notObservable(
      `the rise from ${100 * s.part.from} to ${100 * s.part.to} % holds ${read.length} samples and ${s.leastSamples} are needed: the readings are too far apart for so quick a rise`,
    )

  const fit = rate(read, resting, airOnMs)
  // The curve carried back to the foot must begin with the air. Where it begins later, a load that ended or a stock eaten up lifted the oxygen.
  const lateH = (fit.lnLeftAtStart - Math.log(rise)) / fit.kLa
  const stepH = (endMs - value(after, 0).atMs) / (after.length - 1) / HOUR_MS
  if (lateH > WAIT_OF_CONSTANT / fit.kLa + (2 * s.probeLagMin) / 60 + 2 * stepH)
    return notObservable(`oxygen began to rise ${(60 * lateH).toFixed(0)} min after the air returned: not the air alone lifted it`)
  const reach = student95(read.length - 2) * fit.error
  // The tail may lie a little under the true rest, or its noise over it: refit with either, and keep what they span.
  const doubt = Math.max(Math.abs(drift), s.resolutionMgPerL / 2)
  const either = [rate(read, resting + doubt, airOnMs).kLa, rate(read, resting - Math.min(doubt, 0.05 * rise), airOnMs).kLa]
  const lag = s.probeLagMin / 60
  return {
    kind: fit.kLa * lag > 0.3 ? 'at-least' : 'measured',
    kLaPerH: fit.kLa,
    standardErrorPerH: fit.error,
    lowPerH: Math.max(0, Math.min(fit.kLa, ...either) - reach),
    highPerH: Math.max(fit.kLa, ...either) + reach,
    restingMgPerL: resting,
    riseMgPerL: rise,
    samples: read.length,
  }
}

/** Log-linear fit, each point weighted with its squared distance from rest: the weight that undoes what the logarithm did to the noise. */
function rate(read: readonly DoPoint[], resting: number, fromMs: number): { kLa: number; error: number; lnLeftAtStart: number } {
  const left = read.map((p) => Math.max(1e-6, resting - p.doMgPerL))
  const line = fitLine(
    read.map((p) => (p.atMs - fromMs) / HOUR_MS),
    left.map((d) => Math.log(d)),
    left.map((d) => d * d),
  )
  return { kLa: positive('KLa of the rise', Math.max(1e-9, -line.slope), 'per h'), error: line.slopeError, lnLeftAtStart: line.intercept }
}

const mean = (points: readonly DoPoint[]): number => points.reduce((sum, p) => sum + p.doMgPerL, 0) / points.length
const value = (points: readonly DoPoint[], i: number): DoPoint => points[i] as DoPoint
