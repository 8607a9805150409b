/**
 * What a dosed chemical does to alkalinity and pH, by its equivalents.
 *
 * Molar masses are built from the atoms (IUPAC abridged), so that every figure per mg follows from the formula it names.
 * Cautions that belong on every screen with these figures: acid into water; acid and hypochlorite make
 * chlorine; acid into a septic sump frees hydrogen sulphide. A calculator informs; it authorises no dose.
 * units  doses mg of pure product per L of water; alkalinity mg/L as CaCO3
 */
import { CACO3_MG_PER_EQ, carbonateMmolPerL, phClosed } from './carbonate.ts'
import { positive, within } from './range.ts'

const ATOM = { H: 1.008, C: 12.011, N: 14.007, O: 15.999, Na: 22.98977, Al: 26.9815, S: 32.06, Cl: 35.45, Ca: 40.078 } as const
type Atoms = Partial<Record<keyof typeof ATOM, number>>

/** Grams per mol. */
export const molarMass = (atoms: Atoms): number => Object.entries(atoms).reduce((sum, [atom, n]) => sum + ATOM[atom as keyof typeof ATOM] * n, 0)

export interface Product {
  readonly word: string
  readonly atoms: Atoms
  /** Equivalents of alkalinity a mol adds; below zero: takes. */
  readonly equivalents: number
  /** Mols of carbonate a mol adds. */
  readonly carbonate: number
}

const alum = (water: number): Product => ({ word: `alum, ${water} crystal waters`, atoms: { Al: 2, S: 3, O: 12 + water, H: 2 * water }, equivalents: -6, carbonate: 0 })

export const PRODUCTS = {
  alum14: alum(14),
  alum18: alum(18),
  aluminium: { word: 'dissolved aluminium', atoms: { Al: 1 }, equivalents: -3, carbonate: 0 },
  sulphuricAcid: { word: 'sulphuric acid', atoms: { H: 2, S: 1, O: 4 }, equivalents: -2, carbonate: 0 },
  hydrochloricAcid: { word: 'hydrochloric acid', atoms: { H: 1, Cl: 1 }, equivalents: -1, carbonate: 0 },
  bicarbonate: { word: 'sodium bicarbonate', atoms: { Na: 1, H: 1, C: 1, O: 3 }, equivalents: 1, carbonate: 1 },
  soda: { word: 'sodium carbonate', atoms: { Na: 2, C: 1, O: 3 }, equivalents: 2, carbonate: 1 },
  causticSoda: { word: 'sodium hydroxide', atoms: { Na: 1, O: 1, H: 1 }, equivalents: 1, carbonate: 0 },
  lime: { word: 'calcium hydroxide', atoms: { Ca: 1, O: 2, H: 2 }, equivalents: 2, carbonate: 0 },
} as const satisfies Record<string, Product>
export type ProductName = keyof typeof PRODUCTS
export type Doses = Partial<Record<ProductName, number>>

const CACO3_PER_EQ = molarMass({ Ca: 1, C: 1, O: 3 }) / 2

/** Alkalinity added (below zero: taken) per mg of pure product, mg as CaCO3. */
export const alkalinityPerMg = (product: ProductName): number => (PRODUCTS[product].equivalents * CACO3_PER_EQ) / molarMass(PRODUCTS[product].atoms)

/** Aluminium hydroxide that falls out, mg per mg of alum with 14 waters. */
export const SLUDGE_PER_MG_ALUM = (2 * molarMass({ Al: 1, O: 3, H: 3 })) / molarMass(PRODUCTS.alum14.atoms)

/** Alkalinity nitrification takes, mg as CaCO3 per mg of ammonia nitrogen: two equivalents a mol. Field 6.3-7.4 (EPA 1975). */
export const NITRIFICATION_ALKALINITY = (2 * CACO3_PER_EQ) / ATOM.N
/** Oxygen nitrification takes without growth, mg per mg of ammonia nitrogen: two O2 a mol. */
export const NITRIFICATION_OXYGEN = (4 * ATOM.O) / ATOM.N

/** Alkalinity used when ammonia nitrogen is nitrified; same unit in and out. `perNitrogen` is a site's own ratio, 6-7.5. */
export const nitrificationAlkalinity = (ammoniaN: number, perNitrogen = NITRIFICATION_ALKALINITY): number =>
  positive('ammonia nitrogen', ammoniaN, '', true) * within('alkalinity per nitrogen', perNitrogen, 6, 7.5, '')

export interface Water {
  /** 4.5-11. */
  readonly ph: number
  readonly alkalinityMgPerL: number
  /** 0-50. */
  readonly temperatureCel: number
}

/** Alkalinity after doses, without asking what the pH does. */
export function alkalinityAfter(alkalinity: number, doses: Doses): number {
  let sum = alkalinity
  for (const [name, mg] of entries(doses)) sum += alkalinityPerMg(name) * positive(`dose of ${PRODUCTS[name].word}`, mg, 'mg/L', true)
  return sum
}

/** Water right after doses are mixed in, before any gas is lost. throws RangeError when the doses carry it beyond pH 2-12.5. */
export function afterDose(water: Water, doses: Doses): Water {
  const alkalinity = alkalinityAfter(water.alkalinityMgPerL, doses)
  let carbonate = carbonateMmolPerL(water.ph, water.alkalinityMgPerL, water.temperatureCel)
  for (const [name, mg] of entries(doses)) carbonate += (PRODUCTS[name].carbonate * mg) / molarMass(PRODUCTS[name].atoms)
  return { ...water, alkalinityMgPerL: alkalinity, ph: phClosed(alkalinity, carbonate, water.temperatureCel) }
}

/**
 * Dose of one product that carries the water to a pH, mg/L; the inverse of afterDose.
 * throws RangeError when the product moves pH the other way or 5000 mg/L do not reach it
 */
export function doseForPh(water: Water, product: ProductName, targetPh: number): number {
  within('target pH', targetPh, 3, 11, '')
  const up = PRODUCTS[product].equivalents > 0
  if (targetPh === water.ph) return 0
  if (targetPh > water.ph !== up) throw new RangeError(`${PRODUCTS[product].word} cannot carry pH from ${water.ph} to ${targetPh}: it moves it ${up ? 'up' : 'down'}`)
  const passed = (mg: number): boolean => {
    try {
      const { ph } = afterDose(water, { [product]: mg })
      return up ? ph >= targetPh : ph <= targetPh
    } catch {
      return true // beyond pH 2-12.5 is certainly past a target of 3-11
    }
  }
  let low = 0
  let high = 1
  while (!passed(high)) {
    low = high
    high *= 2
    if (high > 5000) throw new RangeError(`${PRODUCTS[product].word} does not reach pH ${targetPh} from ${water.ph} within 5000 mg/L`)
  }
  for (let i = 0; i < 80; i += 1) {
    const mid = (low + high) / 2
    if (passed(mid)) high = mid
    else low = mid
  }
  return (low + high) / 2
}

/** Alkalinity a tank holds, as the kg of pure product that would use it all up (or that would bring as much). */
export const tankDoseKg = (alkalinityLeft: number, volumeL: number, product: ProductName): number =>
  (positive('alkalinity', alkalinityLeft, 'mg/L', true) * positive('volume', volumeL, 'L')) / Math.abs(alkalinityPerMg(product)) / 1e6

/** Equivalents per litre, from mg/L as CaCO3. */
export const equivalentsPerL = (alkalinity: number): number => alkalinity / CACO3_MG_PER_EQ

const entries = (doses: Doses): [ProductName, number][] => Object.entries(doses) as [ProductName, number][]
