/**
 * Distance from a reference: a target, another signal, or the loop's own median of a long span. The median does not learn what is
 * itself a deviation, so that a fault does not become its own normal; but what has stood for as long as the span is the new normal.
 */
import { judgeLimit, makeLimit, type Judgement } from '../limit.ts'
import type { ConditionOf, Reference } from '../rule.ts'
import { known, type SignalMemory } from '../signal-memory.ts'
import { Smoothed } from './limit.ts'
import { reading, type Learned, type Place, type ReadyCondition } from './ready.ts'
import { createSlottedMedian } from './slotted-median.ts'

export function deviationCondition(c: ConditionOf<'deviation'>, place: Place): ReadyCondition | null {
  const m = place.find(c.signal)
  if (!m) return null
  const base = baseOf(c.from, c.signal, place)
  if (!base) return null
  const limit = makeLimit(c.side, c.limit, c.deadband)
  const half = makeLimit(c.side, c.as === 'ratio' ? (1 + c.limit) / 2 : c.limit / 2, 0)
  const smooth = c.medianOverMs === undefined ? null : new Smoothed(c.medianOverMs)
  const measure = (): number => {
    const v = smooth ? smooth.value() : m.value
    const from = base.value()
    return c.as === 'difference' ? v - from : from === 0 ? Number.NaN : v / from
  }
  /** Last time it was within half the limit, and whether the present excursion came from there fast enough. */
  let nearMs = Number.NEGATIVE_INFINITY
  let beyond = false
  let step = false
  const judged = (): Judgement | 'unknown' => {
    const v = measure()
    return Number.isFinite(v) ? judgeLimit(v, limit) : 'unknown'
  }
  return {
    reads: reading(m, base.reads),
    unit: c.as === 'difference' ? m.unit : '1',
    limit: c.limit,
    take: (s, atMs) => {
      if (s === m) {
        smooth?.add(m.value, atMs)
        base.learn(m.value, atMs, judged() === 'violated')
      }
      if (c.withinMs === undefined) return
      const v = measure()
      if (!Number.isFinite(v)) return
      if (judgeLimit(v, half) !== 'violated') nearMs = atMs
      const over = judgeLimit(v, limit) === 'violated'
      if (over && !beyond) step = atMs - nearMs <= c.withinMs
      beyond = over
    },
    judge: () => {
      if (!known(m) || !base.ready()) return 'unknown'
      const j = judged()
      return j === 'violated' && c.withinMs !== undefined && !step ? 'inside' : j
    },
    restsOn: () => m,
    value: measure,
    ...(base.learned && { learned: [base.learned] }),
  }
}

interface Base {
  readonly reads: SignalMemory | null
  ready(): boolean
  value(): number
  learn(value: number, atMs: number, violated: boolean): void
  readonly learned: Learned | null
}

const FIXED = { reads: null, ready: () => true, learn: () => {}, learned: null }

function baseOf(from: Reference, signal: string, place: Place): Base | null {
  if (from.kind === 'value') return { ...FIXED, value: () => from.value }
  if (from.kind === 'signal') {
    const other = place.find(from.signal)
    return other && { ...FIXED, reads: other, ready: () => known(other), value: () => other.value }
  }
  return ownMedian(`${signal} median ${from.spanMs}`, from.spanMs, from.leastMs, place)
}

function ownMedian(shape: string, spanMs: number, leastMs: number, { learns, teaches }: Place): Base {
  const slots = createSlottedMedian(spanMs)
  const ready = (): boolean => slots.seenMs() >= leastMs
  // A reading is learned when the next one comes and the gate is still open: the other values of its row are known by then.
  let waiting = Number.NaN
  let waitingMs = 0
  let violatedSinceMs: number | null = null
  return {
    reads: null,
    ready,
    value: () => (ready() ? slots.median() : Number.NaN),
    learn(value, atMs, violated) {
      const open = learns(atMs)
      if (!Number.isNaN(waiting) && open && teaches()) slots.add(waiting, waitingMs)
      if (violated) violatedSinceMs ??= atMs
      else violatedSinceMs = null
      const normal = violatedSinceMs === null || atMs - violatedSinceMs >= spanMs
      waiting = open && normal && teaches() ? value : Number.NaN
      waitingMs = atMs
    },
    learned: {
      shape,
      keep: () => slots.keep(),
      resume: (kept) => slots.resume(kept),
      forget() {
        slots.forget()
        waiting = Number.NaN
        violatedSinceMs = null
      },
    },
  }
}
