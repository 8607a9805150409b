/**
 * Hampel identifier: a reading further from the median of its neighbours than so many robust deviations is a single wild one. It
 * is named, and the median offered in its place for trends; the reading itself stays in history as it is.
 *
 * The deviation is never under the resolution: in a window where most readings are equal the median distance is 0 and every
 * honest step would be called wild. Missing readings take no place in the window. Readings older than the span fall out, so
 * behind a gap the window fills anew; until it holds `leastInWindow` nothing is judged.
 * source  Davies & Gather 1993 (J. Am. Stat. Assoc. 88: 782); three deviations are Pearson's rule
 */
import { positive, within } from '../process/range.ts'
import { MAD_TO_SD, median, robustSd } from './order.ts'
import { isFigure, type Point, usable } from './points.ts'

export interface HampelPlan {
  /** Readings looked at: of the review on either side, of the stream the last ones; 3-501. */
  readonly reach: number
  /** No further than this in time. */
  readonly spanMs: number
  readonly leastInWindow: number
  /** Robust deviations, 1-10; 3 is usual. */
  readonly width: number
  /** Smallest step of the signal, its unit. */
  readonly resolution: number
}

export interface Judged {
  readonly atMs: number
  readonly value: number
  /** unjudged: too few neighbours. */
  readonly says: 'fits' | 'wild' | 'unjudged'
  /** Median of the window; the value itself when unjudged. */
  readonly centre: number
}

function checked(p: HampelPlan): void {
  within('reach of the window', p.reach, 3, 501, 'readings')
  positive('span of the window', p.spanMs, 'ms')
  within('readings in the window at least', p.leastInWindow, 3, 2 * p.reach + 1, '')
  within('width', p.width, 1, 10, 'robust deviations')
  positive('resolution', p.resolution, 'of the signal')
}

/** The review: windows centred on each reading, itself included. Cost O(n x reach) time. throws RangeError for a plan outside its ranges */
export function hampel(points: readonly Point[], p: HampelPlan): readonly Judged[] {
  checked(p)
  const { atMs, value } = usable(points)
  let from = 0
  let to = 0
  return Array.from(atMs, (at, i) => {
    while (i - from > p.reach || at - (atMs[from] as number) > p.spanMs) from += 1
    while (to < atMs.length && to - i <= p.reach && (atMs[to] as number) - at <= p.spanMs) to += 1
    return judge(at, value[i] as number, value.subarray(from, to), p)
  })
}

function judge(atMs: number, value: number, window: Float64Array, p: HampelPlan): Judged {
  if (window.length < p.leastInWindow) return { atMs, value, says: 'unjudged', centre: value }
  const centre = median(window)
  return { atMs, value, says: Math.abs(value - centre) > p.width * robustSd(window, p.resolution, centre) ? 'wild' : 'fits', centre }
}

/** The stream: the last readings, in order of time and in order of size. Memory 4 x reach numbers. */
export interface HampelWindow {
  readonly plan: HampelPlan
  /** Oldest first; at most `reach`. */
  readonly atMs: number[]
  readonly value: number[]
  readonly sorted: number[]
}

/** throws RangeError for a plan outside its ranges */
export function startHampel(plan: HampelPlan): HampelWindow {
  checked(plan)
  within('readings in the window at least', plan.leastInWindow, 3, plan.reach, '')
  return { plan, atMs: [], value: [], sorted: [] }
}

/**
 * Judges a reading by those before it (not itself: a stream has no later half to outvote it) and takes it into the window, wild or
 * not: after a true step the window follows once half of it is new. Changes `w`.
 * Cost O(reach) moves, O(log reach) comparisons. Gives null for a missing or late reading.
 */
export function stepHampel(w: HampelWindow, at: Point): Judged | null {
  if (!isFigure(at.value) || at.atMs <= (w.atMs.at(-1) ?? Number.NEGATIVE_INFINITY)) return null
  while (w.atMs.length > 0 && at.atMs - (w.atMs[0] as number) > w.plan.spanMs) dropOldest(w)
  const n = w.sorted.length
  let out: Judged = { atMs: at.atMs, value: at.value, says: 'unjudged', centre: at.value }
  if (n >= w.plan.leastInWindow) {
    const centre = ((w.sorted[(n - 1) >> 1] as number) + (w.sorted[n >> 1] as number)) / 2
    const sd = Math.max(w.plan.resolution, MAD_TO_SD * middleDistance(w.sorted, centre))
    out = { ...out, says: Math.abs(at.value - centre) > w.plan.width * sd ? 'wild' : 'fits', centre }
  }
  w.atMs.push(at.atMs)
  w.value.push(at.value)
  w.sorted.splice(placeOf(w.sorted, at.value), 0, at.value)
  if (w.atMs.length > w.plan.reach) dropOldest(w)
  return out
}

function dropOldest(w: HampelWindow): void {
  w.atMs.shift()
  w.sorted.splice(placeOf(w.sorted, w.value.shift() as number), 1)
}

/** First index whose value is not smaller. */
function placeOf(sorted: readonly number[], value: number): number {
  let low = 0
  let high = sorted.length
  while (low < high) {
    const middle = (low + high) >>> 1
    if ((sorted[middle] as number) < value) low = middle + 1
    else high = middle
  }
  return low
}

/** Median distance from the centre of sorted values: the nearest half, walked outwards from the middle. */
function middleDistance(sorted: readonly number[], centre: number): number {
  const n = sorted.length
  let right = placeOf(sorted, centre)
  let left = right - 1
  let before = 0
  let distance = 0
  for (let taken = 0; taken <= n >> 1; taken += 1) {
    before = distance
    const down = left >= 0 ? centre - (sorted[left] as number) : Number.POSITIVE_INFINITY
    const up = right < n ? (sorted[right] as number) - centre : Number.POSITIVE_INFINITY
    distance = Math.min(down, up)
    if (down <= up) left -= 1
    else right += 1
  }
  return n % 2 === 0 ? (before + distance) / 2 : distance
}
