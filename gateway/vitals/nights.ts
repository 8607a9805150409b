/**
 * Does a tank lose water while nothing moves? Three hours or more with every pump, the washer and the make-up at rest and the air in one state,
 * the first half hour left out because pads and pipes drain. What is found is a loss with its error: "no leak above X L/h seen", or a fall.
 * Evaporation is in it. source: common practice, no source
 */
import { fitLine, student95 } from '../process/line.ts'
import { GOOD, type Grade, worse } from './grade.ts'
import type { Memory } from './memory.ts'
import type { Slot } from './slots.ts'
import { ofStep } from './spread.ts'

const MIN = 60_000
const HOUR = 3_600_000
const BIN_MS = 5 * MIN
const SETTLE_MS = 30 * MIN
const LEAST_MS = 3 * HOUR
/** Twenty hours of bins; a longer rest is judged by its newest part. */
const MOST_BINS = 240

export interface Night {
  readonly fromMs: number
  readonly toMs: number
  /** Loss, L/h; below zero: the level rose. */
  readonly lossLPerH: number
  /** Standard error, rounding of the level included. */
  readonly errorLPerH: number
  /** 95 % reach. */
  readonly reachLPerH: number
  readonly grade: Grade
}

interface NightState {
  sinceMs: number | null
  air: string | null
  bin: { fromMs: number; sum: number; n: number } | null
  t: number[]
  v: number[]
  grade: Grade
  night: Night | null
  version: number
}

export interface Nights {
  readonly state: Readonly<NightState>
}

export interface NightParts {
  readonly stage: string
  readonly level: Slot
  readonly litresOf: (pct: number) => number
  /** Does anything move water at this moment; null: not known, which counts as moving. */
  readonly moving: (atMs: number) => boolean | null
  /** The state of all blowers in one word. */
  readonly air: (atMs: number) => string
  /** Grade of what says that nothing moves. */
  readonly grade: () => Grade
}

export function watchNights(p: NightParts, memory: Memory): Nights {
  const s = memory.of<NightState>(`night ${p.stage}`, () => ({ sinceMs: null, air: null, bin: null, t: [], v: [], grade: GOOD, night: null, version: 0 }))

  const judge = (): void => {
    const first = s.t[0]
    const last = s.t.at(-1)
    if (first === undefined || last === undefined || last - first < LEAST_MS - SETTLE_MS || s.t.length < 12) return
    const line = fitLine(
      s.t.map((t) => (t - first) / HOUR),
      s.v,
    )
    const spanH = (last - first) / HOUR
    const step = p.litresOf(50 + p.level.signal.resolution / 2) - p.litresOf(50 - p.level.signal.resolution / 2)
    // Neighbouring bins of a level share their error, so the line believes too much of itself: counted as a third of them.
    const error = Math.hypot(line.slopeError * Math.sqrt(3), ofStep(step) / spanH)
    s.night = { fromMs: first, toMs: last, lossLPerH: -line.slope, errorLPerH: error, reachLPerH: student95(Math.max(5, line.n / 3)) * error, grade: worse(s.grade, p.grade()) }
    s.version++
  }
  const end = (): void => {
    judge()
    s.sinceMs = null
    s.bin = null
    s.t = []
    s.v = []
    s.grade = GOOD
  }

  p.level.listeners.push((x) => {
    const still = p.moving(x.atMs) === false
    const air = p.air(x.atMs)
    if (s.sinceMs !== null && (!still || air !== s.air)) end()
    if (!still || x.value === null) return
    s.sinceMs ??= x.atMs
    s.air = air
    if (x.atMs - s.sinceMs < SETTLE_MS) return
    const fromMs = Math.floor(x.atMs / BIN_MS) * BIN_MS
    if (s.bin && s.bin.fromMs !== fromMs) {
      s.t.push(s.bin.fromMs + BIN_MS / 2)
      s.v.push(s.bin.sum / s.bin.n)
      s.bin = null
      if (s.t.length > MOST_BINS) {
        s.t.shift()
        s.v.shift()
      }
      if (s.t.length % 12 === 0) judge()
    }
    s.bin ??= { fromMs, sum: 0, n: 0 }
    s.bin.sum += p.litresOf(x.value)
    s.bin.n++
    s.grade = worse(s.grade, x.grade)
  })
  return { state: s }
}
