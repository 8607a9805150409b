/**
 * pH, alkalinity and dissolved carbonate of dilute water: any two give the third.
 *
 * Alk = CT (K1 h + 2 K1 K2) / (h^2 + K1 h + K1 K2) + Kw/h - h. *Closed*: carbonate stays in the water, which is the state right
 * after a dose. *Open*: carbon dioxide has come to rest with air, which is where aeration takes the water afterwards; a
 * controller that doses on the open pH keeps adding acid until the alkalinity is gone.
 * sources  Plummer & Busenberg 1982 (K1, K2, KH, as in the USGS PHREEQC database), Stumm & Morgan form for Kw
 * valid    0-50 degrees C, dilute water (no ionic-strength correction: within about 0.05 pH below 2 g/kg salt)
 * units    alkalinity mg/L as CaCO3, carbonate mmol/L, pressure atm
 */
import { KELVIN_AT_ZERO_CEL } from './factors.ts'
import { positive, within } from './range.ts'

/** mg of CaCO3 per equivalent of alkalinity. */
export const CACO3_MG_PER_EQ = 50_043.5
/** Carbon dioxide in outdoor air, atm. */
export const CO2_IN_AIR_ATM = 4.2e-4
const PH_LOW = 2
const PH_HIGH = 12.5

export interface CarbonateConstants {
  readonly pK1: number
  readonly pK2: number
  /** Henry, mol/L/atm. */
  readonly pKH: number
  readonly pKw: number
}

export function carbonateConstants(temperatureCel: number): CarbonateConstants {
  const t = within('water temperature', temperatureCel, 0, 50, 'Cel') + KELVIN_AT_ZERO_CEL
  const lg = Math.log10(t)
  return {
    pK1: 356.3094 + 0.06091964 * t - 21_834.37 / t - 126.8339 * lg + 1_684_915 / t ** 2,
    pK2: 107.8871 + 0.03252849 * t - 5151.79 / t - 38.92561 * lg + 563_713.9 / t ** 2,
    pKH: -108.3865 - 0.01985076 * t + 6919.53 / t + 40.45154 * lg - 669_365 / t ** 2,
    pKw: 4470.99 / t - 6.0875 + 0.01706 * t,
  }
}

/** Alkalinity from pH and carbonate; may be below zero in acid water. */
export function alkalinityMgPerL(ph: number, carbonateMmolPerL: number, temperatureCel: number): number {
  positive('dissolved carbonate', carbonateMmolPerL, 'mmol/L', true)
  const k = carbonateConstants(temperatureCel)
  return (charges(ph, k).perCarbon * (carbonateMmolPerL / 1000) + charges(ph, k).water) * CACO3_MG_PER_EQ
}

/** Dissolved carbonate, mmol/L, from pH (4.5-11) and alkalinity. throws RangeError when the two contradict each other (carbonate below zero). */
export function carbonateMmolPerL(ph: number, alkalinity: number, temperatureCel: number): number {
  // Below 4.5 alkalinity is free acid and says nothing about carbonate; above 11 it is hydroxide.
  within('pH', ph, 4.5, 11, '')
  const c = charges(ph, carbonateConstants(temperatureCel))
  const mol = (alkalinity / CACO3_MG_PER_EQ - c.water) / c.perCarbon
  if (mol < 0) throw new RangeError(`alkalinity ${alkalinity} mg/L cannot be at pH ${ph}: water alone has ${(c.water * CACO3_MG_PER_EQ).toFixed(1)} mg/L there`)
  return mol * 1000
}

/** pH with the carbonate kept in. throws RangeError when no pH from 2 to 12.5 has this alkalinity. */
export function phClosed(alkalinity: number, carbonateMmol: number, temperatureCel: number): number {
  return solve(alkalinity, (ph) => alkalinityMgPerL(ph, carbonateMmol, temperatureCel), PH_HIGH)
}

/** pH after carbon dioxide has come to rest with a gas; 1e-5 to 0.2 atm of it. Needs alkalinity above zero to mean anything. */
export function phOpen(alkalinity: number, temperatureCel: number, co2Atm = CO2_IN_AIR_ATM): number {
  return solve(alkalinity, (ph) => openAlkalinityMgPerL(ph, temperatureCel, co2Atm), 11)
}

/** Alkalinity of water at rest with a gas, from its pH (2-11). */
export function openAlkalinityMgPerL(ph: number, temperatureCel: number, co2Atm = CO2_IN_AIR_ATM): number {
  within('carbon dioxide', co2Atm, 1e-5, 0.2, 'atm')
  const k = carbonateConstants(temperatureCel)
  const h = 10 ** -ph
  const free = 10 ** -k.pKH * co2Atm
  const bicarbonate = (10 ** -k.pK1 * free) / h
  const carbonate = (10 ** -k.pK2 * bicarbonate) / h
  return (bicarbonate + 2 * carbonate + charges(within('pH', ph, PH_LOW, 11, ''), k).water) * CACO3_MG_PER_EQ
}

/** Alkalinity that moves pH by one unit at this point of a closed water, mg/L as CaCO3 per pH: the slope of its titration curve. */
export function bufferMgPerLPerPh(ph: number, carbonateMmol: number, temperatureCel: number): number {
  const step = 1e-4
  const low = Math.max(PH_LOW, ph - step)
  const high = Math.min(PH_HIGH, ph + step)
  return (alkalinityMgPerL(high, carbonateMmol, temperatureCel) - alkalinityMgPerL(low, carbonateMmol, temperatureCel)) / (high - low)
}

/** Negative charge per mol of carbonate, and of the water itself (eq/L). */
function charges(ph: number, k: CarbonateConstants): { perCarbon: number; water: number } {
  const h = 10 ** -within('pH', ph, PH_LOW, PH_HIGH, '')
  const k1 = 10 ** -k.pK1
  const k1k2 = 10 ** -(k.pK1 + k.pK2)
  return { perCarbon: (k1 * h + 2 * k1k2) / (h * h + k1 * h + k1k2), water: 10 ** -k.pKw / h - h }
}

/** Bisection: alkalinity rises with pH in every water, so one answer, 80 halvings below double precision. */
function solve(alkalinity: number, of: (ph: number) => number, highest: number): number {
  let low = PH_LOW
  let high = highest
  if (!(of(low) <= alkalinity && alkalinity <= of(high)))
    throw new RangeError(`no pH from ${low} to ${high} has an alkalinity of ${alkalinity} mg/L: it must lie between ${of(low).toFixed(0)} and ${of(high).toFixed(0)}`)
  for (let i = 0; i < 80; i += 1) {
    const mid = (low + high) / 2
    if (of(mid) < alkalinity) low = mid
    else high = mid
  }
  return (low + high) / 2
}
