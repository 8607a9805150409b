/**
 * Motors as the panel sees them: on or off, tripped, starts, hours, current; and the mains that feeds them. Currents are shares
 * of the nameplate (plunger pump on its unloader 0.3 to 0.5, lost prime 0.6 to 0.85 of normal: common practice, no source).
 */
import type { Equipment } from '../../gateway/site/site.ts'
import { type Prng, normal } from '../random.ts'

export interface Machine {
  readonly id: string
  readonly kind: Equipment['kind']
  readonly nameplateA: number
  readonly flowLPerMin: number
  on: boolean
  tripped: boolean
  /** Stays off until a person resets it: no automatic restart after a power cut, or a selector left in OFF. */
  needsReset: boolean
  starts: number
  runS: number
  currentA: number
}

export const machine = (e: Equipment, flow: number, amps: number): Machine => ({
  id: e.id,
  kind: e.kind,
  nameplateA: e.nameplateA ?? amps,
  flowLPerMin: e.flowLPerMin ?? flow,
  on: false,
  tripped: false,
  needsReset: false,
  starts: 0,
  runS: 0,
  currentA: 0,
})

/** Runs or rests a machine for `dtS` seconds at a share of its nameplate current. */
export function run(m: Machine, on: boolean, share: number, dtS: number): void {
  if (on && !m.on) m.starts++
  m.on = on
  if (on) m.runS += dtS
  m.currentA = on ? m.nameplateA * share : 0
}

export interface Mains {
  present: boolean
  readonly nominalV: number
  readonly phases: Float64Array
}

export const mains = (nominalV: number): Mains => ({ present: true, nominalV, phases: new Float64Array([nominalV, nominalV, nominalV]) })

/** Mains wander slowly: each phase leans back to nominal within a quarter of an hour, strayed by about 0.6 %. */
export function stepMains(m: Mains, present: boolean, phaseLost: boolean, next: Prng, dtS: number): void {
  m.present = present
  const lean = dtS / 900
  for (let i = 0; i < 3; i++) {
    const v = m.phases[i] ?? m.nominalV
    m.phases[i] = present ? (v < 0.5 * m.nominalV ? m.nominalV : v) + (m.nominalV * (1 - 0.002 * i) - v) * lean + normal(next) * m.nominalV * 0.006 * Math.sqrt(2 * lean) : 0
  }
  // What a meter still shows on a lost phase comes back through the loads on the others (common practice, no source).
  if (present && phaseLost) m.phases[1] = 0.11 * m.nominalV
}
