/**
 * One simulated loop with its controller: the plant, its faults, its instruments, and the clock by which the controller writes
 * down and sends. Pure of any connection: `advance` gives the messages that fall due.
 */
import type { Fault } from './faults/fault.ts'
import { applyFaults } from './faults/fault.ts'
import { type Field, type Instrument, instruments } from './instruments.ts'
import { buildPlant } from './process/build.ts'
import { STEP_MS, step } from './process/plant.ts'
import { type Plant } from './process/state.ts'
import type { PlantSpec } from './process/spec.ts'
import { hashText } from './random.ts'
import { reporter, type Reporter } from './reporting.ts'

export interface Loop {
  readonly spec: PlantSpec
  readonly plant: Plant
  readonly faults: Fault[]
  readonly instruments: readonly Instrument[]
  /** Runs to `toMs`; sample times on the way are given to the reporter, whose messages go to `send`. */
  advance(toMs: number, send: ((payload: string) => void) | null): void
  /** Sends what is held back although its block is not full. */
  flush(send: (payload: string) => void): void
  /** Rows of a block: null reports as the site file says, a number gathers rows into one message, one every `thinMs` (filling history). */
  block(rows: number | null, thinMs?: number): void
}

/** Pace of rows from which one a minute is fine enough for everything behind them. */
const THIN_MS = 3 * 60_000

/** Builds a loop whose plant stands at `startMs`, rounded down to a whole step. With `field` its instruments wear as they do in the field. */
export function buildLoop(spec: PlantSpec, faults: readonly Fault[], startMs: number, field: Field | null = null): Loop {
  const plant = buildPlant(spec, Math.floor(startMs / STEP_MS) * STEP_MS)
  const list = instruments(spec.site, plant, field)
  const own: Fault[] = faults.filter((f) => f.site === spec.site.id)
  const sampleMs = Math.max(1000, Math.min(...spec.site.signals.map((s) => s.sampleEveryMs)))
  const out: Reporter = reporter(spec.site, list)
  // Controllers of a fleet do not write in step with each other.
  const phaseMs = hashText(spec.site.id) % sampleMs
  let nextMs = Math.ceil((plant.nowMs - phaseMs) / sampleMs) * sampleMs + phaseMs
  const dtS = STEP_MS / 1000
  // While history is filled, one sample in so many is enough.
  let everyMs = sampleMs
  let lastMs = Number.NEGATIVE_INFINITY
  let followS = 0
  // A dead panel writes nothing: a minute of battery is enough for the last word, a rich panel has hours.
  const batteryMs = (spec.site.instrumentation === 'rich' ? 4 * 60 : 1) * 60_000
  let poweredMs = plant.nowMs
  const awake = (p: Plant): boolean => {
    if (p.mains.present) poweredMs = p.nowMs
    return p.nowMs - poweredMs <= batteryMs
  }
  return {
    spec,
    plant,
    faults: own,
    instruments: list,
    advance(toMs, send) {
      for (;;) {
        const stepTo = plant.nowMs + STEP_MS
        while (nextMs < stepTo && nextMs <= toMs) {
          if (send && awake(plant)) out.sample(nextMs, plant, plant.troubles.twice ? twice(send) : send)
          lastMs = nextMs
          nextMs += everyMs
        }
        if (stepTo > toMs) return
        applyFaults(own, plant)
        step(plant)
        // Rows minutes apart do not need their instruments followed more than once a minute.
        followS += dtS
        if (everyMs >= THIN_MS && plant.nowMs % 60_000 !== 0) continue
        for (const i of list) i.follow(plant, followS)
        followS = 0
      }
    },
    flush: (send) => out.flush(send),
    block(rows, thinMs = 0) {
      const was = everyMs
      everyMs = sampleMs * Math.max(1, Math.round(thinMs / sampleMs))
      // Back to the finer pace from the next full sample on, not after the coarse one already set.
      if (everyMs < was) nextMs = Math.min(nextMs, Math.max(lastMs + everyMs, Math.ceil((plant.nowMs - phaseMs) / sampleMs) * sampleMs + phaseMs))
      out.block(rows)
    },
  }
}

const twice =
  (send: (payload: string) => void) =>
  (payload: string): void => {
    send(payload)
    send(payload)
  }
