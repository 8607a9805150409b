/**
 * Everyday wear of instruments between two services: films, creeping references, wipers, values that stick, readings that drop out.
 * All of it drawn from the seed and the time, so that a run can be repeated, and told to whoever keeps the truth. Sizes, rates and the
 * directions by probe type are common practice, no source; that films shift an oxygen probe by up to about 1 mg/L, one type up and
 * the other down, and slow it down, is known from full-scale plants (Samuelsson et al. 2018).
 */
import type { Signal } from '../gateway/site/site.ts'
import type { Plant } from './process/state.ts'
import { draw, drawing } from './random.ts'

export type ArtefactKind = 'dropout' | 'stuck' | 'wiper' | 'in-air'

/** One reading that is not what the water was. */
export interface Artefact {
  readonly signal: string
  readonly what: ArtefactKind
  readonly atMs: number
}

/** What the film of the days since the last service does. */
export interface Film {
  offset: number
  gain: number
  lagS: number
}

const DAY = 86_400_000
const MONTH = 30 * DAY
/** Wiped about every six hours by a clock of its own; the arm stands before the window for twenty seconds. */
const WIPED: ReadonlySet<Signal['quantity']> = new Set(['turbidity', 'do'])
const WIPE_EVERY_MS = 6 * 3_600_000 + 17_000
const WIPE_MS = 20_000
/** Analogue quantities with a wire and a converter of their own. */
const WIRED: ReadonlySet<Signal['quantity']> = new Set(['do', 'temperature', 'ph', 'orp', 'level', 'conductivity', 'turbidity', 'pressure', 'flow'])
const DROPOUTS_PER_DAY = 0.5
const STUCK_PER_DAY = 1 / 40

/** Film at a moment. `p.servedMs` is when it was last wiped off; `reference` the way a pH reference creeps, from `referenceOf`. */
export function film(out: Film, s: Signal, p: Plant, reference: number): void {
  const months = Math.min(6, Math.max(0, p.nowMs - p.servedMs) / MONTH)
  out.offset = 0
  out.gain = 1
  out.lagS = 0
  switch (s.quantity) {
    case 'do':
      out.lagS = 60 * months
      if (p.probeTypes.get(s.id) === 'membrane') out.gain = 1 - 0.06 * months
      else out.offset = 0.25 * months
      break
    case 'ph':
      out.offset = 0.06 * reference * months
      out.gain = 1 - 0.015 * months
      break
    case 'orp':
      out.offset = -12 * months
      out.lagS = 120 * months
      break
    case 'conductivity':
      out.gain = 1 - 0.02 * months
      break
    case 'turbidity':
      out.offset = 1.5 * months
      break
    default:
  }
}

export const referenceOf = (s: Signal, seed: number): number => (draw(seed, `reference ${s.id}`, 0) < 0.7 ? -1 : 1)

/** What befalls the reading of a moment; null: nothing. Asked mostly in order of time, answered the same in any. */
export function mishaps(s: Signal, seed: number, optical: boolean): (atMs: number) => ArtefactKind | null {
  if (!WIRED.has(s.quantity)) return () => null
  const hasArm = WIPED.has(s.quantity) && (s.quantity !== 'do' || optical)
  const phase = Math.floor(draw(seed, `wiper ${s.id}`, 0) * WIPE_EVERY_MS)
  const dropouts = drawing(seed, `dropout ${s.id}`)
  let today = Number.NaN
  let stuckFrom = Number.NaN
  let stuckTo = Number.NaN
  return (atMs) => {
    const day = Math.floor(atMs / DAY)
    if (day !== today) {
      today = day
      const sticks = draw(seed, `stuck ${s.id}`, day) < STUCK_PER_DAY
      stuckFrom = sticks ? (day + draw(seed, `stuck from ${s.id}`, day) * 0.8) * DAY : Number.NaN
      stuckTo = stuckFrom + (0.5 + 3 * draw(seed, `stuck for ${s.id}`, day)) * 3_600_000
    }
    if (atMs >= stuckFrom && atMs < stuckTo) return 'stuck'
    if (dropouts(Math.floor(atMs / 60_000)) < DROPOUTS_PER_DAY / 1440) return 'dropout'
    return hasArm && (atMs + phase) % WIPE_EVERY_MS < WIPE_MS ? 'wiper' : null
  }
}

/** What an arm across the window adds to a reading. */
export const wiped = (s: Signal, seed: number, atMs: number): number => {
  const size = 0.4 + draw(seed, `arm ${s.id}`, Math.floor(atMs / WIPE_EVERY_MS))
  return s.quantity === 'do' ? -1.5 * size : 60 * size
}
