/**
 * Tests of a tank's biology and air that happen whenever its air stops and comes back: a timer's, or a stop nobody planned. While it is off the
 * fall of oxygen gives the uptake, after it is back the rise gives the aeration capacity. Points are kept for the test under way only.
 *
 *    watching --air off--> falling --air back--> rising --at rest, or 2.5 h--> watching
 */
import type { AirOff } from '../process/air-off.ts'
import { saturationMgPerL } from '../process/oxygen.ts'
import { kLaOfRise, RISE_DEFAULTS } from '../process/rise.ts'
import { type DoPoint, type Span, uptake80, UPTAKE_DEFAULTS, uptakeOf } from '../process/uptake.ts'
import type { Air } from './air.ts'
import { doubted, GOOD, type Grade, worse } from './grade.ts'
import type { Memory } from './memory.ts'
import { type Slot, valueAt } from './slots.ts'
import type { Washing } from './washing.ts'

const MIN = 60_000
const HOUR = 3_600_000
/** Points of one phase; when full every second one is dropped. */
const MOST_POINTS = 480
/** Tests remembered: a nightly one for two months. */
const MOST_TESTS = 60
const MOST_SPANS = 30
/** A stop without end is judged after this, or when oxygen is short. */
const JUDGE_AFTER_MS = HOUR
/** Cubic metres of water do not change by half a degree in it. */
const TEMPERATURE_HOLDS_MS = 30 * MIN
const RISE_FIRST_MS = 30 * MIN
const RISE_AGAIN_MS = 10 * MIN
const RISE_LAST_MS = 150 * MIN

/**
 * Told as "about" up to this error, share of the uptake, and as "below x" up to this x, mg/L/h: an interval is shown, so a rough figure is better than none.
 * A "measured" one still needs half its 95 % interval within 30 %, which is an error under 15 %. Common practice, no source.
 */
const ACCEPTED = { errorShare: 0.4, smallMgPerLPerH: 3 } as const

/** What would make a test where there is none. */
export const TIMER = 'A local timer that stops the air 10 to 20 min at a quiet hour and restarts it by itself, with a local stop at 1 mg/L; or any clean stop of the air'

/** What all records share, for comparing like with like. */
interface Circumstances {
  readonly fromMs: number
  readonly toMs: number
  /** null: not known when it was last washed. */
  readonly hoursSinceWash: number | null
  readonly celsius: number
  readonly ownTemperature: boolean
  readonly grade: Grade
}

export interface UptakeRecord extends Circumstances {
  readonly kind: 'measured' | 'about' | 'below'
  readonly uptake: number
  /** 80 %. */
  readonly low: number
  readonly high: number
  /** 95 % with the surface at its worst: what "below" is said with. */
  readonly bound: number
  readonly drop: number
  readonly samples: number
  readonly movingKnown: boolean
}

export interface RiseRecord extends Circumstances {
  readonly kind: 'measured' | 'at-least'
  readonly kLaPerH: number
  readonly low: number
  readonly high: number
  readonly restingMgPerL: number
}

export interface AirTestState {
  phase: 'watching' | 'falling' | 'rising'
  off: AirOff | null
  judged: boolean
  triedMs: number
  lastOnMs: number | null
  stepMs: number | null
  t: number[]
  v: number[]
  moving: { fromMs: number; toMs: number }[]
  grade: Grade
  uptakes: UptakeRecord[]
  rises: RiseRecord[]
  /** Why the newest fall gave no uptake; null: it gave one, or there was none. */
  refused: { readonly atMs: number; readonly why: string } | null
  riseRefused: { readonly atMs: number; readonly why: string } | null
  uptakeVersion: number
  riseVersion: number
}

export interface AirTests {
  readonly state: Readonly<AirTestState>
}

export interface TestParts {
  readonly stage: string
  readonly oxygen: Slot
  readonly air: Air
  readonly temperature: { readonly slot: Slot; readonly own: boolean }
  readonly washing: Washing | null
  /** Contacts of everything that moves water or chemicals into the tank; empty: not known. */
  readonly movers: readonly Slot[]
  readonly pressureAtm: number
  readonly salinity: (atMs: number) => number
}

const fresh = (): AirTestState => ({
  phase: 'watching',
  off: null,
  judged: false,
  triedMs: 0,
  lastOnMs: null,
  stepMs: null,
  t: [],
  v: [],
  moving: [],
  grade: GOOD,
  uptakes: [],
  rises: [],
  refused: null,
  riseRefused: null,
  uptakeVersion: 0,
  riseVersion: 0,
})

export function watchAirTests(p: TestParts, memory: Memory): AirTests {
  const s = memory.of<AirTestState>(`air tests ${p.stage}`, fresh)

  /** The formulas take steps from 0.0001 to 1 mg/L. */
  const resolution = Math.min(1, Math.max(0.0001, p.oxygen.signal.resolution))

  const begin = (atMs: number): void => {
    s.phase = 'falling'
    s.off = { fromMs: atMs, toMs: atMs, backMs: null, startDoubtMs: s.lastOnMs === null ? null : atMs - s.lastOnMs }
    s.judged = false
    clear()
  }
  const clear = (): void => {
    s.t = []
    s.v = []
    s.moving = []
    s.grade = GOOD
  }
  const points = (): DoPoint[] => s.t.map((atMs, i) => ({ atMs, doMgPerL: s.v[i] ?? 0 }))

  const circumstances = (fromMs: number, toMs: number): Circumstances | string => {
    const celsius = valueAt(p.temperature.slot, toMs, TEMPERATURE_HOLDS_MS)
    if (typeof celsius === 'string') return celsius
    if (celsius < 0.5 || celsius > 39.5) return `the water temperature of ${celsius} °C is outside 0 to 40`
    const last = p.washing?.lastMs() ?? p.washing?.sinceMs() ?? null
    const grade = worse(worse(s.grade, p.air.grade()), p.temperature.slot.grade)
    return {
      fromMs,
      toMs,
      hoursSinceWash: last === null ? null : Math.max(0, (fromMs - last) / HOUR),
      celsius,
      ownTemperature: p.temperature.own,
      grade: p.temperature.own ? grade : doubted(grade, 'substitute'),
    }
  }

  const judgeFall = (): void => {
    const { off } = s
    if (!off || s.judged) return
    s.judged = true
    const refuse = (why: string): void => {
      s.refused = { atMs: off.toMs, why }
      s.uptakeVersion++
    }
    const about = circumstances(off.fromMs, off.toMs)
    if (typeof about === 'string') return refuse(about)
    const settings = { ...UPTAKE_DEFAULTS, ...ACCEPTED, saturationMgPerL: saturationMgPerL(about.celsius, p.salinity(off.toMs), p.pressureAtm), resolutionMgPerL: resolution }
    const found = uptakeOf(points(), off, p.movers.length > 0 ? s.moving : null, settings)
    if (found.kind === 'not-observable') return refuse(found.because)
    const { low, best, high } = uptake80(found, settings)
    push(s.uptakes, {
      ...about,
      fromMs: found.fromMs,
      toMs: found.toMs,
      kind: found.kind,
      uptake: best,
      low,
      high,
      bound: found.highMgPerLPerH,
      drop: found.dropMgPerL,
      samples: found.samples,
      movingKnown: p.movers.length > 0,
    })
    s.refused = null
    s.uptakeVersion++
  }

  /** true: nothing more to wait for. */
  const judgeRise = (atMs: number, last: boolean): boolean => {
    const backMs = s.off?.backMs ?? atMs
    const found = kLaOfRise(points(), backMs, { ...RISE_DEFAULTS, resolutionMgPerL: resolution })
    if (found.kind === 'not-observable') {
      if (last) {
        s.riseRefused = { atMs, why: found.because }
        s.riseVersion++
      }
      return last
    }
    // Before six time constants the end of the record lies under the true rest, and the rate comes out too high.
    if (!last && ((atMs - backMs) / HOUR) * found.kLaPerH < 6) return false
    const about = circumstances(backMs, atMs)
    if (typeof about === 'string') return last
    // The interval of the rise is a 95 % one; 0.65 of its half-width holds about 80 %.
    push(s.rises, {
      ...about,
      kind: found.kind,
      kLaPerH: found.kLaPerH,
      low: found.kLaPerH - 0.65 * (found.kLaPerH - found.lowPerH),
      high: found.kLaPerH + 0.65 * (found.highPerH - found.kLaPerH),
      restingMgPerL: found.restingMgPerL,
    })
    s.riseRefused = null
    s.riseVersion++
    return true
  }

  const step = (atMs: number): void => {
    const on = p.air.on(atMs)
    if (on === true) s.lastOnMs = atMs
    const { off } = s
    if (s.phase === 'watching' || !off) {
      // A tank that was without air when we began to look has no known start of its fall, but its slope is as good.
      if (on === false) begin(atMs)
    } else if (s.phase === 'falling') {
      noteMoving(s, p.movers, atMs)
      if (on === false) {
        s.off = { ...off, toMs: Math.max(off.toMs, atMs) }
        const value = s.v.at(-1)
        if (!s.judged && (atMs - off.fromMs >= JUDGE_AFTER_MS || (value !== undefined && value <= 0.9 * UPTAKE_DEFAULTS.floorMgPerL && atMs - off.fromMs > UPTAKE_DEFAULTS.dropMs)))
          judgeFall()
      } else {
        judgeFall()
        clear()
        s.phase = on ? 'rising' : 'watching'
        s.off = { ...off, backMs: on ? atMs : null }
        s.triedMs = atMs
      }
    } else if (on !== true) {
      judgeRise(atMs, true)
      s.phase = 'watching'
      if (on === false) begin(atMs)
    } else {
      const since = atMs - (off.backMs ?? atMs)
      // Under a changing load the rise tells the load, not the air.
      const washed = p.washing?.now(atMs) === true
      const late = since >= RISE_LAST_MS || washed
      if (late || (since >= RISE_FIRST_MS && atMs - s.triedMs >= RISE_AGAIN_MS)) {
        s.triedMs = atMs
        if (judgeRise(atMs, late)) {
          s.phase = 'watching'
          clear()
        }
      }
    }
    s.stepMs = atMs
  }

  for (const slot of p.air.slots) slot.listeners.push((x) => step(x.atMs))
  p.oxygen.listeners.push((x) => {
    step(x.atMs)
    if (s.phase === 'watching' || x.value === null) return
    s.t.push(x.atMs)
    s.v.push(x.value)
    s.grade = worse(s.grade, x.grade)
    if (s.t.length > MOST_POINTS) {
      s.t = s.t.filter((_, i) => i % 2 === 0)
      s.v = s.v.filter((_, i) => i % 2 === 0)
    }
  })
  return { state: s }
}

function noteMoving(s: AirTestState, movers: readonly Slot[], atMs: number): void {
  if (!movers.some((m) => m.value !== null && m.value >= 0.5)) return
  const fromMs = Math.min(s.stepMs ?? atMs, atMs)
  const last = s.moving.at(-1)
  if (last && fromMs <= last.toMs) last.toMs = Math.max(last.toMs, atMs)
  else {
    s.moving.push({ fromMs, toMs: atMs } satisfies Span)
    if (s.moving.length > MOST_SPANS) s.moving.shift()
  }
}

function push<T>(list: T[], item: T): void {
  list.push(item)
  if (list.length > MOST_TESTS) list.shift()
}
