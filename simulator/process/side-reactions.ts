/**
 * What goes on in a tank beside growth, whichever model stands for growth: surfactant and oil come apart into food, carriers and
 * cones catch what floats by, sulfate turns to sulfide without oxygen, a biocide fades. COD is conserved in each.
 */
import * as f from './figures.ts'
import { type Bath, COD, OIL, SULFIDE, SURFACTANT, SURFACTANT_COD, TOXICANT } from './species.ts'

/** Surfactant and oil into food; `living` in g COD, `warm` the temperature factor, `dt` hours with oxygen. */
export function takeApart(water: Bath, living: number, warm: number, dt: number): void {
  const m = water.m
  const density = Math.min(2, living / water.litres / 0.9)
  const apart = Math.min(0.5, f.surfactantPerH * density * warm * dt) * (m[SURFACTANT] as number)
  m[SURFACTANT] = (m[SURFACTANT] as number) - apart
  m[COD] = (m[COD] as number) + SURFACTANT_COD * apart
  const split = Math.min(0.5, f.oilPerH * density * warm * dt) * (m[OIL] as number)
  m[OIL] = (m[OIL] as number) - split
  m[COD] = (m[COD] as number) + split
}

/**
 * Without oxygen, sulfate becomes sulfide; slow to begin: it smells 8 h (25 C) to 16 h (15 C) after the oxygen is gone (common practice, no source). The
 * ripening is slower in the cold as the rate is, so that the time to a given sulfide doubles with every 10 degrees less.
 */
export function rot(water: Bath, anoxicH: number, food: number, tempC: number, dtH: number): void {
  const m = water.m
  const ripe = Math.min(1, anoxicH / (8 * 2 ** ((25 - tempC) / 10))) ** 4
  m[SULFIDE] = (m[SULFIDE] as number) + Math.min(0.0004 * food, 0.0006 * water.litres) * ripe * 2 ** ((tempC - 25) / 10) * dtH
}

/** A biocide fades by 3 % an hour. Ours. */
export function fadeBiocide(water: Bath, dtH: number): void {
  water.m[TOXICANT] = (water.m[TOXICANT] as number) * (1 - 0.03 * dtH)
}
