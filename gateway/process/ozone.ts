/**
 * Ozone in water: how it decays, how much dose times time it leaves, and what the same figure means in air.
 *
 * The half-lives are those of clean water; with organics present it is seconds to minutes. Never use them for safety, and never
 * claim a disinfection credit in a wash loop: without a validated contactor CT is only a measure to compare a loop with itself.
 * sources  half-life table widely copied from an ozone data sheet (20 min at 20 Cel also in McClurkin & Maier 2010); EPA
 *          Disinfection Profiling and Benchmarking manual 2020, eq. 4-4 to 4-7, by way of an open water-chemistry package
 */
import { positive, within } from './range.ts'

/** degrees C, minutes; clean water, pH 7. */
const HALF_LIVES: readonly (readonly [number, number])[] = [
  [15, 30],
  [20, 20],
  [25, 15],
  [30, 12],
  [35, 8],
]

/** Half-life in clean water, min; 15-35 degrees C, log-linear between the table's rows. */
export function ozoneHalfLifeMin(temperatureCel: number): number {
  within('water temperature', temperatureCel, 15, 35, 'Cel')
  for (let i = 1; i < HALF_LIVES.length; i += 1) {
    const [t0, h0] = HALF_LIVES[i - 1] ?? [0, 0]
    const [t1, h1] = HALF_LIVES[i] ?? [0, 0]
    if (temperatureCel <= t1) return h0 * (h1 / h0) ** ((temperatureCel - t0) / (t1 - t0))
  }
  throw new RangeError(`no half-life for ${temperatureCel} Cel`)
}

export const ratePerMin = (halfLifeMin: number): number => Math.LN2 / positive('half-life', halfLifeMin, 'min')

/** Ozone left after first-order decay; unit of `start`. */
export const ozoneLeft = (start: number, decayPerMin: number, minutes: number): number =>
  positive('ozone', start, 'mg/L', true) * Math.exp(-positive('decay', decayPerMin, 'per min', true) * positive('time', minutes, 'min', true))

export interface Contact {
  readonly doseMgPerL: number
  readonly decayPerMin: number
  readonly contactMin: number
  /** Minutes at the start that do not count. */
  readonly skipMin: number
  /** How much of the contactor's time the first water gets, 0-1. */
  readonly baffle: number
}

/** Dose times time, mg min/L: baffle x integral of C dt. */
export function contactCt(c: Contact): number {
  positive('ozone dose', c.doseMgPerL, 'mg/L', true)
  positive('decay', c.decayPerMin, 'per min')
  within('time left out', c.skipMin, 0, positive('contact time', c.contactMin, 'min'), 'min')
  const integral = (c.doseMgPerL * (Math.exp(-c.decayPerMin * c.skipMin) - Math.exp(-c.decayPerMin * c.contactMin))) / c.decayPerMin
  return within('baffle factor', c.baffle, 0, 1, '') * integral
}

const CREDIT = { giardia: [1.038, 1.0741], virus: [2.1744, 1.0726], cryptosporidium: [0.0397, 1.09757] } as const

/** Logs of reduction the drinking-water formula gives for a CT; 0.5-25 degrees C. A relative measure only, see above. */
export function logCredit(organism: keyof typeof CREDIT, ct: number, temperatureCel: number): number {
  const [factor, base] = CREDIT[organism]
  return factor * base ** within('water temperature', temperatureCel, 0.5, 25, 'Cel') * positive('CT', ct, 'mg min/L', true)
}

/** Ozone in air, mg/m3 from ppm by volume, at 1 atm. Molar mass 47.998 g, ideal gas. */
export const ozoneMgPerM3 = (ppm: number, temperatureCel = 25): number =>
  (positive('ozone in air', ppm, 'ppm', true) * 47.998) / (0.0820573661 * (within('air temperature', temperatureCel, -40, 60, 'Cel') + 273.15))
