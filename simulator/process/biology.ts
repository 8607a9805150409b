/**
 * The biology of one tank. Behind the small interface stands the working model: attached active biomass that takes up
 * dissolved COD (Monod), a store of slowly burnt matter that keeps an idle tank breathing, flakes that tear off and are caught again, and
 * explicit inactivation. Another model (ASM1) can stand behind the same interface.
 *
 * COD is conserved: what is taken up is burnt, built, laid down or set adrift. Oxygen used equals COD burnt, plus 2 g per g of sulfide.
 * Nitrogen is conserved: living matter holds 5 %, stored matter and slime none, and without nitrogen slime is all that is built.
 */
import * as f from './figures.ts'
import { killPerH } from './inactivation.ts'
import { fadeBiocide, rot, takeApart } from './side-reactions.ts'
import { type Bath, type Book, COD, DEBRIS, FLOC, INERT, NITROGEN, type NitrogenShares, OIL, OXIDANT, SULFIDE, SURFACTANT, TOXICANT } from './species.ts'

/** What stays when the water leaves; g COD in the whole tank. The last two belong to the reference model (asm1-biology.ts). */
export interface Culture {
  active: number
  store: number
  dead: number
  /** Share of the uptake machinery that is at hand: 1 well fed, less when the store is gone. The working model's alone. */
  ready: number
  /** Hours since the oxygen was used up; 0 while there is some. */
  anoxicH: number
  /** Active biomass the carriers have room for, g COD. */
  readonly room: number
  readonly carriers: boolean
  /** Share of the culture that goes with the water: 0 carriers, 1 none. */
  readonly washout: number
  /** Attached nitrifiers, g COD, and nitrogen bound in the store, g N. */
  nitrifiers: number
  storeN: number
}

export const cultureCod = (c: Culture): number => c.active + c.store + c.dead + c.nitrifiers
export const cultureN = (c: Culture, i: NitrogenShares): number => i.living * (c.active + c.dead + c.nitrifiers) + c.storeN

export interface Biology {
  /** Oxygen wanted now if there is plenty, mg/L/h. */
  demand(water: Bath, culture: Culture, tempC: number, ph: number, dtH: number): number
  /** Reacts for `dtH` hours with `share` (0 to 1) of the wanted oxygen; call after `demand` of the same bath. */
  react(water: Bath, culture: Culture, share: number, dtH: number, book: Book): void
  /** Food a fed tank could take up now at 20 C, neutral pH and plenty of oxygen, g COD/h. */
  capacity(culture: Culture): number
  readonly nitrogen: NitrogenShares
}

/** Share of growth left at a pH: 1 from 6.5 to 8.5, 0 at 4.5 and 10.5. Common practice, no source. */
export const pHSwitch = (ph: number): number => Math.max(0, Math.min(1, (ph - 4.5) / 2, (10.5 - ph) / 2))

/** Nitrogen in living matter of the working model, g N/g COD. Common practice, no source. */
const LIVING_N = 0.05

/** Temperature factor against 20 C: 1.07 below, 1.05 above (common practice, no source), fading to nothing from 36 to 45 C (ours). */
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
    nitrogen: { living: LIVING_N, products: 0 },

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
      const living = culture.active * culture.ready + 0.3 * (m[FLOC] as number)
      const per = (f.uptakePerH * living * v * warm * switched * inhibited * (0.3 + (0.7 * n) / (n + 0.1))) / (f.halfSatCod + food)
      uptake = ((m[COD] as number) * per) / (1 + per * dtH)
      decay = f.decayPerH * culture.active * warm
      const total = culture.active + culture.store
      burn = total > 0 ? (f.storePerH * culture.active * culture.store * warm * switched) / (f.storeHalf * culture.active + culture.store) : 0
      drift = 0.0045 * (m[FLOC] as number) * warm
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
      const laid = f.layDownShare * made * storeSpace
      // Cells need nitrogen; what is built without it is slime.
      const wanted = made - laid
      const cells = Math.min(wanted, (0.9 * (m[NITROGEN] as number)) / LIVING_N)
      const attached = wanted > 0 ? (f.attachShare * made * space * cells) / wanted : 0
      const gone = decay * dt
      const burnt = Math.min(burn * dt, culture.store)
      const floated = drift * dt
      const oxidised = Math.min(sulfur * dt, m[SULFIDE] as number)
      m[COD] = (m[COD] as number) - took
      m[FLOC] = (m[FLOC] as number) + cells - attached - floated
      m[DEBRIS] = (m[DEBRIS] as number) + wanted - cells + f.inertShare * gone
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
      // Flakes caught for store, burnt or decayed cells give their nitrogen back.
      m[NITROGEN] = (m[NITROGEN] as number) + LIVING_N * (gone + floated + stored - cells)

      if (culture.active > 0) {
        const stock = (culture.store / culture.active) ** 2
        culture.ready += (f.sleepingShare + ((1 - f.sleepingShare) * stock) / (stock + f.sleepHalf ** 2) - culture.ready) * Math.min(1, dtH / f.wakeH)
      }

      takeApart(water, culture.active * culture.ready, warm, dt)
      const melted = 0.0005 * warm * dtH * (m[DEBRIS] as number)
      m[DEBRIS] = (m[DEBRIS] as number) - melted
      m[COD] = (m[COD] as number) + 0.8 * melted
      m[INERT] = (m[INERT] as number) + 0.2 * melted

      harm(water, culture, share, dtH)
    },

    capacity: (culture) => f.uptakePerH * culture.active * culture.ready,
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
        // What floats dies of the same and falls to dust.
        const dust = (m[FLOC] as number) * (1 - Math.exp(-k * dtH))
        m[FLOC] = (m[FLOC] as number) - dust
        m[DEBRIS] = (m[DEBRIS] as number) + dust
        m[NITROGEN] = (m[NITROGEN] as number) + LIVING_N * dust
      }
    }
    if (culture.dead > 0) {
      const burst = culture.dead * Math.min(1, 0.08 * warm * dtH)
      culture.dead -= burst
      m[COD] = (m[COD] as number) + 0.3 * burst
      m[DEBRIS] = (m[DEBRIS] as number) + 0.5 * burst
      m[INERT] = (m[INERT] as number) + 0.2 * burst
      m[NITROGEN] = (m[NITROGEN] as number) + LIVING_N * burst
    }
    if (culture.anoxicH > 0 && share < 0.2) rot(water, culture.anoxicH, culture.active + culture.store + (m[FLOC] as number) + (m[COD] as number), temp, dtH)
    fadeBiocide(water, dtH)
  }
}
