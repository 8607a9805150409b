/**
 * Carbonate system of one bath: alkalinity and total inorganic carbon give pH; bubbles strip CO2, respiration makes it.
 * Constants: Plummer and Busenberg 1982 as in the USGS PHREEQC database (phreeqc.dat). Dilute water, 0 to 40 C.
 */
import { pCo2 } from './figures.ts'

export interface Carbonate {
  /** mol/L, mol/L, mol/L/atm, mol2/L2. */
  k1: number
  k2: number
  kh: number
  kw: number
}

const LN10 = Math.LN10

export function carbonate(out: Carbonate, c: number): void {
  const t = c + 273.15
  const lg = Math.log10(t)
  out.k1 = Math.exp(LN10 * (-356.3094 - 0.06091964 * t + 21834.37 / t + 126.8339 * lg - 1684915 / (t * t)))
  out.k2 = Math.exp(LN10 * (-107.8871 - 0.03252849 * t + 5151.79 / t + 38.92561 * lg - 563713.9 / (t * t)))
  out.kh = Math.exp(LN10 * (108.3865 + 0.01985076 * t - 6919.53 / t - 40.45154 * lg + 669365 / (t * t)))
  out.kw = Math.exp(LN10 * (6.0875 - 0.01706 * t - 4470.99 / t))
}

/**
 * Hydrogen ion, mol/L, of water with carbon `ct` (mol/L) and alkalinity `alk` (eq/L). Newton in ln h from the last
 * answer; the function falls steadily in h, so bisection takes over when Newton strays.
 */
export function hydrogen(ct: number, alk: number, k: Carbonate, guess: number): number {
  const { k1, k2, kw } = k
  let u = Math.log(guess)
  for (let i = 0; i < 12; i++) {
    const h = Math.exp(u)
    const d = h * h + k1 * h + k1 * k2
    const n = k1 * h + 2 * k1 * k2
    const f = (ct * n) / d + kw / h - h - alk
    const slope = (ct * h * (k1 * d - n * (2 * h + k1))) / (d * d) - kw / h - h
    const step = -f / slope
    if (Math.abs(step) < 1e-5) return Math.exp(u + step)
    u += step > 2 ? 2 : step < -2 ? -2 : step
    if (u > 0 || u < -36) break
  }
  let low = 1e-14
  let high = 1
  for (let i = 0; i < 60; i++) {
    const h = Math.sqrt(low * high)
    const d = h * h + k1 * h + k1 * k2
    if ((ct * (k1 * h + 2 * k1 * k2)) / d + kw / h - h > alk) low = h
    else high = h
  }
  return Math.sqrt(low * high)
}

/** Share of total carbon that is dissolved CO2. */
export const co2Share = (h: number, k: Carbonate): number => (h * h) / (h * h + k.k1 * h + k.k1 * k.k2)

/** Total carbon, mol/L, of water of this alkalinity (eq/L) in balance with the air. */
export function carbonInAir(alk: number, k: Carbonate, atm: number): number {
  const co2 = k.kh * pCo2 * atm
  let low = 1e-12
  let high = 1e-3
  for (let i = 0; i < 60; i++) {
    const h = Math.sqrt(low * high)
    if ((co2 * (k.k1 * h + 2 * k.k1 * k.k2)) / (h * h) + k.kw / h - h > alk) low = h
    else high = h
  }
  const h = Math.sqrt(low * high)
  return co2 / co2Share(h, k)
}

/** Total carbon, mol/L, of water of a given pH and alkalinity (eq/L). */
export function carbonAt(ph: number, alk: number, k: Carbonate): number {
  const h = 10 ** -ph
  return ((alk - k.kw / h + h) * (h * h + k.k1 * h + k.k1 * k.k2)) / (k.k1 * h + 2 * k.k1 * k.k2)
}

/**
 * CO2 leaving with bubbles, per h, for a transfer coefficient of oxygen. Bubbles of so soluble a gas fill up on their way, so
 * stripping is limited by the air blown through (about 0.65 of clean KLa here, ours) as well as by transfer (0.91 of KLa: square root of the
 * ratio of diffusivities, common practice).
 */
export function strippingPerH(kla: number, clean: number): number {
  const gas = 0.65 * clean
  return gas > 1e-9 ? gas * (1 - Math.exp((-0.91 * kla) / gas)) : 0
}
