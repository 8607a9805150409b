/** A simulated loop whose readings go straight into the vitals, with the truth at hand. */
import { createVitals, type Vitals } from '../../gateway/vitals/evaluator.ts'
import type { Told } from '../../gateway/vitals/vital.ts'
import { keyOf, type Reading } from '../../gateway/site/reading.ts'
import type { Fault } from '../../simulator/faults/fault.ts'
import { loadFleet } from '../../simulator/fleets/load.ts'
import { buildLoop, type Loop } from '../../simulator/loop.ts'
import type { PlantSpec } from '../../simulator/process/spec.ts'

export const MIN = 60_000
export const HOUR = 60 * MIN
export const DAY = 24 * HOUR
/** A Monday. */
export const START = Date.UTC(2026, 5, 1)

export const good = (key: string, sourceMs: number, value: number | null, over: Partial<Reading> = {}): Reading => ({
  key,
  sourceMs,
  receivedMs: sourceMs + 300,
  value,
  quality: value === null ? 'bad' : 'good',
  sub: value === null ? 'not_connected' : 'ok',
  qc: value === null ? 9 : 1,
  clock: 'ok',
  live: true,
  ...over,
})

export const specOf = (site: string): PlantSpec => {
  const found = loadFleet('demo', 1).specs.find((s) => s.site.id === site)
  if (!found) throw new Error(`no ${site} in the demo fleet`)
  return found
}

export interface Watched {
  readonly loop: Loop
  readonly vitals: Vitals
  readonly given: Reading[]
  /** Runs for so long, a row of readings every `everyMs`. */
  run(ms: number, each?: (atMs: number) => void): void
}

export function watchLoop(
  spec: PlantSpec,
  o: { readonly everyMs?: number; readonly faults?: readonly Omit<Fault, 'site'>[]; readonly settleMs?: number; readonly change?: (r: Reading) => Reading } = {},
): Watched {
  const settle = o.settleMs ?? DAY
  const faults = (o.faults ?? []).map((f) => ({ ...f, site: spec.site.id }))
  const loop = buildLoop(spec, faults, START - settle)
  loop.advance(START, null)
  const vitals = createVitals(spec.site)
  const given: Reading[] = []
  const everyMs = o.everyMs ?? MIN
  let atMs = START
  return {
    loop,
    vitals,
    given,
    run(ms, each) {
      const toMs = atMs + ms
      for (; atMs < toMs; atMs += everyMs) {
        loop.advance(atMs + everyMs, null)
        const row = loop.instruments.map((i) => good(keyOf(spec.site.id, i.signal.id), atMs + everyMs, i.read(loop.plant)))
        given.push(...vitals.take(o.change ? row.map(o.change) : row))
        each?.(atMs + everyMs)
      }
    },
  }
}

/** The figure of a vital; an error where it is withheld. */
export function toldOf(v: Vitals, id: string): Told {
  const e = v.explain(id)
  if (!e) throw new Error(`no vital ${id}: there are ${v.defs.map((d) => d.id).join(', ')}`)
  if (e.outcome.kind === 'withheld') throw new Error(`${id} is withheld: ${e.outcome.why}`)
  return e.outcome
}

export const whyOf = (v: Vitals, id: string): string => {
  const o = v.explain(id)?.outcome
  return o?.kind === 'withheld' ? o.why : `told ${o?.value}`
}
