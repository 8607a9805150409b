/**
 * Is there air in a tank: on when a blower that serves it is proved to run, off when none can, unknown otherwise. Pressure is the proof where
 * it is measured, because a contact is blind to a torn line.
 */
import type { Site } from '../site/site.ts'
import { type Grade, GOOD, worst } from './grade.ts'
import { aeratorsOf, at } from './places.ts'
import type { Slot, Slots } from './slots.ts'

/** Below this a blower gives no air to any depth of water, mbar. Common practice, no source. */
const NO_AIR_MBAR = 25

export interface Air {
  /** null: not known now. */
  readonly on: (atMs: number) => boolean | null
  readonly grade: () => Grade
  readonly slots: readonly Slot[]
  /** Longest a stop may lie before the report that tells it, ms. */
  readonly reportMs: number
}

interface Blower {
  readonly run: Slot | null
  readonly proof: Slot | null
  readonly least: number
}

/** null: no blower of this tank is watched. */
export function airOf(site: Site, stage: string, slots: Slots): Air | null {
  const blowers: Blower[] = aeratorsOf(site, stage).map((e) => {
    const run = at(site, e.id, 'run')
    const pressure = at(site, e.id, 'pressure')
    const flow = at(site, e.id, 'flow')
    const proof = pressure ?? flow
    return {
      run: run && slots.of(run.id),
      proof: proof && slots.of(proof.id),
      least: pressure ? (pressure.unit === 'bar' ? NO_AIR_MBAR / 1000 : NO_AIR_MBAR) : (e.flowLPerMin ?? 20) * 0.1,
    }
  })
  const used = blowers.flatMap((b) => [b.run, b.proof].filter((s) => s !== null))
  if (used.length === 0) return null
  return {
    slots: used,
    grade: () => worst(used.map((s) => (s.value === null ? GOOD : s.grade))),
    reportMs: Math.max(...used.map((s) => s.signal.sampleEveryMs)),
    on(atMs) {
      let unknown = false
      for (const b of blowers) {
        const is = blowerOn(b, atMs)
        if (is === true) return true
        if (is === null) unknown = true
      }
      return unknown ? null : false
    },
  }
}

function blowerOn(b: Blower, atMs: number): boolean | null {
  const run = b.run ? held(b.run, atMs) : null
  const proof = b.proof ? held(b.proof, atMs) : null
  if (proof !== null) {
    if (proof < b.least) return false
    // Air without a running contact: another blower on the same line, or a contact that lies.
    return run === 0 ? null : true
  }
  return run === null ? null : run >= 0.5
}

const held = (s: Slot, atMs: number): number | null => (atMs - s.atMs > s.holdMs ? null : s.value)
