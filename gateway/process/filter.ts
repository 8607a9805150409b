/**
 * Paper of the self-advancing filter: how much is used per water, what is left on the roll, how long it lasts.
 *
 * Days per calendar break on idle weeks, so the forecast is paper per cubic metre washed times the cubic metres
 * that are expected, with an interval from both.
 * units  paper in any length that is the same throughout; water in m3
 */
import { type Estimate, type NotObservable, notObservable, positive, within } from './range.ts'

/** Paper advanced per m3 washed. */
export const paperPerM3 = (advanced: number, washedM3: number): number => positive('paper advanced', advanced, 'length', true) / positive('water washed', washedM3, 'm3')

/** Length left of a roll; below zero is a counter that was not re-based at a roll change: RangeError says so. */
export function paperLeft(roll: number, advanced: number): number {
  const left = positive('roll', roll, 'length') - positive('paper advanced', advanced, 'length', true)
  // A roll may be a hand's width longer than its label; more than that is another roll.
  if (left < -0.05 * roll) throw new RangeError(`${advanced} of paper advanced from a roll of ${roll}: enter the roll change in the site log`)
  return Math.max(0, left)
}

/** Length one index pulse stands for, times pulses. */
export const paperOfPulses = (pulses: number, perPulse: number): number => positive('pulses', pulses, '', true) * positive('length per pulse', perPulse, 'length')

export interface RollForecast {
  readonly left: number
  readonly perM3: Estimate
  readonly expectedM3PerD: Estimate
}

/** Days until the roll is used up: `low` is the date to plan for. `high` is Infinity when the pad may stand idle. */
export function rollDays(f: RollForecast): Estimate | NotObservable {
  positive('paper left', f.left, 'length', true)
  ascending('paper per m3', f.perM3)
  ascending('expected water', f.expectedM3PerD)
  if (f.perM3.best === 0) return notObservable('no paper was advanced while washing: torn media, index motor, float or counter')
  if (f.expectedM3PerD.best === 0) return notObservable('no washing is expected')
  const days = (perM3: number, m3PerD: number): number => (perM3 * m3PerD === 0 ? Number.POSITIVE_INFINITY : f.left / (perM3 * m3PerD))
  return { low: days(f.perM3.high, f.expectedM3PerD.high), best: days(f.perM3.best, f.expectedM3PerD.best), high: days(f.perM3.low, f.expectedM3PerD.low) }
}

/** Solids a volume of dirty water carries onto the paper, g. */
export const solidsG = (volumeL: number, suspendedMgPerL: number): number =>
  (positive('volume', volumeL, 'L', true) * within('suspended solids', suspendedMgPerL, 0, 100_000, 'mg/L')) / 1000

function ascending(what: string, e: Estimate): void {
  if (!(e.low >= 0 && e.low <= e.best && e.best <= e.high)) throw new RangeError(`${what} runs ${e.low}, ${e.best}, ${e.high}: it must ascend from zero or more`)
}
