/**
 * Oxygen between bubbles, surface, water and biology. Saturation after Benson and Krause, transfer
 * with alpha of surfactant and fouling, and one implicit step that stays above zero however hungry the tank is.
 */
import { alphaMin, halfSatOxygen } from './figures.ts'

/** Oxygen at saturation, mg/L. c 0 to 40 degrees, salt g/kg, atm 0.5 to 1.1. Source: Benson and Krause 1980/1984 as in USGS memo 2011.03. */
export function saturation(c: number, salt: number, atm: number): number {
  const t = c + 273.15
  const fresh = Math.exp(-139.34411 + (1.575701e5 + (-6.642308e7 + (1.2438e10 - 8.621949e11 / t) / t) / t) / t)
  const fs = Math.exp(-salt * (0.017674 - 10.754 / t + 2140.7 / (t * t)))
  const theta = 0.000975 - 1.426e-5 * c + 6.436e-8 * c * c
  const u = Math.exp(11.8571 - 3840.7 / t - 216961 / (t * t))
  return fresh * fs * (((atm - u) * (1 - theta * atm)) / ((1 - u) * (1 - theta)))
}

/** Pressure of the air at a height, atm: ln P = 5.25 ln(1 - h/44300). Source: form of Standard Methods (from memory). */
export const airPressure = (altitudeM: number): number => Math.exp(5.25 * Math.log(1 - altitudeM / 44300))

/**
 * Share of clean-water transfer left at a surfactant concentration (mg/L). Falls from 1 to 0.35: Schwarz et al. 2021 report a mean of
 * 0.45 (0.33 to 0.54) in surfactant-laden first stages and 0.80 after. The shape between is ours.
 */
export const alpha = (surfactant: number): number => alphaMin + (1 - alphaMin) / (1 + Math.max(0, surfactant) / 10)

/** KLa at c degrees from its value at 20: theta 1.024. Source: ASCE 2-06 (from memory). */
export const transferAt = (kla20: number, c: number): number => kla20 * Math.exp(0.023716526617316065 * (c - 20))

export interface OxygenStep {
  /** mg/L at the end. */
  next: number
  /** Share of the wanted oxygen the biology got, 0 to 1. */
  share: number
}

/**
 * One step of dC/dt = k (C* - C) - wanted C/(KO + C). Implicit in C with the half-saturation of the old value, so it
 * never goes below zero and needs no sub-steps. k per h (bubbles and surface together), wanted mg/L/h, dtH hours.
 */
export function oxygenStep(out: OxygenStep, c: number, k: number, cStar: number, wanted: number, dtH: number): void {
  const old = c > 0 ? c : 0
  const next = (old + dtH * k * cStar) / (1 + dtH * (k + wanted / (halfSatOxygen + old)))
  out.next = next
  out.share = next / (halfSatOxygen + old)
}
