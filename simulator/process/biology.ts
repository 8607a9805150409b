/**
 * The biology of one tank. Behind the small interface stands the working model: attached active biomass that takes up
 * dissolved COD (Monod), a store of slowly burnt matter that keeps an idle tank breathing, flakes that tear off and are caught again, and
 * explicit inactivation. Another model (ASM1) can stand behind the same interface.
 *
 * COD is conserved: what is taken up is burnt, built, laid down or set adrift. Oxygen used equals COD burnt, plus 2 g per g of sulfide.
 */
import * as f from './figures.ts'
import { killPerH } from './inactivation.ts'
import { type Bath, type Book, COD, DEBRIS, FLOC, INERT, NITROGEN, OIL, OXIDANT, SULFIDE, SURFACTANT, SURFACTANT_COD, TOXICANT } from './species.ts'

/** What stays when the water leaves; g COD in the whole tank. */
export interface Culture {
  active: number
  store: number
  dead: number
  /** Hours since the oxygen was used up; 0 while there is some. */
  anoxicH: number
  /** Active biomass the carriers have room for, g COD. */
  readonly room: number
  readonly carriers: boolean
  /** Share of the culture that goes with the water: 0 carriers, 1 none. */
  readonly washout: number
}

export interface Biology {
  /** Oxygen wanted now if there is plenty, mg/L/h. */
  demand(water: Bath, culture: Culture, tempC: number, ph: number, dtH: number): number
  /** Reacts for `dtH` hours with `share` (0 to 1) of the wanted oxygen; call after `demand` of the same bath. */
  react(water: Bath, culture: Culture, share: number, dtH: number, book: Book): void
  /** Food a fed tank could take up now at 20 C, neutral pH and plenty of oxygen, g COD/h. */
  capacity(culture: Culture): number
}

/** Share of growth left at a pH: 1 from 6.5 to 8.5, 0 at 4.5 and 10.5. Common practice, no source. */
export const pHSwitch = (ph: number): number => Math.max(0, Math.min(1, (ph - 4.5) / 2, (10.5 - ph) / 2))

/** Temperature factor against 20 C: 1.07 below, 1.05 above (handbook F2.6), fading to nothing from 36 to 45 C (ours). */
export function warmth(c: number): number {
  const k = c < 20 ? Math.exp(0.0676586 * (c - 20)) : Math.exp(0.0487902 * (c - 20))
  return c < 36 ? k : k * Math.max(0, (45 - c) / 9)
}

export function workingModel(): Biology {
  // Rates of the bath last asked for, per h or g/h; `react` uses them at once.
  let litres = 0
  let warm = 0
  let ph = 7
  let temp = 20
  let uptake = 0
  let decay = 0
  let burn = 0
  let drift = 0
  let sulfur = 0
  return {
    demand(water, culture, tempC, phNow, dtH) {
      litres = water.litres
      temp = tempC
      ph = phNow
      warm = warmth(tempC)
      const m = water.m
      const v = 1000 / litres
      const switched = pHSwitch(phNow)
      const n = (m[NITROGEN] as number) * v
      const s = (m[SURFACTANT] as number) * v
      const inhibited = 1 / (1 + (s / f.surfactantHalf) ** 2)
      const food = (m[COD] as number) * v
      const living = culture.active + 0.3 * (m[FLOC] as number)
      const per = (f.uptakePerH * living * v * warm * switched * inhibited * (0.3 + (0.7 * n) / (n + 0.1))) / (f.halfSatCod + food)
      uptake = ((m[COD] as number) * per) / (1 + per * dtH)
      decay = f.decayPerH * culture.active * warm
      const total = culture.active + culture.store
      burn = total > 0 ? (f.storePerH * culture.active * culture.store * warm * switched) / (f.storeHalf * culture.active + culture.store) : 0
      drift = 0.004 * (m[FLOC] as number) * warm
      sulfur = 2 * (m[SULFIDE] as number)
      return ((1 - f.yieldCod) * uptake + (1 - f.inertShare) * decay + burn + drift + 2 * sulfur) * v
    },

    react(water, culture, share, dtH, book) {
      const m = water.m
      const dt = share * dtH
      const took = uptake * dt
      const made = f.yieldCod * took
      const space = culture.room > 0 ? Math.max(0, 1 - (culture.active / culture.room) ** 3) : 0
      const storeSpace = culture.room > 0 ? Math.max(0, 1 - culture.store / (2.5 * culture.room)) : 0
      const attached = f.attachShare * made * space
      const laid = f.layDownShare * made * storeSpace
      const gone = decay * dt
      const burnt = Math.min(burn * dt, culture.store)
      const floated = drift * dt
      const oxidised = Math.min(sulfur * dt, m[SULFIDE] as number)
      m[COD] = (m[COD] as number) - took
      m[NITROGEN] = Math.max(0, (m[NITROGEN] as number) - 0.05 * made + 0.05 * gone)
      m[FLOC] = (m[FLOC] as number) + made - attached - laid - floated
      m[DEBRIS] = (m[DEBRIS] as number) + f.inertShare * gone
      m[SULFIDE] = (m[SULFIDE] as number) - oxidised
      culture.active += attached - gone
      culture.store += laid - burnt
      book.burntG += took - made + (1 - f.inertShare) * gone + burnt + floated

      // Carriers and cones catch what floats by.
      const living = Math.min(1, f.catchLivingPerH * space * dtH) * (m[FLOC] as number)
      const flakes = Math.min(1, f.catchStorePerH * storeSpace * dtH)
      const stored = flakes * ((m[FLOC] as number) - living)
      const particles = flakes * (m[DEBRIS] as number)
      const oily = Math.min(1, 2 * f.oilPerH * storeSpace * dtH) * (m[OIL] as number)
      m[FLOC] = (m[FLOC] as number) - living - stored
      m[DEBRIS] = (m[DEBRIS] as number) - particles
      m[OIL] = (m[OIL] as number) - oily
      culture.active += living
      culture.store += stored + particles + oily

      const density = Math.min(2, culture.active / litres / 0.9)
      const apart = Math.min(0.5, f.surfactantPerH * density * warm * dt) * (m[SURFACTANT] as number)
      m[SURFACTANT] = (m[SURFACTANT] as number) - apart
      m[COD] = (m[COD] as number) + SURFACTANT_COD * apart
      const split = Math.min(0.5, f.oilPerH * density * warm * dt) * (m[OIL] as number)
      m[OIL] = (m[OIL] as number) - split
      m[COD] = (m[COD] as number) + split
      const melted = 0.0005 * warm * dtH * (m[DEBRIS] as number)
      m[DEBRIS] = (m[DEBRIS] as number) - melted
      m[COD] = (m[COD] as number) + 0.8 * melted
      m[INERT] = (m[INERT] as number) + 0.2 * melted

      harm(water, culture, share, dtH)
    },

    capacity: (culture) => f.uptakePerH * culture.active,
  }

  function harm(water: Bath, culture: Culture, share: number, dtH: number): void {
    const m = water.m
    const v = 1000 / litres
    culture.anoxicH = share < 0.2 ? culture.anoxicH + dtH : Math.max(0, culture.anoxicH - 8 * dtH)
    if (culture.active > 0) {
      const k = killPerH(ph, (m[OXIDANT] as number) * v, (m[TOXICANT] as number) * v, temp, share < 0.2 ? culture.anoxicH : 0, culture.carriers)
      if (k > 0) {
        const killed = culture.active * (1 - Math.exp(-k * dtH))
        culture.active -= killed
        culture.dead += killed
      }
    }
    if (culture.dead > 0) {
      const burst = culture.dead * Math.min(1, 0.08 * warm * dtH)
      culture.dead -= burst
      m[COD] = (m[COD] as number) + 0.3 * burst
      m[DEBRIS] = (m[DEBRIS] as number) + 0.5 * burst
      m[INERT] = (m[INERT] as number) + 0.2 * burst
    }
    // Without oxygen, sulfate becomes sulfide; slow to begin: hours 8 (25 C) to 16 (15 C) until it smells (practice notes, F1).
    if (culture.anoxicH > 0 && share < 0.2) {
      const ripe = Math.min(1, culture.anoxicH / 8) ** 2
      const food = culture.active + culture.store + (m[FLOC] as number) + (m[COD] as number)
      m[SULFIDE] = (m[SULFIDE] as number) + Math.min(0.0004 * food, 0.0006 * litres) * ripe * 2 ** ((temp - 25) / 10) * dtH
    }
    m[TOXICANT] = (m[TOXICANT] as number) * (1 - 0.03 * dtH)
  }
}
