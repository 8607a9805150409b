/**
 * Even steps from whatever came: the median of each hour or day, and a hole where too little was read. Medians of days also take
 * the memory between neighbours out of a trend test. A step belongs to [fromMs, fromMs + stepMs).
 * cost    O(n) time on average, O(steps + n of the fullest step) memory
 */
import { positive, within } from '../process/range.ts'
import { quantile } from './order.ts'
import { type Point, usable } from './points.ts'

export interface Grid {
  readonly fromMs: number
  readonly stepMs: number
  /** One per step; a hole is NaN. */
  readonly value: Float64Array
  readonly holes: number
}

export interface GridPlan {
  /** Start of the first step; for days the local midnight. Points before it are not taken. */
  readonly fromMs: number
  readonly stepMs: number
  /** 1 to 100,000. */
  readonly steps: number
  /** Figures a step needs, 1 or more. */
  readonly leastPerStep: number
  /** What stands for a step, 0-1: 0.5 is the median. */
  readonly share?: number
}

/** points ascending. throws RangeError for a plan outside its ranges or times that run backwards */
export function gridOf(points: readonly Point[], g: GridPlan): Grid {
  within('start of the grid', g.fromMs, -1e14, 1e14, 'ms')
  positive('step', g.stepMs, 'ms')
  within('steps', g.steps, 1, 100_000, '')
  within('figures a step needs', g.leastPerStep, 1, 1e6, '')
  const { atMs, value } = usable(points)
  const out = new Float64Array(g.steps).fill(Number.NaN)
  let holes = 0
  let i = 0
  while (i < atMs.length && (atMs[i] as number) < g.fromMs) i += 1
  for (let step = 0; step < g.steps; step += 1) {
    const from = i
    const endMs = g.fromMs + (step + 1) * g.stepMs
    while (i < atMs.length && (atMs[i] as number) < endMs) i += 1
    if (i - from >= g.leastPerStep) out[step] = quantile(value.subarray(from, i), g.share ?? 0.5)
    else holes += 1
  }
  return { fromMs: g.fromMs, stepMs: g.stepMs, value: out, holes }
}

/** The steps that hold a figure as points, each at the middle of its step. */
export function pointsOf(g: Grid): readonly Point[] {
  return Array.from(g.value, (value, i) => ({ atMs: g.fromMs + (i + 0.5) * g.stepMs, value })).filter((p) => !Number.isNaN(p.value))
}
