/**
 * Oxygen from bubbles to water: the transfer coefficient KLa, what an aerator rated in clean water gives in the field, and
 * how dissolved oxygen moves in time when supply and uptake are known.
 *
 * One balance stands behind all of it: dC/dt = KLa (C* - C) - uptake.
 * sources  ASCE 2 (clean-water test), theta 1.024 and field formula as in common design texts
 */
import { saturationMgPerL } from './oxygen.ts'
import { positive, within } from './range.ts'

/** Correction per degree of the transfer coefficient. source: ASCE 2. */
export const THETA_TRANSFER = 1.024
/** Metres of water that press like one atmosphere (33.9 ft). */
const WATER_PER_ATM_M = 33.9 * 0.3048

/** KLa at 20 degrees C from KLa at another temperature; any time unit, 0-40 degrees C. */
export const kLaAt20 = (kLa: number, temperatureCel: number, theta = THETA_TRANSFER): number => kLaAt(kLa, temperatureCel, 20, theta)

/** KLa carried from one water temperature to another; any time unit. */
export function kLaAt(kLa: number, fromCel: number, toCel: number, theta = THETA_TRANSFER): number {
  positive('KLa', kLa, 'per h', true)
  within('water temperature', fromCel, 0, 40, 'Cel')
  within('water temperature', toCel, 0, 40, 'Cel')
  return kLa * within('theta', theta, 1, 1.06, '') ** (toCel - fromCel)
}

/** alpha: KLa in this water over KLa in clean water, both at 20 degrees C. Detergent pulls it to 0.33-0.54 (Schwarz et al. 2021). */
export const alphaFactor = (kLaWater: number, kLaClean: number): number =>
  positive('KLa in this water', kLaWater, 'per h', true) / positive('KLa in clean water', kLaClean, 'per h')

export interface FieldConditions {
  /** 0.33-0.9; fine bubbles in detergent water at the low end. */
  readonly alpha: number
  /** Saturation in this water over clean water, 0.7-1. */
  readonly beta: number
  /** Fouling of the diffusers, 0-1; 1 when clean. */
  readonly fouling?: number
  /** Saturation at the site's temperature and pressure, mid-depth if it is wanted, mg/L. */
  readonly saturationMgPerL: number
  /** Oxygen held in the tank, mg/L. */
  readonly doMgPerL: number
  readonly temperatureCel: number
  readonly theta?: number
}

/** Saturation of fresh water at 20 degrees C and 1 atm, the base of standard ratings, mg/L. */
const STANDARD_SATURATION = saturationMgPerL(20)

/** Share of the standard rating that arrives in the field; multiply a rating by it, or divide a demand by it. */
export function fieldShare(c: FieldConditions): number {
  within('alpha', c.alpha, 0.05, 1.2, '')
  within('beta', c.beta, 0.3, 1.1, '')
  within('fouling factor', c.fouling ?? 1, 0, 1, '')
  within('water temperature', c.temperatureCel, 0, 40, 'Cel')
  within('oxygen saturation', c.saturationMgPerL, 1, 20, 'mg/L')
  within('oxygen', c.doMgPerL, 0, 60, 'mg/L')
  const drive = (c.beta * c.saturationMgPerL - c.doMgPerL) / STANDARD_SATURATION
  return c.alpha * (c.fouling ?? 1) * drive * (c.theta ?? THETA_TRANSFER) ** (c.temperatureCel - 20)
}

/** Air pressure plus water at a depth, atm; valid to 15 m. */
export const pressureAtDepthAtm = (depthM: number, surfaceAtm = 1): number => surfaceAtm + within('depth', depthM, 0, 15, 'm') / WATER_PER_ATM_M

/**
 * Saturation half-way up a bubble's path, mg/L: mean of the bottom, pressed, and the surface, where the gas has lost oxygen.
 * exitOxygenFraction  of the gas leaving the water; 0.21 is fresh air, 0.189 means a tenth was taken up
 */
export function midDepthSaturationMgPerL(saturation: number, bottomAtm: number, exitOxygenFraction: number): number {
  within('exit oxygen fraction', exitOxygenFraction, 0, 0.21, '')
  within('bottom pressure', bottomAtm, 0.5, 3, 'atm')
  return (within('oxygen saturation', saturation, 1, 20, 'mg/L') * (bottomAtm + exitOxygenFraction / 0.21)) / 2
}

/**
 * What the air supplies when oxygen stands still, mg/L/h: KLa (C* - C). It equals the uptake only when KLa is known *today*:
 * halved alpha looks like an overload. Show it as oxygen demand against supply, never as an uptake.
 */
export const supplyMgPerLPerH = (kLaPerH: number, saturation: number, doMgPerL: number): number =>
  positive('KLa', kLaPerH, 'per h', true) * (saturation - within('oxygen', doMgPerL, 0, 60, 'mg/L'))

export interface OxygenBalance {
  /** Transfer coefficient, per h: diffusers, or the bare surface (0.1-0.3) when the air is off. */
  readonly kLaPerH: number
  readonly saturationMgPerL: number
  readonly uptakeMgPerLPerH: number
}

/** Dissolved oxygen after `hours` of constant supply and uptake, mg/L, never below 0. Uptake is taken as independent of oxygen. */
export function doAfterMgPerL(startMgPerL: number, hours: number, b: OxygenBalance): number {
  checkBalance(startMgPerL, b)
  positive('time', hours, 'h', true)
  if (b.kLaPerH === 0) return Math.max(0, startMgPerL - b.uptakeMgPerLPerH * hours)
  const rest = restingDoMgPerL(b)
  return Math.max(0, rest + (startMgPerL - rest) * Math.exp(-b.kLaPerH * hours))
}

/** Where oxygen comes to rest under constant supply and uptake, mg/L; below 0 means "at zero, with uptake unmet". */
export const restingDoMgPerL = (b: OxygenBalance): number => b.saturationMgPerL - b.uptakeMgPerLPerH / positive('KLa', b.kLaPerH, 'per h')

/**
 * Minutes until oxygen passes `targetMgPerL`, falling or rising; 0 when it is there already; Infinity when it never will.
 * Inverse of doAfterMgPerL.
 */
export function minutesToDo(startMgPerL: number, targetMgPerL: number, b: OxygenBalance): number {
  checkBalance(startMgPerL, b)
  within('target oxygen', targetMgPerL, 0, 60, 'mg/L')
  if (startMgPerL === targetMgPerL) return 0
  if (b.kLaPerH === 0) {
    const fall = startMgPerL - targetMgPerL
    return fall < 0 || b.uptakeMgPerLPerH === 0 ? Number.POSITIVE_INFINITY : (60 * fall) / b.uptakeMgPerLPerH
  }
  const rest = restingDoMgPerL(b)
  const share = (targetMgPerL - rest) / (startMgPerL - rest)
  return share > 0 && share < 1 ? (-60 * Math.log(share)) / b.kLaPerH : Number.POSITIVE_INFINITY
}

/** KLa from two points of a rise towards a known resting value; any one time unit in, its inverse out. source: dynamic method. */
export function kLaFromTwoPoints(resting: number, first: { readonly at: number; readonly value: number }, second: { readonly at: number; readonly value: number }): number {
  const a = positive('distance of the first point from rest', resting - first.value, 'mg/L')
  const b = positive('distance of the second point from rest', resting - second.value, 'mg/L')
  return Math.log(a / b) / positive('time between the points', second.at - first.at, 'of time')
}

function checkBalance(startMgPerL: number, b: OxygenBalance): void {
  within('oxygen', startMgPerL, 0, 60, 'mg/L')
  positive('KLa', b.kLaPerH, 'per h', true)
  within('oxygen saturation', b.saturationMgPerL, 1, 20, 'mg/L')
  positive('oxygen uptake', b.uptakeMgPerLPerH, 'mg/L/h', true)
}
