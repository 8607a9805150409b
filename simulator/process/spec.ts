/**
 * What a plant is built from: the site file (tanks, machines, protections) and the facts of its yard that no site file
 * holds, because no controller knows them: climate, vehicles, dirt, mains water, the strength of its air and its biology.
 */
import type { Site, StageKind } from '../../gateway/site/site.ts'
import type { Climate } from './weather.ts'
import type { Dirt, Washing } from './washing.ts'

export interface MakeUp {
  readonly flowLPerMin: number
  /** Levels of the finished tank at which the valve opens and shuts, percent. */
  readonly startPct: number
  readonly stopPct: number
  /** mg CaCO3/L, mg/L, pH. */
  readonly alkalinity: number
  readonly salt: number
  readonly ph: number
}

export interface YardFacts {
  readonly climate: Climate
  readonly wash: Omit<Washing, 'zone' | 'open' | 'lanceLPerMin'>
  readonly dirt: Dirt
  readonly makeUp: MakeUp
  /** Oxygen transfer at normal load and 20 C, per h: treatment unit, then bio tanks. */
  readonly kla: { readonly treatment: number; readonly bio: number }
  /** Active biomass where the loop has settled, mg COD/L: treatment unit, then each bio tank. */
  readonly biomass: readonly number[]
  /** Share of wash water that drives away on vehicles with all that is in it, and share that leaves as mist. */
  readonly carryOff: number
  readonly mist: number
  /** Plant room kept at least this warm; null: outdoors. */
  readonly indoorC: number | null
  /** The pH controller doses above this. */
  readonly dosePh: number
  readonly ozoneGPerH: number
  readonly voltage: number
}

/**
 * Default dirt: 385 mg COD/L with 26 mg/L of oil, as in real car-wash water (Water Sci. Technol. 80(10) 1902, 2019), 300 mg/L of solids (325 in
 * Hashim & Zayadi 2016), about half of the COD degradable (common practice, no source).
 */
export const referenceDirt: Dirt = { cod: 170, inert: 110, oil: 75, surfactant: 15, solids: 300, alkalinity: 30, salt: 60, nitrogen: 6 }

export interface PlantSpec {
  readonly site: Site
  readonly facts: YardFacts
  readonly seed: number
  /** Which biology: the working model (the default), or ASM1, the reference. */
  readonly biology?: 'working' | 'asm1'
}

/** Share of the volume at which a constant-level tank runs over into the next, leaving a finger's breadth of free board. */
export const CREST = 0.96

/** Share of an aerated tank that is bubbles: 1.5 % at most (common practice, no source). */
export const GAS = 0.012

export const stageOf = (site: Site, kind: StageKind) => site.stages.find((s) => s.kind === kind) ?? null
export const protects = (site: Site, id: string): boolean => site.protections.some((p) => p.id === id && p.present)
