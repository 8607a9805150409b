/**
 * The state of one plant: everything that is true of it at its own moment. plant.ts builds and steps it, control.ts is its panel;
 * whoever reads it (instruments, labels, tests) finds the truth here.
 */
import type { Biology } from './biology.ts'
import type { Machine, Mains } from './machines.ts'
import type { Prng } from '../random.ts'
import type { Book } from './species.ts'
import type { PlantSpec } from './spec.ts'
import type { Around, Tank } from './tank.ts'
import type { Troubles } from './troubles.ts'
import type { Yard } from './washing.ts'
import type { Flows, Moved, Waterway } from './water.ts'
import type { Sky } from './weather.ts'

/** What the panel remembers between steps, and what it is wired for. */
export interface Control {
  transferOn: boolean
  finishedFull: boolean
  makeUpOpen: boolean
  washerLocked: boolean
  ozone: boolean
  /** What the pH controller's own probe shows. */
  probePh: number
  doseLeftS: number
  doseWaitS: number
  doseRunS: number
  nutrientLeftS: number
  nutrientAtL: number
  readonly doser: string | null
  readonly nutrient: string | null
  readonly strength: Strength
  readonly hasSumpStop: boolean
  readonly hasDryStop: boolean
  readonly maxDoseRun: string | null
  readonly restarts: boolean
}

/** Per litre of product: mol of charge added to alkalinity, g of salt; and the length of a pulse, s. */
export interface Strength {
  readonly alk: number
  readonly salt: number
  readonly pulseS: number
}

export interface Plant {
  readonly spec: PlantSpec
  readonly seed: number
  nowMs: number
  readonly water: Waterway
  /** Sump (if any), treatment unit, bio tanks, finished; in the order of the water. */
  readonly tanks: readonly Tank[]
  readonly machines: ReadonlyMap<string, Machine>
  readonly transfer: Machine
  readonly washer: Machine
  readonly mains: Mains
  readonly control: Control
  readonly flows: Flows
  readonly moved: Moved
  readonly sky: Sky
  readonly yard: Yard
  readonly troubles: Troubles
  readonly book: Book
  readonly biology: Biology
  readonly around: Around
  /** Acid or alum poured in but not yet mixed, mol of charge (negative), and its salt, g. */
  readonly pocket: { alkMol: number; saltG: number }
  readonly drums: Map<string, { leftL: number; fullL: number }>
  /** Litres per counter since commissioning. */
  readonly meters: { makeUpL: number; washL: number }
  readonly mainsWater: Float64Array
  /** Capacity per tank when `markReference` was called, g COD/h; empty before. */
  readonly reference: Map<string, number>
  /** Since the controller last started, s. */
  uptimeS: number
  readonly look: (atMs: number) => Sky
  readonly wash: (atMs: number, rush: number) => Yard
  readonly next: Prng
  readonly atm: number
  washedAgoS: number
  /** When somebody last wiped and calibrated the probes. */
  servedMs: number
  /** How an oxygen probe measures, by signal id: a film makes one read high and the other low. */
  readonly probeTypes: Map<string, 'optical' | 'membrane'>
  openNow: boolean
  openCheckedMs: number
}

/** Is some machine of this kind able to run: power, no trip, selector in auto. */
export function runs(p: Plant, kind: Machine['kind']): boolean {
  for (const m of p.machines.values()) if (m.kind === kind) return able(p, m)
  return p.troubles.mains
}

export const able = (p: Plant, m: Machine): boolean => p.troubles.mains && !p.troubles.tripped.has(m.id) && !p.troubles.handOff.has(m.id) && !m.needsReset

export const tankOf = (p: Plant, id: string): Tank | null => (p.water.pad.id === id ? p.water.pad : (p.tanks.find((x) => x.id === id) ?? null))
