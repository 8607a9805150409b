/**
 * What every trend is made of: values with their times. The rules for imperfect data are the same in this whole folder and stand here.
 *
 * - What is handed in is believed: readings of bad quality are left out before, uncertain ones by the caller's choice.
 * - A missing value (null, NaN, infinite) is no value: it is left out and counted, never filled in.
 * - Two values of one time: the later entry counts.
 * - Times that run backwards are the caller's mistake: RangeError. (Streaming functions meet late readings every day and leave them out.)
 * - Irregular steps: slopes use the true times; smoothing weighs by elapsed time; whatever needs even steps takes a grid
 *   (grid.ts) whose holes stay holes.
 * - A gap is longer than the `gapMs` of the function: what was accumulated before it says nothing about after it.
 * - A flat or coarsely stepped signal has no spread of its own: the resolution of the instrument is the floor of every spread.
 */
export interface Point {
  readonly atMs: number
  readonly value: number | null
}

/** Usable points column by column, times strictly ascending. */
export interface Series {
  readonly atMs: Float64Array
  readonly value: Float64Array
  /** Points left out because they carried no figure. */
  readonly missing: number
}

export const DAY_MS = 86_400_000

export const isFigure = (value: number | null): value is number => value !== null && Number.isFinite(value)

/**
 * Cost O(n) time and memory.
 * points  ascending by time
 * throws  RangeError when times run backwards or are no numbers
 */
export function usable(points: readonly Point[]): Series {
  const atMs = new Float64Array(points.length)
  const value = new Float64Array(points.length)
  let n = 0
  let missing = 0
  let last = Number.NEGATIVE_INFINITY
  for (const p of points) {
    if (!Number.isFinite(p.atMs)) throw new RangeError(`a point has the time ${p.atMs}: it must be a finite number of ms`)
    if (p.atMs < last) throw new RangeError(`points run backwards: ${p.atMs} after ${last}; sort them by time`)
    last = p.atMs
    if (!isFigure(p.value)) {
      missing += 1
      continue
    }
    if (n > 0 && atMs[n - 1] === p.atMs) n -= 1
    atMs[n] = p.atMs
    value[n] = p.value
    n += 1
  }
  return { atMs: atMs.subarray(0, n), value: value.subarray(0, n), missing }
}

/** Times as days since the first point: small numbers, and slopes per day. */
export function daysSinceFirst(s: Series): Float64Array {
  const from = s.atMs[0] ?? 0
  return s.atMs.map((t) => (t - from) / DAY_MS)
}
