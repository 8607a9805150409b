/**
 * Which signals have a normal band: every vital that can be told, and the measured ones that tell how the water or the air is doing. A level, a
 * flow, a wash pressure swing with the washing from minute to minute: a band of hours says nothing about them.
 */
import type { SiteState } from '../port.ts'
import type { Quantity } from '../site/quantity.ts'
import type { Explanation } from '../vitals/vital.ts'
import type { Learned } from './normal.ts'

const STEADY: readonly Quantity[] = ['do', 'ph', 'orp', 'temperature', 'conductivity', 'turbidity']
const OF_AIR: readonly Quantity[] = ['pressure', 'current', 'flow']

export type Teacher = Pick<Learned, 'id' | 'resolution' | 'value'> & { readonly at: string | null; readonly stage: string | null }

export function learnedSignals(state: SiteState, vitals: readonly Explanation[]): readonly Teacher[] {
  const { site } = state
  const aerators = new Set(site.equipment.filter((e) => e.kind === 'aerator').map((e) => e.id))
  const measured = site.signals
    .filter((s) => (s.stage !== null && STEADY.includes(s.quantity)) || (s.at !== null && aerators.has(s.at) && OF_AIR.includes(s.quantity)))
    .map((s): Teacher => {
      const newest = state.latest.get(s.id)
      return { id: s.id, resolution: s.resolution, at: s.at, stage: s.stage, value: newest && newest.quality !== 'bad' ? newest.value : null }
    })
  const computed = vitals
    .filter((v) => v.def.unobservable === null)
    .map(
      ({ def, outcome }): Teacher => ({
        id: def.id,
        resolution: 10 ** -def.digits,
        at: def.tank,
        stage: def.tank,
        value: outcome.kind === 'told' && outcome.grade.quality !== 'bad' && Number.isFinite(outcome.value) ? outcome.value : null,
      }),
    )
  return [...measured, ...computed]
}
