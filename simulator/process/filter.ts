/**
 * Paper filter on a moving belt: dirt loads the paper until the pool above it reaches the float, the drive pulls a step of clean
 * paper, the roll gets shorter. An empty roll lets everything through. Shares held back and load per step are common practice, no source.
 */
import { type Bath, type Book, codOf, DEBRIS, FLOC, move, NITRIFIERS, OIL, PARTICLE_N, PRODUCTS, SOLIDS, SPECIES } from './species.ts'

export interface Paper {
  readonly rollM: number
  usedM: number
  /** Dirt on the paper in the pool, g. */
  loadG: number
  index: number
  jammed: boolean
}

const STEP_M = 0.25
/** g of wet dirt a step of paper carries before the pool floods it. */
const STEP_G = 220

const HELD = new Float64Array(SPECIES)
HELD[SOLIDS] = 0.9
HELD[FLOC] = 0.5
HELD[DEBRIS] = 0.6
HELD[OIL] = 0.45
HELD[NITRIFIERS] = 0.5
HELD[PARTICLE_N] = 0.6
HELD[PRODUCTS] = 0.6
const CATCHES = [SOLIDS, FLOC, DEBRIS, OIL, NITRIFIERS, PARTICLE_N, PRODUCTS] as const

export const paper = (rollM: number, usedM: number): Paper => ({ rollM, usedM, loadG: 0, index: 0, jammed: false })
export const paperLeftM = (p: Paper): number => Math.max(0, p.rollM - p.usedM)
/** Share of the flow the paper passes: it chokes when it cannot be moved on. */
export const passes = (p: Paper): number => (p.loadG < 2 * STEP_G ? 1 : Math.max(0.05, 1 - (p.loadG - 2 * STEP_G) / (4 * STEP_G)))

const stream: Bath = { litres: 0, m: new Float64Array(SPECIES) }

/** Sends water through the paper from one bath to another; what is held back leaves the plant with the paper. Gives the litres. */
export function strain(p: Paper, from: Bath, to: Bath, litres: number, b: Book): number {
  const l = move(from, stream, litres)
  if (l <= 0) return 0
  if (paperLeftM(p) > 0) {
    const before = codOf(stream.m)
    for (const k of CATCHES) {
      const g = (stream.m[k] as number) * (HELD[k] as number)
      stream.m[k] = (stream.m[k] as number) - g
      b.went[k] = (b.went[k] as number) + g
      if (k === SOLIDS) p.loadG += g
    }
    p.loadG += (before - codOf(stream.m)) / 1.4
  }
  move(stream, to, stream.litres)
  return l
}

/** Pulls paper on when it is loaded. Gives true in a step in which the drive ran. */
export function advance(p: Paper, driveWorks: boolean): boolean {
  if (p.loadG < STEP_G || !driveWorks || p.jammed || paperLeftM(p) <= 0) return false
  p.loadG -= STEP_G
  p.usedM = Math.min(p.rollM, p.usedM + STEP_M)
  p.index++
  return true
}
