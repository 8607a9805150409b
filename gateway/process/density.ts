/**
 * Density of water, and the level a pressure cell at the bottom of a tank means.
 * source  Kell's equation on ITS-90 (Bettin & Spieweck), uncertainty 0.006 kg/m3; valid 0-100 degrees C, fresh water
 */
import { GRAVITY_M_PER_S2 } from './factors.ts'
import { positive, within } from './range.ts'

export function waterDensityKgPerM3(temperatureCel: number): number {
  const t = within('water temperature', temperatureCel, 0, 100, 'Cel')
  return (999.83952 + 16.952577 * t - 7.9905127e-3 * t ** 2 - 46.241757e-6 * t ** 3 + 105.84601e-9 * t ** 4 - 281.03006e-12 * t ** 5) / (1 + 16.887236e-3 * t)
}

/**
 * Water above the cell, mm, from its pressure in mbar (1 mbar = 100 Pa) above the air.
 * gasShare  of the water's volume that is bubbles, 0-0.3: 5 % gas makes a cell read 5 % low. Foam is not seen at all.
 */
export function levelOfPressureMm(mbar: number, temperatureCel: number, gasShare = 0): number {
  const density = waterDensityKgPerM3(temperatureCel) * (1 - within('share of gas', gasShare, 0, 0.3, ''))
  return ((positive('pressure', mbar, 'mbar', true) * 100) / (density * GRAVITY_M_PER_S2)) * 1000
}

/** Pressure of a column of water, mbar; inverse of levelOfPressureMm. */
export const pressureOfLevelMbar = (levelMm: number, temperatureCel: number, gasShare = 0): number =>
  (positive('level', levelMm, 'mm', true) / 1000) * waterDensityKgPerM3(temperatureCel) * (1 - within('share of gas', gasShare, 0, 0.3, '')) * GRAVITY_M_PER_S2 * 0.01
