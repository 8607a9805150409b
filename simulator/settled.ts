/** A loop that has run before anybody looks: built some days earlier, settled, and as old as the past told of it. */
import type { Fault } from './faults/fault.ts'
import { buildLoop, type Loop } from './loop.ts'
import type { Field } from './instruments.ts'
import { markReference } from './process/balance.ts'
import type { PlantSpec } from './process/spec.ts'

const HOUR = 3_600_000
/** Days a plant runs before anybody looks: tanks, temperatures, flakes and pH are then where its load puts them. */
const SETTLE_MS = 3 * 24 * HOUR
/** Litres a yard washes in a day, at the most. */
const DAILY_L = 6000

/**
 * Builds a loop for a stretch that begins at `fromMs`, to be run there by `settle`. `pastMs`: how much older history is told of it, from
 * another run of the same plant: its probes were served, and its meters have turned, in that time.
 */
export function unsettled(spec: PlantSpec, faults: readonly Fault[], fromMs: number, pastMs: number, field: Field | null): Loop {
  const loop = buildLoop(spec, faults, fromMs - SETTLE_MS, field)
  const { plant } = loop
  plant.servedMs -= pastMs
  for (const f of loop.faults) if ((f.kind === 'visit' || f.kind === 'calibration') && f.onsetMs < fromMs) plant.servedMs = Math.max(plant.servedMs, f.endMs ?? f.onsetMs)
  const days = pastMs / (24 * HOUR)
  for (const m of plant.machines.values()) {
    m.runS = Math.max(m.runS, Math.round(days * 86_400))
    m.starts = Math.max(m.starts, Math.round(days * 150))
  }
  plant.meters.washL = Math.max(plant.meters.washL, Math.round(days * DAILY_L))
  plant.meters.makeUpL = Math.max(plant.meters.makeUpL, Math.round((days * DAILY_L) / 2))
  return loop
}

/** Runs a loop in silence up to, not including, `toMs`; the reference of its activity is the settled culture, a day before `fromMs`. */
export async function settle(loop: Loop, fromMs: number, toMs: number, stopped: () => boolean): Promise<void> {
  for (let at = loop.plant.nowMs; at < toMs - 1 && !stopped(); at += 6 * HOUR) {
    if (at >= fromMs - 24 * HOUR && loop.plant.reference.size === 0) markReference(loop.plant)
    loop.advance(Math.min(at + 6 * HOUR, toMs - 1), null)
    await breathe()
  }
  if (loop.plant.reference.size === 0) markReference(loop.plant)
}

export const breathe = (): Promise<void> => new Promise((done) => setImmediate(done))
