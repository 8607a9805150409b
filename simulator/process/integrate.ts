/**
 * Integrates dy/dt = f(t, y) with steps that fit the curve: Dormand & Prince 5(4), explicit, with local error control.
 *
 * Good for the loop's equations, whose fastest part (oxygen transfer, some 10 per h) is slow against what an explicit method
 * carries. It is no stiff solver: with rates of 1e6 beside rates of 1 it stays right but takes very many steps, and `mostSteps` ends it.
 * source  Dormand & Prince 1980; step control as in Hairer, Norsett & Wanner, Solving Ordinary Differential Equations I, II.4
 */

/** Writes dy/dt into `out` (same length as y; must not keep either array). */
export type Derivative = (t: number, y: Float64Array, out: Float64Array) => void

export interface IntegrateSettings {
  readonly relative?: number
  /** Absolute error allowed per step, unit of y. */
  readonly absolute?: number
  /** Longest step, unit of t: forcing with short events must not be stepped over. */
  readonly longestStep?: number
  readonly mostSteps?: number
}

export interface Integrated {
  readonly y: Float64Array
  readonly steps: number
  readonly rejected: number
}

const C = [0, 1 / 5, 3 / 10, 4 / 5, 8 / 9, 1, 1] as const
const A: readonly (readonly number[])[] = [
  [],
  [1 / 5],
  [3 / 40, 9 / 40],
  [44 / 45, -56 / 15, 32 / 9],
  [19_372 / 6561, -25_360 / 2187, 64_448 / 6561, -212 / 729],
  [9017 / 3168, -355 / 33, 46_732 / 5247, 49 / 176, -5103 / 18_656],
  [35 / 384, 0, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84],
]
/** Fifth order less fourth order. */
const E = [71 / 57_600, 0, -71 / 16_695, 71 / 1920, -17_253 / 339_200, 22 / 525, -1 / 40] as const

/**
 * gives   y at `to`; `start` is left as it was
 * throws  RangeError for a span or tolerance that is no number, or `to` before `from`; Error when f gives NaN or the steps run out
 */
export function integrate(f: Derivative, start: ArrayLike<number>, from: number, to: number, s: IntegrateSettings = {}): Integrated {
  const relative = s.relative ?? 1e-8
  const absolute = s.absolute ?? 1e-10
  const most = s.mostSteps ?? 1_000_000
  if (!Number.isFinite(from) || !Number.isFinite(to) || to < from)
    throw new RangeError(`cannot integrate from ${from} to ${to}: both must be finite and the second not before the first`)
  if (!(relative > 0 && relative < 0.1 && absolute > 0))
    throw new RangeError(`tolerances ${relative} (relative) and ${absolute} (absolute) must be above zero, the relative one below 0.1`)
  const n = start.length
  let y: Float64Array = Float64Array.from(start)
  let next: Float64Array = new Float64Array(n)
  const k: Float64Array[] = A.map(() => new Float64Array(n))
  const mid = new Float64Array(n)
  let t = from
  let steps = 0
  let rejected = 0
  if (to === from) return { y, steps, rejected }
  const longest = Math.min(s.longestStep ?? to - from, to - from)
  f(t, y, row(k, 0))
  let h = Math.min(longest, firstStep(y, row(k, 0), relative, absolute))
  while (t < to) {
    if (steps + rejected >= most) throw new Error(`integration stopped at t = ${t} of ${to}: ${most} steps were not enough`)
    const ends = t + h >= to
    if (ends) h = to - t
    for (let stage = 1; stage < 7; stage += 1) {
      const target = stage === 6 ? next : mid
      const a = A[stage] as readonly number[]
      for (let i = 0; i < n; i += 1) {
        let sum = 0
        for (let j = 0; j < stage; j += 1) sum += (a[j] as number) * (row(k, j)[i] as number)
        target[i] = (y[i] as number) + h * sum
      }
      f(t + (C[stage] as number) * h, target, row(k, stage))
    }
    let error = 0
    for (let i = 0; i < n; i += 1) {
      let e = 0
      for (let j = 0; j < 7; j += 1) e += (E[j] as number) * (row(k, j)[i] as number)
      const scale = absolute + relative * Math.max(Math.abs(y[i] as number), Math.abs(next[i] as number))
      error += ((h * e) / scale) ** 2
    }
    error = Math.sqrt(error / n)
    if (Number.isNaN(error)) throw new Error(`integration met NaN at t = ${t}: the derivative is not defined there`)
    if (error <= 1) {
      t = ends ? to : t + h
      steps += 1
      const was = y
      y = next
      next = was
      // The last stage is the first of the next step.
      const first = row(k, 0)
      k[0] = row(k, 6)
      k[6] = first
    } else rejected += 1
    h = Math.min(longest, h * Math.min(5, Math.max(0.2, 0.9 * error ** -0.2)))
    if (t < to && t + h === t) throw new Error(`integration stopped at t = ${t}: no step is short enough there`)
  }
  return { y, steps, rejected }
}

function firstStep(y: Float64Array, slope: Float64Array, relative: number, absolute: number): number {
  let size = 0
  let speed = 0
  for (let i = 0; i < y.length; i += 1) {
    const scale = absolute + relative * Math.abs(y[i] as number)
    size += ((y[i] as number) / scale) ** 2
    speed += ((slope[i] as number) / scale) ** 2
  }
  return size < 1e-10 || speed < 1e-10 ? 1e-6 : 0.01 * Math.sqrt(size / speed)
}

const row = (k: readonly Float64Array[], i: number): Float64Array => k[i] as Float64Array
