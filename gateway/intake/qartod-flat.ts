/**
 * How long a signal has stood still, kept up reading by reading: the longest run of newest readings that lie within the tolerance of
 * each other. All readings of the last W lie within it exactly when the reading that broke the previous run is older than W.
 *
 * To find where a new run begins, the greatest and the least of every tail of the run are kept: at most tolerance / resolution + 1 of
 * each, so the newest reading alone when the tolerance is finer than the resolution. Bound: 8 of each, the newest counted; beyond,
 * two become one with the value of the older and the time of the newer, so that a run can only seem shorter than it is and the
 * flag can only come late.
 */
import { above, longer } from './qartod-compare.ts'
import type { FlatSpec } from './qartod-spec.ts'

export interface FlatRun {
  /** First reading of what was watched without a hole. */
  readonly sinceMs: number
  /** Last reading before the run; -Infinity: the run is all there is. */
  readonly brokeMs: number
  /** The newest three readings; -Infinity: there are not as many. */
  readonly newestMs: number
  readonly secondMs: number
  readonly thirdMs: number
  readonly newest: number
  /** Greatest of each tail of the run before the newest, [time, value, time, value...], falling; then the least of each, rising. */
  readonly highs: readonly number[]
  readonly lows: readonly number[]
}

const MOST = 7
const NONE: readonly number[] = []

export const startFlat = (atMs: number, x: number): FlatRun => ({
  sinceMs: atMs,
  brokeMs: Number.NEGATIVE_INFINITY,
  newestMs: atMs,
  secondMs: Number.NEGATIVE_INFINITY,
  thirdMs: Number.NEGATIVE_INFINITY,
  newest: x,
  highs: NONE,
  lows: NONE,
})

/** The run with one more reading. */
export function extendFlat(run: FlatRun, atMs: number, x: number, tol: number): FlatRun {
  const broke = above(Math.abs(run.newest - x), tol) ? run.newestMs : Math.max(run.brokeMs, lastBeyond(run.highs, x, tol, 1), lastBeyond(run.lows, x, tol, -1))
  return {
    sinceMs: run.sinceMs,
    brokeMs: broke,
    newestMs: atMs,
    secondMs: run.newestMs,
    thirdMs: run.secondMs,
    newest: x,
    highs: corners(run.highs, run, broke, x, 1),
    lows: corners(run.lows, run, broke, x, -1),
  }
}

/** Time of the newest corner further than `tol` from x on its side; they come nearer to x from first to last. `sign`: 1 for highs, -1 for lows. */
function lastBeyond(list: readonly number[], x: number, tol: number, sign: 1 | -1): number {
  let broke = Number.NEGATIVE_INFINITY
  for (let i = 0; i < list.length; i += 2) {
    if (!above(sign * ((list[i + 1] ?? x) - x), tol)) break
    broke = list[i] ?? broke
  }
  return broke
}

/** The corners that still stand out over x, the reading before it among them. */
function corners(list: readonly number[], run: FlatRun, broke: number, x: number, sign: 1 | -1): readonly number[] {
  const stands = run.newestMs > broke && sign * (run.newest - x) > 0
  if (list.length === 0 && !stands) return NONE
  const out: number[] = []
  for (let i = 0; i < list.length; i += 2) {
    const t = list[i] ?? broke
    const v = list[i + 1] ?? x
    if (t > broke && sign * (v - x) > 0) out.push(t, v)
  }
  if (stands) out.push(run.newestMs, run.newest)
  if (out.length > 2 * MOST) out.splice(0, 4, out[2] ?? broke, out[1] ?? x)
  return out.length === 0 ? NONE : out
}

export type Stillness = 'still' | 'moved' | 'unknown'

/**
 * Has it stood still from `fromMs` until its newest reading. unknown: it has, as far as it was watched, but that is not long enough or
 * too few readings. Watched long enough: one reading earlier, at the interval, would lie outside.
 */
export function stillSince(run: FlatRun, fromMs: number, intervalMs: number, minSamples: number): Stillness {
  if (run.brokeMs >= fromMs) return 'moved'
  const needed = minSamples <= 1 ? run.newestMs : minSamples === 2 ? run.secondMs : run.thirdMs
  if (needed < fromMs || run.sinceMs - intervalMs >= fromMs) return 'unknown'
  return 'still'
}

/** At a physical end standing still means nothing. */
export const atEnd = (x: number, ends: FlatSpec['ends']): boolean => (ends.low !== null && x <= ends.low) || (ends.high !== null && x >= ends.high)

/** A happening that must have moved the signal between two times. */
export interface Moving {
  readonly fromMs: number
  readonly byMs: number
}

/**
 * 4 or 3 after its time of standing still, 3 when it stood still through `event`, 2 when it was not watched long enough to tell, else 1.
 * `still` answers for the span from a time until `nowMs`.
 */
export function flatFlag(spec: FlatSpec, nowMs: number, event: Moving | null, still: (fromMs: number) => Stillness): 1 | 2 | 3 | 4 {
  if (spec.failMs !== null && still(nowMs - spec.failMs) === 'still') return 4
  const through = event === null || longer(event.byMs, nowMs) ? 'unknown' : still(event.fromMs)
  if (through === 'still') return 3
  const first = spec.suspectMs ?? spec.failMs
  const lately = first === null ? through : still(nowMs - first)
  if (lately === 'unknown') return 2
  return lately === 'still' ? 3 : 1
}
