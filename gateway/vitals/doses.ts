/**
 * The sawtooth of pH: each acid or alum dose is a small titration, and how far the same dose moves pH tells, weeks ahead, that the buffer goes.
 * Doses come from the contact of the pump. Where it is looked at too seldom to time a dose, each dose seen counts as one.
 */
import { type AcidDose, BUFFER_DEFAULTS, type BufferSettings, type DoseStep, doseSteps, type PhPoint } from '../process/buffer.ts'
import { GOOD, type Grade, worse } from './grade.ts'
import type { Memory } from './memory.ts'
import type { Slot } from './slots.ts'

const MIN = 60_000
/** Points of pH kept: half an hour at one in 10 s. */
const MOST_POINTS = 180
const KEEP_MS = 30 * MIN
const MOST_STEPS = 120
/** A controller waits some ten minutes between doses; mixing takes less. Common practice, no source. */
const MIX_MS = 8 * MIN
/** Seldomer than this and a pulse cannot be timed. */
const TIMED_BY_MS = 20_000

interface DoseState {
  t: number[]
  v: number[]
  grades: Grade[]
  open: { fromMs: number; toMs: number } | null
  doses: AcidDose[]
  steps: (DoseStep & { readonly grade: Grade })[]
  version: number
}

export interface Doses {
  readonly state: Readonly<DoseState>
  readonly settings: BufferSettings
  /** Unit of the amounts: seconds of pump run, or doses. */
  readonly by: 's' | 'dose'
}

export function watchDoses(stage: string, ph: Slot, pump: Slot, memory: Memory): Doses {
  const s = memory.of<DoseState>(`doses ${stage} ${pump.signal.id}`, () => ({ t: [], v: [], grades: [], open: null, doses: [], steps: [], version: 0 }))
  const settings: BufferSettings = { ...BUFFER_DEFAULTS, mixMs: MIX_MS, resolution: ph.signal.resolution }
  const by = pump.signal.sampleEveryMs <= TIMED_BY_MS ? 's' : 'dose'

  const settle = (atMs: number): void => {
    const dose = s.doses[0]
    if (!dose || atMs < dose.toMs + MIX_MS) return
    const points: PhPoint[] = s.t.map((t, i) => ({ atMs: t, ph: s.v[i] ?? 7 }))
    const grade = s.grades.reduce(worse, worse(GOOD, pump.grade))
    for (const step of doseSteps(points, s.doses, settings).filter((x) => x.atMs === dose.fromMs)) {
      s.steps.push({ ...step, grade })
      if (s.steps.length > MOST_STEPS) s.steps.shift()
      s.version++
    }
    s.doses.shift()
  }

  pump.listeners.push((x) => {
    const { open } = s
    if (x.value !== null && x.value >= 0.5) {
      if (open) open.toMs = x.atMs
      else s.open = { fromMs: x.atMs, toMs: x.atMs }
    } else if (open) {
      s.open = null
      // An unknown state ends a dose of unknown length: it is not used.
      if (x.value === null) return
      const toMs = Math.max(open.toMs, open.fromMs + 1)
      const seconds = (x.atMs - open.fromMs) / 1000
      s.doses.push({ fromMs: open.fromMs - pump.signal.sampleEveryMs, toMs, amount: by === 's' ? seconds : Math.max(1, Math.round(seconds / (pump.signal.sampleEveryMs / 1000))) })
      if (s.doses.length > 5) s.doses.shift()
    }
  })
  ph.listeners.push((x) => {
    settle(x.atMs)
    if (x.value === null) return
    s.t.push(x.atMs)
    s.v.push(x.value)
    s.grades.push(x.grade)
    while (s.t.length > MOST_POINTS || (s.t[0] ?? x.atMs) < x.atMs - KEEP_MS) {
      s.t.shift()
      s.v.shift()
      s.grades.shift()
    }
  })
  return { state: s, settings, by }
}
