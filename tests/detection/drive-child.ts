/** A process that drives one loop after another for run.ts, which says which. */
import { loadFleet } from '../../simulator/fleets/load.ts'
import { drive } from './drive.ts'
import type { LoopRun } from './label.ts'
import type { LoopPlan } from './plan.ts'

export interface ToDrive {
  readonly site: string
  readonly plan: LoopPlan
  readonly fromMs: number
  readonly days: number
  readonly seed: number
  readonly thin: boolean
}
export type FromDrive = { readonly ok: true; readonly run: LoopRun } | { readonly ok: false; readonly message: string }

process.on('disconnect', () => process.exit(0))
process.on('message', (m: ToDrive) => {
  driveOne(m).then(
    (run) => process.send?.({ ok: true, run } satisfies FromDrive),
    (e: unknown) => process.send?.({ ok: false, message: e instanceof Error ? (e.stack ?? e.message) : String(e) } satisfies FromDrive),
  )
})

export async function driveOne(m: ToDrive): Promise<LoopRun> {
  const fleet = loadFleet('twelve', m.seed)
  const spec = fleet.specs.find((s) => s.site.id === m.site)
  const name = `${m.site}.yaml`
  const text = fleet.files.get(name)
  if (!spec || text === undefined) throw new Error(`${m.site}: no such loop in the fleet, or its file is not ${name}`)
  return drive({ spec: { ...spec, biology: 'working' }, file: { name, text }, plan: m.plan, fromMs: m.fromMs, days: m.days, thin: m.thin })
}
