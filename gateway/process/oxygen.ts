/**
 * How much oxygen water can hold from air, as a function of temperature, salt and air pressure.
 *
 * source  Benson & Krause 1980/1984 as adopted by USGS Office of Water Quality Technical Memorandum 2011.03 and Standard
 *         Methods 4500-O; altitude form of Standard Methods; salinity from conductance from the same memorandum (from memory)
 * valid   0-40 degrees C, 0-40 g/kg salt, 0.5-1.1 atm; outside it every function here throws RangeError
 */
import { KELVIN_AT_ZERO_CEL } from './factors.ts'
import { within } from './range.ts'

/** Where the saturation formula holds; a caller with measured values asks this first. */
export const SATURATION_VALID = { temperatureCel: [0, 40], salinityGPerKg: [0, 40], pressureAtm: [0.5, 1.1] } as const

/**
 * Oxygen in equilibrium with moist air at the surface, mg/L.
 *
 * temperatureCel  of the water
 * salinityGPerKg  0 for fresh water; wash water is usually 0.3-3
 * pressureAtm     of the air at the site (station pressure), never the sea-level figure of a weather report
 */
export function saturationMgPerL(temperatureCel: number, salinityGPerKg = 0, pressureAtm = 1): number {
  const t = kelvin(temperatureCel)
  const lnFresh = -139.34411 + 1.575701e5 / t - 6.642308e7 / t ** 2 + 1.2438e10 / t ** 3 - 8.621949e11 / t ** 4
  return Math.exp(lnFresh) * salinityFactor(temperatureCel, salinityGPerKg) * pressureFactor(temperatureCel, pressureAtm)
}

/** Share of the fresh-water figure that is left in salt water (1 in fresh water). */
export function salinityFactor(temperatureCel: number, salinityGPerKg: number): number {
  const t = kelvin(temperatureCel)
  within('salinity', salinityGPerKg, ...SATURATION_VALID.salinityGPerKg, 'g/kg')
  return Math.exp(-salinityGPerKg * (0.017674 - 10.754 / t + 2140.7 / t ** 2))
}

/** Share of the 1 atm figure at another air pressure (1 at 1 atm). */
export function pressureFactor(temperatureCel: number, pressureAtm: number): number {
  within('air pressure', pressureAtm, ...SATURATION_VALID.pressureAtm, 'atm')
  const u = vapourPressureAtm(temperatureCel)
  const theta = 0.000975 - 1.426e-5 * temperatureCel + 6.436e-8 * temperatureCel ** 2
  return ((pressureAtm - u) * (1 - theta * pressureAtm)) / ((1 - u) * (1 - theta))
}

/** Vapour pressure of water, atm. source: Standard Methods 4500-O. */
export function vapourPressureAtm(temperatureCel: number): number {
  const t = kelvin(temperatureCel)
  return Math.exp(11.8571 - 3840.7 / t - 216_961 / t ** 2)
}

/**
 * Percent of what the water could hold. Above 150 % in an air-sparged tank means probe fault or gas richer than air
 * (common practice, no source); 103-107 % at rest is the depth of the diffusers, not a fault.
 */
export function percentOfSaturation(doMgPerL: number, saturation: number): number {
  within('oxygen', doMgPerL, 0, 60, 'mg/L')
  within('oxygen saturation', saturation, 1, 20, 'mg/L')
  return (100 * doMgPerL) / saturation
}

/** Mean air pressure at a height above the sea, atm; -500 to 5500 m. A barometer on site is better. source: Standard Methods. */
export function stationPressureAtm(altitudeM: number): number {
  within('altitude', altitudeM, -500, 5500, 'm')
  return Math.exp(5.25 * Math.log(1 - altitudeM / 44_300))
}

/** Salinity, g/kg, from specific conductance at 25 degrees C, 0-60000 uS/cm. source: USGS memorandum 2011.03 (from memory). */
export function salinityFromConductivity(uSPerCm: number): number {
  within('conductivity', uSPerCm, 0, 60_000, 'uS/cm')
  return 5.572e-4 * uSPerCm + 2.02e-9 * uSPerCm ** 2
}

/** Salinity, g/kg, from chloride, g/L, in water salted like the sea, 0-22 g/L. source: definition of salinity by chlorinity. */
export const salinityFromChloride = (chlorideGPerL: number): number => 1.80655 * within('chloride', chlorideGPerL, 0, 22, 'g/L')

const kelvin = (temperatureCel: number): number => within('water temperature', temperatureCel, ...SATURATION_VALID.temperatureCel, 'Cel') + KELVIN_AT_ZERO_CEL
