/**
 * One tank through one step: air and surface give oxygen, biology takes it, bubbles carry off CO2, chemistry settles the
 * pH, warmth leaks to the surroundings. Slow constants (saturation, carbonate) are renewed when the temperature has moved.
 */
import type { Biology, Culture } from './biology.ts'
import { type Carbonate, carbonate, carbonInAir, co2Share, hydrogen, strippingPerH } from './chemistry.ts'
import { pCo2, respiratoryQuotient } from './figures.ts'
import { alpha, type OxygenStep, oxygenStep, saturation, transferAt } from './oxygen.ts'
import { ALKALINITY, type Bath, bath, type Book, CACO3, CARBON, HEAT, OXYGEN, SALT, SOLIDS, SURFACTANT } from './species.ts'

export interface Tank {
  readonly id: string
  readonly kind: 'pad' | 'sump' | 'treatment' | 'bio' | 'finished'
  readonly volumeL: number
  readonly water: Bath
  readonly culture: Culture
  /** Oxygen transfer of its air at 20 C with clean water, per h; 0: not aerated. */
  readonly klaClean: number
  /** Oxygen transfer of the surface, per h. */
  readonly surface: number
  /** Open water, m2. */
  readonly areaM2: number
  /** Hours in which a difference to the surroundings falls to 37 %. */
  readonly tauH: number
  /** Share of its air it gets: 1, less with a torn line, 0 with the blower off. */
  air: number
  oxygen: number
  ph: number
  /** What a redox electrode in it shows, mV. */
  redox: number
  /** mg/L/h used in the last step. */
  uptake: number
  celsius: number
  h: number
  constantsAtC: number
  saturated: number
  readonly k: Carbonate
}

export function tank(t: Pick<Tank, 'id' | 'kind' | 'volumeL' | 'culture' | 'klaClean' | 'surface' | 'areaM2' | 'tauH'>, species: number): Tank {
  return {
    ...t,
    water: bath(species),
    air: t.klaClean > 0 ? 1 : 0,
    oxygen: 8,
    ph: 7.8,
    redox: 170,
    uptake: 0,
    celsius: 15,
    h: 10 ** -7.8,
    constantsAtC: Number.NaN,
    saturated: 9,
    k: { k1: 1, k2: 1, kh: 1, kw: 1 },
  }
}

/** Below this share of its volume a tank counts as drained; the pad, which is no tank, never does. */
const DRAINED = 0.04

const step: OxygenStep = { next: 0, share: 1 }

/** What a step of a tank needs to know of the plant around it. */
export interface Around {
  readonly biology: Biology
  readonly book: Book
  readonly atm: number
  /** Share of transfer lost in clogged diffusers; mg CaCO3/L/h used up; the temperature about the tank. */
  fouling: number
  alkalinityUse: number
  celsius: number
  /** Solve for pH in this step: every one where it can change fast, one a minute elsewhere. */
  acidity: boolean
}

export function stepTank(t: Tank, around: Around, dtH: number): void {
  const { biology, book, atm, fouling, alkalinityUse } = around
  const w = t.water
  if (t.kind !== 'pad' && w.litres < DRAINED * t.volumeL) {
    // A drained tank: its probe hangs in air, its culture rests.
    t.oxygen = t.saturated
    t.uptake = 0
    return
  }
  const m = w.m
  const v = 1000 / w.litres
  m[HEAT] = (m[HEAT] as number) + (around.celsius * w.litres - (m[HEAT] as number)) * (dtH / t.tauH)
  t.celsius = (m[HEAT] as number) / w.litres
  if (!(Math.abs(t.celsius - t.constantsAtC) < 0.1)) {
    t.constantsAtC = t.celsius
    t.saturated = saturation(t.celsius, ((m[SALT] as number) * v) / 1000, atm)
    carbonate(t.k, t.celsius)
  }
  const clean = t.klaClean * t.air
  const kla = clean > 0 ? transferAt(clean, t.celsius) * alpha((m[SURFACTANT] as number) * v) * (1 - fouling) : 0
  const wanted = biology.demand(w, t.culture, t.celsius, t.ph, dtH)
  oxygenStep(step, (m[OXYGEN] as number) * v, kla + t.surface, t.saturated, wanted, dtH)
  m[OXYGEN] = step.next / v
  t.oxygen = step.next
  t.uptake = wanted * step.share
  biology.react(w, t.culture, step.share, dtH, book)

  const strip = (clean > 0 ? strippingPerH(kla, clean) : 0) + 0.9 * t.surface
  const dissolved = (m[CARBON] as number) * co2Share(t.h, t.k)
  m[CARBON] = (m[CARBON] as number) + (t.uptake / 32000) * respiratoryQuotient * w.litres * dtH + (t.k.kh * pCo2 * atm * w.litres - dissolved) * (1 - 1 / (1 + strip * dtH))
  if (alkalinityUse > 0 && clean > 0) {
    const used = nitrifying(t.ph) * (alkalinityUse / 1000 / CACO3) * w.litres * dtH
    m[ALKALINITY] = (m[ALKALINITY] as number) - used
    book.alkReactedMol -= used
  }
  if (around.acidity) {
    t.h = hydrogen(Math.max(1e-9, (m[CARBON] as number) / w.litres), (m[ALKALINITY] as number) / w.litres, t.k, t.h)
    t.ph = -Math.log10(t.h)
  }
  // Mineral dirt settles to the bottom and stays there.
  m[SOLIDS] = (m[SOLIDS] as number) * (1 - 0.03 * dtH)
}

/** Share of nitrification left at a pH: whole from 7, slowing sharply below and nothing at 5.5 (bounds from a university text on treatment; the line between is ours). */
const nitrifying = (ph: number): number => Math.max(0, Math.min(1, (ph - 5.5) / 1.5))

/** Fills a tank with aerated water in balance with the air. mg/L; alkalinity as CaCO3. */
export function fill(t: Tank, litres: number, celsius: number, alkalinity: number, salt: number, atm: number, book: Book): void {
  carbonate(t.k, celsius)
  t.saturated = saturation(celsius, salt / 1000, atm)
  t.constantsAtC = celsius
  t.celsius = celsius
  const w = t.water
  w.litres = litres
  const alk = alkalinity / 1000 / CACO3
  w.m[ALKALINITY] = alk * litres
  w.m[CARBON] = carbonInAir(alk, t.k, atm) * 1.02 * litres
  w.m[SALT] = (salt / 1000) * litres
  w.m[OXYGEN] = (t.saturated / 1000) * 0.93 * litres
  w.m[HEAT] = celsius * litres
  t.oxygen = t.saturated * 0.93
  t.h = hydrogen(w.m[CARBON] / litres, alk, t.k, 1e-8)
  t.ph = -Math.log10(t.h)
  book.inL.other += litres
  for (let k = 0; k < w.m.length; k++) book.came[k] = (book.came[k] as number) + (w.m[k] as number)
}
