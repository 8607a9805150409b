/**
 * The reference biology: ASM1 with all eight processes behind the interface of the working model. Attached cells (carriers, cones) and
 * floating ones follow the same rates; what finds no room on the carriers floats on. Nitrification comes by itself where retention keeps
 * nitrifiers long enough, and with it nitrate, denitrification and the loss of alkalinity.
 *
 * Added to the model, and ours: growth switched by pH and surfactant, killed cells go the way of decayed ones (inactivation.ts), no
 * growth without ammonium. Oxygen switches of growth and nitrification are taken at the oxygen of the step before.
 * source  Henze et al. 1987/2000, typical set at 20 and 10 C (asm1-parameters.ts)
 */
import { asm1At, type Asm1Parameters } from './asm1-parameters.ts'
import { type Biology, pHSwitch, warmth } from './biology.ts'
import * as f from './figures.ts'
import { killPerH } from './inactivation.ts'
import { fadeBiocide, rot, takeApart } from './side-reactions.ts'
import { ALKALINITY, COD, DEBRIS, FLOC, NITRATE, NITRIFIERS, NITROGEN, OIL, ORGANIC_N, OXIDANT, OXYGEN, PARTICLE_N, PRODUCTS, SULFIDE, SURFACTANT, TOXICANT } from './species.ts'

const TYPICAL = asm1At(20)
/** COD of nitrate against ammonia, and what denitrification is worth, g/g N: the model's own rounding. */
const NITRATE_COD = 4.57
const DENITRIFIED_COD = 2.86
/** Ammonium below which growth ceases, mg N/L. Ours: the model itself lets it go negative. */
const HALF_AMMONIUM = 0.05
/** Share of the room on carriers that nitrifiers hold. Ours. */
const NITRIFIER_ROOM = 0.15

export function referenceModel(): Biology {
  let p: Asm1Parameters = TYPICAL
  let atC = 20
  let temp = 20
  let ph = 7
  let warm = 1
  let litres = 1
  // Per h, g COD: growth with plenty of oxygen of heterotrophs and nitrifiers.
  let fed = 0
  let nitrifying = 0
  let sulfur = 0
  return {
    nitrogen: { living: TYPICAL.iXB, products: TYPICAL.iXP },

    demand(water, culture, tempC, phNow, dtH) {
      const m = water.m
      litres = water.litres
      temp = tempC
      ph = phNow
      warm = warmth(tempC)
      if (!(Math.abs(tempC - atC) < 0.1)) {
        atC = tempC
        p = asm1At(Math.max(2, Math.min(40, tempC)))
      }
      const v = 1000 / litres
      const hot = tempC < 36 ? 1 : Math.max(0, (45 - tempC) / 9)
      const s = (m[SURFACTANT] as number) * v
      const grows = (pHSwitch(phNow) * hot) / (1 + (s / f.surfactantHalf) ** 2)
      const ammonium = (m[NITROGEN] as number) * v
      const food = m[COD] as number
      const cells = culture.active + (m[FLOC] as number)
      const per = (grows * p.muH * cells * v * ammonium) / (24 * p.yH * (p.kS + food * v) * (HALF_AMMONIUM + ammonium))
      fed = (p.yH * food * per) / (1 + per * dtH)
      const oxygen = Math.max(1e-9, (m[OXYGEN] as number) * v)
      const switchA = (oxygen / (p.kOA + oxygen)) * ((p.kOH + oxygen) / oxygen)
      const perN = (grows * p.muA * (culture.nitrifiers + (m[NITRIFIERS] as number)) * v * switchA) / (24 * p.yA * (p.kNH + ammonium))
      nitrifying = (p.yA * (m[NITROGEN] as number) * perN) / (1 + perN * dtH)
      sulfur = 2 * (m[SULFIDE] as number)
      return (((1 - p.yH) / p.yH) * fed + ((NITRATE_COD - p.yA) / p.yA) * nitrifying + 2 * sulfur) * v
    },

    react(water, culture, share, dtH, book) {
      const m = water.m
      const dtD = dtH / 24
      const v = 1000 / litres
      const cells = culture.active + (m[FLOC] as number)
      const nitrifiers = culture.nitrifiers + (m[NITRIFIERS] as number)
      const slow = culture.store + (m[DEBRIS] as number)
      const slowN = culture.storeN + (m[PARTICLE_N] as number)
      const nitrate = (m[NITRATE] as number) * v
      const anoxic = ((1 - share) * nitrate) / (p.kNO + nitrate)
      const kill = harm(culture.anoxicH, water, share, culture.carriers)

      // The eight processes, g in this step.
      const denitrified = (1 - p.yH) / (DENITRIFIED_COD * p.yH)
      const r1 = fed * share * dtH
      const r2 = Math.min(fed * anoxic * p.etaG * dtH, (0.9 * (m[NITRATE] as number)) / denitrified, Math.max(0, 0.9 * (m[COD] as number) * p.yH - r1))
      const r3 = nitrifying * share * dtH
      const r4 = cells * (1 - Math.exp(-(p.bH * dtD + kill * dtH)))
      const r5 = nitrifiers * (1 - Math.exp(-(p.bA * dtD + kill * dtH)))
      const r6 = Math.min(0.5, p.kA * cells * v * dtD) * (m[ORGANIC_N] as number)
      const per = cells > 1e-9 ? slow / cells : 0
      const r7 = Math.min(0.5 * slow, ((p.kH * per) / (p.kX + per)) * (share + p.etaH * anoxic) * cells * dtD)
      const r8 = slow > 1e-9 ? (r7 * slowN) / slow : 0

      // Dissolved.
      m[COD] = (m[COD] as number) - (r1 + r2) / p.yH + r7
      m[NITROGEN] = (m[NITROGEN] as number) - p.iXB * (r1 + r2) - (p.iXB + 1 / p.yA) * r3 + r6
      m[NITRATE] = (m[NITRATE] as number) + r3 / p.yA - denitrified * r2
      m[ORGANIC_N] = (m[ORGANIC_N] as number) - r6 + r8
      const charge = -(p.iXB / 14) * (r1 + r2 + r3) + (denitrified / 14) * r2 - r3 / (7 * p.yA) + r6 / 14
      m[ALKALINITY] = (m[ALKALINITY] as number) + charge
      book.alkReactedMol += charge
      book.burntG += ((1 - p.yH) / p.yH) * (r1 + r2)
      book.fixedG += r3
      book.gasN += denitrified * r2

      // Cells: attached and floating share growth and decay by what there is of each.
      const stuck = cells > 0 ? culture.active / cells : 0
      const space = culture.room > 0 ? Math.max(0, 1 - (culture.active / culture.room) ** 3) : 0
      const attached = (r1 + r2) * stuck * space
      culture.active += attached - r4 * stuck
      m[FLOC] = (m[FLOC] as number) + (r1 + r2) - attached - r4 * (1 - stuck)
      const stuckA = nitrifiers > 0 ? culture.nitrifiers / nitrifiers : 0
      const spaceA = culture.room > 0 ? Math.max(0, 1 - culture.nitrifiers / (NITRIFIER_ROOM * culture.room)) : 0
      culture.nitrifiers += r3 * stuckA * spaceA - r5 * stuckA
      m[NITRIFIERS] = (m[NITRIFIERS] as number) + r3 * (1 - stuckA * spaceA) - r5 * (1 - stuckA)

      // Decayed: slowly degradable where the cell was, inert into the water.
      const decayed = 1 - p.fP
      const boundN = p.iXB - p.fP * p.iXP
      const here = stuck * r4 + stuckA * r5
      const afloat = r4 + r5 - here
      const onStore = slow > 0 ? culture.store / slow : 0
      const onStoreN = slowN > 0 ? culture.storeN / slowN : 0
      culture.store += decayed * here - r7 * onStore
      culture.storeN += boundN * here - r8 * onStoreN
      m[DEBRIS] = (m[DEBRIS] as number) + decayed * afloat - r7 * (1 - onStore)
      m[PARTICLE_N] = (m[PARTICLE_N] as number) + boundN * afloat - r8 * (1 - onStoreN)
      m[PRODUCTS] = (m[PRODUCTS] as number) + p.fP * (r4 + r5)

      // Carriers and cones catch what floats by.
      const living = Math.min(1, f.catchLivingPerH * space * dtH)
      const particles = culture.room > 0 ? Math.min(1, f.catchStorePerH * Math.max(0, 1 - culture.store / (2.5 * culture.room)) * dtH) : 0
      culture.active += drain(m, FLOC, living)
      culture.nitrifiers += drain(m, NITRIFIERS, living)
      culture.store += drain(m, DEBRIS, particles) + drain(m, OIL, particles)
      culture.storeN += drain(m, PARTICLE_N, particles)

      const oxidised = Math.min(sulfur * share * dtH, m[SULFIDE] as number)
      m[SULFIDE] = (m[SULFIDE] as number) - oxidised
      takeApart(water, culture.active, warm, share * dtH)
      culture.anoxicH = share < 0.2 ? culture.anoxicH + dtH : Math.max(0, culture.anoxicH - 8 * dtH)
      if (culture.anoxicH > 0 && share < 0.2) rot(water, culture.anoxicH, culture.active + culture.store + (m[FLOC] as number) + (m[COD] as number), temp, dtH)
      fadeBiocide(water, dtH)
    },

    capacity: (culture) => (TYPICAL.muH / 24 / TYPICAL.yH) * culture.active,
  }

  function harm(anoxicH: number, water: { readonly m: Float64Array }, share: number, carriers: boolean): number {
    const v = 1000 / litres
    return killPerH(ph, (water.m[OXIDANT] as number) * v, (water.m[TOXICANT] as number) * v, temp, share < 0.2 ? anoxicH : 0, carriers)
  }
}

/** Takes a share of a species out of the water; gives the amount. */
function drain(m: Float64Array, k: number, share: number): number {
  const g = (m[k] as number) * share
  m[k] = (m[k] as number) - g
  return g
}
