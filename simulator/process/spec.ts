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

/** The reference loop of the practice notes, section 5, in a mild climate. */
export const referenceDirt: Dirt = { cod: 170, inert: 110, oil: 60, surfactant: 15, solids: 300, alkalinity: 30, salt: 60, nitrogen: 6 }

export interface PlantSpec {
  readonly site: Site
  readonly facts: YardFacts
  readonly seed: number
}

/** Share of the volume at which a constant-level tank runs over into the next, leaving a finger's breadth of free board. */
export const CREST = 0.96

/** Share of an aerated tank that is bubbles: practice notes 3.11, 1.5 % at most. */
export const GAS = 0.012

export const stageOf = (site: Site, kind: StageKind) => site.stages.find((s) => s.kind === kind) ?? null
export const protects = (site: Site, id: string): boolean => site.protections.some((p) => p.id === id && p.present)
