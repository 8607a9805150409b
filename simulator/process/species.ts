/**
 * What travels with the water: sixteen amounts per body of water, five more where the reference biology runs; in grams unless said. And
 * the book of everything that ever came in or went out: all movement goes through `move`, `put` and `leave`, so that it must close.
 */
/** Dissolved biodegradable matter, g COD. */
export const COD = 0
/** Dissolved matter nothing here degrades, g COD. */
export const INERT = 1
/** Oil and grease, g COD. */
export const OIL = 2
/** Living flakes torn off or never attached, g COD. */
export const FLOC = 3
/** Dead particles, slowly degradable, g COD. */
export const DEBRIS = 4
/** Surfactant, g; counts `SURFACTANT_COD` g COD each. */
export const SURFACTANT = 5
/** Mineral dirt, g. */
export const SOLIDS = 6
/** Alkalinity, mol of charge; 1 mol = 50.04 g as CaCO3. */
export const ALKALINITY = 7
/** Total inorganic carbon, mol. */
export const CARBON = 8
/** Salt, g: conservative. */
export const SALT = 9
/** Dissolved oxygen, g. */
export const OXYGEN = 10
/** Free oxidant (ozone, chlorine), g. */
export const OXIDANT = 11
/** Biocide of a degreaser, g. */
export const TOXICANT = 12
/** Sulfide, g S. */
export const SULFIDE = 13
/** Ammonium, the nitrogen the biology can use, g N. */
export const NITROGEN = 14
/** Litres times degrees Celsius. */
export const HEAT = 15
/** Amounts the working model needs. */
export const CORE = 16
/** Nitrate, g N. From here on for the reference biology alone. */
export const NITRATE = 16
/** Dissolved organic nitrogen, g N. */
export const ORGANIC_N = 17
/** Nitrogen bound in particles, g N. */
export const PARTICLE_N = 18
/** Floating nitrifiers, g COD. */
export const NITRIFIERS = 19
/** Inert debris of decayed cells, g COD. */
export const PRODUCTS = 20
export const SPECIES = 21

/** g COD per g of an anionic surfactant. Common practice, no source. */
export const SURFACTANT_COD = 2
/** g as CaCO3 per mol of charge: equivalent weight of calcium carbonate. */
export const CACO3 = 50.04

export interface Bath {
  litres: number
  readonly m: Float64Array
}

export const bath = (species = CORE): Bath => ({ litres: 0, m: new Float64Array(species) })

/** mg/L of a species (mol/L x 1000 for the two in mol, degrees for heat x 1000); 0 in an empty bath. */
export const conc = (b: Bath, k: number): number => (b.litres > 1e-9 ? ((b.m[k] ?? 0) / b.litres) * 1000 : 0)
export const codOf = (m: Float64Array): number =>
  (m[COD] ?? 0) + (m[INERT] ?? 0) + (m[OIL] ?? 0) + (m[FLOC] ?? 0) + (m[DEBRIS] ?? 0) + SURFACTANT_COD * (m[SURFACTANT] ?? 0) + (m[NITRIFIERS] ?? 0) + (m[PRODUCTS] ?? 0)

/** Nitrogen in a gram of living matter, and of its inert debris, g N/g COD. */
export interface NitrogenShares {
  readonly living: number
  readonly products: number
}
export const nitrogenOf = (m: Float64Array, i: NitrogenShares): number =>
  (m[NITROGEN] ?? 0) + (m[NITRATE] ?? 0) + (m[ORGANIC_N] ?? 0) + (m[PARTICLE_N] ?? 0) + i.living * ((m[FLOC] ?? 0) + (m[NITRIFIERS] ?? 0)) + i.products * (m[PRODUCTS] ?? 0)

/** Everything since the plant was built. Litres by way of entering or leaving; species in and out; COD that reacted away. */
export interface Book {
  readonly inL: { makeUp: number; rain: number; dosing: number; other: number }
  readonly outL: { evaporation: number; carryOff: number; overflow: number; leak: number; removed: number }
  washedL: number
  readonly came: Float64Array
  readonly went: Float64Array
  /** COD and nitrogen of the culture the plant was built with or seeded with, g. */
  grownG: number
  grownN: number
  /** COD that nitrifiers made out of carbon dioxide, g; nitrogen that left as gas, g N. */
  fixedG: number
  gasN: number
  /** COD burnt with oxygen, with ozone or other oxidants; g. */
  burntG: number
  oxidisedG: number
  /** mol of charge taken or given by reactions other than dosing. */
  alkReactedMol: number
}

export const book = (): Book => ({
  inL: { makeUp: 0, rain: 0, dosing: 0, other: 0 },
  outL: { evaporation: 0, carryOff: 0, overflow: 0, leak: 0, removed: 0 },
  washedL: 0,
  came: new Float64Array(SPECIES),
  went: new Float64Array(SPECIES),
  grownG: 0,
  grownN: 0,
  fixedG: 0,
  gasN: 0,
  burntG: 0,
  oxidisedG: 0,
  alkReactedMol: 0,
})

/** Moves up to `litres` of well-mixed water; gives what was moved. */
export function move(from: Bath, to: Bath, litres: number): number {
  if (!(litres > 0) || from.litres <= 0) return 0
  const l = litres < from.litres ? litres : from.litres
  const share = l / from.litres
  const a = from.m
  const b = to.m
  const n = a.length < b.length ? a.length : b.length
  for (let k = 0; k < n; k++) {
    const g = (a[k] as number) * share
    a[k] = (a[k] as number) - g
    b[k] = (b[k] as number) + g
  }
  from.litres -= l
  to.litres += l
  return l
}

/** Water of a given make-up enters a bath from outside; `perL` holds amounts per litre. Gives the litres. */
export function put(to: Bath, litres: number, perL: Float64Array, b: Book): number {
  if (!(litres > 0)) return 0
  const n = to.m.length
  for (let k = 0; k < n; k++) {
    const g = (perL[k] as number) * litres
    to.m[k] = (to.m[k] as number) + g
    b.came[k] = (b.came[k] as number) + g
  }
  to.litres += litres
  return litres
}

/** An amount enters without water. */
export function add(to: Bath, k: number, amount: number, b: Book): void {
  to.m[k] = (to.m[k] ?? 0) + amount
  b.came[k] = (b.came[k] ?? 0) + amount
}

/** Well-mixed water leaves the plant; gives the litres. */
export function leave(from: Bath, litres: number, b: Book): number {
  if (!(litres > 0) || from.litres <= 0) return 0
  const l = litres < from.litres ? litres : from.litres
  const share = l / from.litres
  const n = from.m.length
  for (let k = 0; k < n; k++) {
    const g = (from.m[k] as number) * share
    from.m[k] = (from.m[k] as number) - g
    b.went[k] = (b.went[k] as number) + g
  }
  from.litres -= l
  return l
}

/** Water alone leaves as vapour, with its heat; what is dissolved stays. Never dries a bath below a tenth of a litre. */
export function evaporate(from: Bath, litres: number, b: Book): void {
  const l = Math.min(litres, from.litres - 0.1)
  if (!(l > 0)) return
  from.m[HEAT] = (from.m[HEAT] as number) * (1 - l / from.litres)
  from.litres -= l
  b.outL.evaporation += l
}
