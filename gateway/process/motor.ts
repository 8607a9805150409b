/**
 * What the current and voltage of a motor say about its load.
 *
 * Code full-load amperes (motor-table.ts) are for wiring: a 15 hp motor at 460 V draws about 18 A where the table says 21. Alarms
 * take the nameplate and a learned baseline. Below half load current hardly moves (the power factor falls), so power is the
 * better signal for running dry.
 * sources  three-phase power; NEMA MG-1 unbalance; derating table of an engineering reference; EC&M load formula
 */
import { HORSEPOWER_W } from './factors.ts'
import { type NotObservable, notObservable, positive, within } from './range.ts'

/** Electrical power of a three-phase motor, kW. */
export const threePhaseKw = (volts: number, amperes: number, powerFactor: number): number =>
  (Math.sqrt(3) * positive('voltage', volts, 'V', true) * positive('current', amperes, 'A', true) * within('power factor', powerFactor, 0, 1, '')) / 1000

/** Current a three-phase motor draws for a shaft power, A. */
export const amperesOfShaft = (horsepower: number, volts: number, efficiency: number, powerFactor: number): number =>
  (positive('power', horsepower, 'hp') * HORSEPOWER_W) /
  (Math.sqrt(3) * positive('voltage', volts, 'V') * within('efficiency', efficiency, 0.1, 1, '') * within('power factor', powerFactor, 0.1, 1, ''))

/**
 * Unbalance of three voltages or currents, %: largest deviation from their mean over the mean (NEMA MG-1; highest minus lowest is
 * the wrong method). Three zeros are a motor at rest: not-observable.
 */
export function unbalancePct(a: number, b: number, c: number): number | NotObservable {
  for (const v of [a, b, c]) positive('line value', v, 'V or A', true)
  const mean = (a + b + c) / 3
  if (mean === 0) return notObservable('nothing flows in any line')
  return (100 * Math.max(Math.abs(a - mean), Math.abs(b - mean), Math.abs(c - mean))) / mean
}

/** Above this voltage unbalance a motor must not run, %. NEMA MG-1. */
export const UNBALANCE_STOP_PCT = 5

const DERATING: readonly (readonly [number, number])[] = [
  [0.5, 1],
  [1.5, 0.97],
  [2, 0.95],
  [2.5, 0.93],
  [3, 0.89],
  [3.5, 0.85],
  [4, 0.82],
  [4.5, 0.78],
  [5, 0.76],
]

/** Share of its rated power a motor may carry at a voltage unbalance, linear between the table's rows; 0 above 5 %. */
export function deratingShare(voltageUnbalancePct: number): number {
  within('voltage unbalance', voltageUnbalancePct, 0, 100, '%')
  if (voltageUnbalancePct > UNBALANCE_STOP_PCT) return 0
  let [x0, y0] = [0, 1]
  for (const [x1, y1] of DERATING) {
    if (voltageUnbalancePct <= x1) return y0 + ((y1 - y0) * (voltageUnbalancePct - x0)) / (x1 - x0)
    x0 = x1
    y0 = y1
  }
  return y0
}

export interface Nameplate {
  readonly ratedA: number
  /** Current with nothing on the shaft, A. */
  readonly idleA: number
}

/** Load of the shaft, share of rated, straight between idle and rated current. source: EC&M. */
export const loadShare = (amperes: number, n: Nameplate): number =>
  1 - (n.ratedA - positive('current', amperes, 'A', true)) / positive('rated less idle current', n.ratedA - n.idleA, 'A')

/** Load by the other common formula, (2I - I0) / (2In - I0), share of rated: kinder to the bend of the curve at low load. */
export const loadShareBent = (amperes: number, n: Nameplate): number =>
  (2 * positive('current', amperes, 'A', true) - n.idleA) / positive('twice rated less idle current', 2 * n.ratedA - n.idleA, 'A')

export const CURRENT_BANDS = ['off', 'idling', 'low', 'normal', 'high', 'overload', 'locked'] as const
export type CurrentBand = (typeof CURRENT_BANDS)[number]

/**
 * Likely state from current over the motor's own normal running current. Common practice, no source; a plunger pump idles at
 * 0.3-0.5 between trigger pulls and that is normal; a diaphragm blower hardly changes, its pressure is the proof.
 */
export function currentBand(amperes: number, normalA: number): CurrentBand {
  const r = positive('current', amperes, 'A', true) / positive('normal running current', normalA, 'A')
  if (r < 0.05) return 'off'
  if (r < 0.6) return 'idling'
  if (r < 0.85) return 'low'
  if (r <= 1.1) return 'normal'
  if (r <= 1.25) return 'high'
  return r < 3 ? 'overload' : 'locked'
}
