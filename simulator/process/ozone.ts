/**
 * Ozone in the finished-water tank: dosed while the generator runs, eaten by whatever is in the water, slowly by itself; and
 * what a redox electrode makes of oxygen, sulfide and oxidant. Half-life in clean water: 30, 20, 15, 12 min at 15, 20, 25, 30 C (common table, no single source). Bands of the
 * redox potential (mV against Ag/AgCl): common practice, no source; the curve through them is ours.
 */
import { type Bath, type Book, COD, DEBRIS, FLOC, NITROGEN, OXIDANT, OXYGEN, SURFACTANT, SURFACTANT_COD } from './species.ts'

/** Own decay in clean water, per h: half-life 20 min at 20 C, 30 at 15, 12 at 30 (log-linear). */
export const ozoneDecayPerH = (c: number): number => 2.08 * Math.exp(0.061 * (c - 20))

/** Less than this is nothing, g. */
export const TRACE_G = 1e-6

/** One step: `gPerH` dosed, decay, and reaction with dissolved organics and with the culture (`biofilm`, mg/L; second order, ours).
 * Each g spent on dissolved matter burns a g of COD; what the culture takes is told by inactivation. */
export function stepOzone(water: Bath, gPerH: number, tempC: number, biofilm: number, dtH: number, book: Book, livingN: number): void {
  const m = water.m
  if (gPerH > 0) {
    m[OXIDANT] = (m[OXIDANT] as number) + gPerH * dtH
    book.came[OXIDANT] = (book.came[OXIDANT] as number) + gPerH * dtH
  }
  const g = m[OXIDANT] as number
  if (g < TRACE_G) return
  const v = 1000 / water.litres
  const cod = m[COD] as number
  const floc = 0.3 * (m[FLOC] as number)
  const debris = 0.1 * (m[DEBRIS] as number)
  const surfactant = m[SURFACTANT] as number
  const foodG = cod + floc + debris + SURFACTANT_COD * surfactant
  const own = ozoneDecayPerH(tempC)
  const eaten = 0.4 * foodG * v
  const film = 0.03 * biofilm
  const lost = g * (1 - 1 / (1 + (own + eaten + film) * dtH))
  m[OXIDANT] = g - lost
  book.went[OXIDANT] = (book.went[OXIDANT] as number) + lost
  if (foodG > 1e-9) {
    const share = Math.min(0.5, (lost * eaten) / (own + eaten + film) / foodG)
    m[COD] = cod * (1 - share)
    m[FLOC] = (m[FLOC] as number) - floc * share
    // The nitrogen of burnt flakes is left in the water.
    m[NITROGEN] = (m[NITROGEN] as number) + livingN * floc * share
    m[DEBRIS] = (m[DEBRIS] as number) - debris * share
    m[SURFACTANT] = surfactant * (1 - share)
    book.oxidisedG += foodG * share
  }
}

/** Ozone in the gas of a generator fed with oxygen, by weight; share of that oxygen that air is of; share of the gas that dissolves in water at rest with the air. Common practice, no source. */
const OZONE_IN_GAS = 0.08
const GAS_OXYGEN = 0.9
const AIR_OXYGEN = 0.2095
const DISSOLVES = 0.3

/**
 * The gas that carries the ozone is nearly pure oxygen: while it bubbles, the water heads for a saturation four times that of air (Henry's law with
 * the share of oxygen in the gas). `gPerH` of ozone, `saturated` mg/L against air.
 */
export function carrierOxygen(water: Bath, gPerH: number, saturated: number, dtH: number): void {
  if (gPerH <= 0 || water.litres < 1) return
  const m = water.m
  const rich = ((saturated * GAS_OXYGEN) / AIR_OXYGEN / 1000) * water.litres
  const atRest = (saturated / 1000) * water.litres
  // Transfer such that water at rest with the air takes up its share of the gas.
  const k = (DISSOLVES * gPerH) / OZONE_IN_GAS / (rich - atRest)
  m[OXYGEN] = ((m[OXYGEN] as number) + dtH * k * rich) / (1 + dtH * k)
}

/** Redox potential a clean electrode settles at, mV against Ag/AgCl. Concentrations in mg/L. */
export function redox(oxygen: number, sulfide: number, oxidant: number, ph: number): number {
  const air = 165 + 72 * Math.log10((Math.max(0, oxygen) + 0.01) / 5)
  const rotten = -95 * Math.log10(1 + Math.max(0, sulfide) / 0.15)
  const bright = 460 * (1 - Math.exp(-Math.max(0, oxidant) / 0.06))
  return air + rotten + bright - 25 * (ph - 7.5)
}
