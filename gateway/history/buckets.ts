/**
 * Spans of a trend, filled from readings and from the figures of whole blocks, in any order. Spans are equal, start at
 * `fromMs`, and none starts at or after `toMs`, so there may be fewer than asked when the span is short.
 */
import type { Figures } from './block.ts'
import type { Columns } from './columns.ts'
import type { Bucket } from './history.ts'
import { BAD, qualityOfRank, rankOf } from './quality-code.ts'

/** Sums beyond the largest double are kept small, so that the mean of huge values is still a number. */
const SHRINK = 2 ** -64

export const MOST_POINTS = 5_000

export interface Spans {
  readonly fromMs: number
  readonly toMs: number
  readonly bucketMs: number
  readonly count: number
}

/** Throws RangeError for anything but whole times and 1 to 5,000 points. */
export function spansOf(fromMs: number, toMs: number, points: number): Spans {
  if (!Number.isInteger(points) || points < 1 || points > MOST_POINTS) throw new RangeError(`${points} points were asked for: 1 to ${MOST_POINTS} can be given`)
  if (!Number.isSafeInteger(fromMs) || !Number.isSafeInteger(toMs)) throw new RangeError(`a trend from ${fromMs} to ${toMs} was asked for: whole ms are needed`)
  const bucketMs = Math.max(1, Math.ceil((toMs - fromMs) / points))
  return { fromMs, toMs, bucketMs, count: Math.max(0, Math.ceil((toMs - fromMs) / bucketMs)) }
}

export class BucketSums {
  readonly spans: Spans
  private readonly count: Float64Array
  private readonly bad: Float64Array
  private readonly min: Float64Array
  private readonly max: Float64Array
  private readonly sum: Float64Array
  private readonly shrunk: Float64Array
  private readonly first: Float64Array
  private readonly firstMs: Float64Array
  private readonly last: Float64Array
  private readonly lastMs: Float64Array
  private readonly worst: Int8Array

  constructor(spans: Spans) {
    this.spans = spans
    const n = spans.count
    this.count = new Float64Array(n)
    this.bad = new Float64Array(n)
    this.min = new Float64Array(n).fill(Number.POSITIVE_INFINITY)
    this.max = new Float64Array(n).fill(Number.NEGATIVE_INFINITY)
    this.sum = new Float64Array(n)
    this.shrunk = new Float64Array(n)
    this.first = new Float64Array(n)
    this.firstMs = new Float64Array(n).fill(Number.POSITIVE_INFINITY)
    this.last = new Float64Array(n)
    this.lastMs = new Float64Array(n).fill(Number.NEGATIVE_INFINITY)
    this.worst = new Int8Array(n).fill(-1)
  }

  /** Adds ascending readings; those outside the trend are left out. */
  addReadings(c: Columns): void {
    const { fromMs, toMs, bucketMs } = this.spans
    const { times, values, codes, n } = c
    let i = 0
    while (i < n && times[i]! < fromMs) i++
    while (i < n && times[i]! < toMs) {
      const k = Math.floor((times[i]! - fromMs) / bucketMs)
      const end = Math.min(toMs, fromMs + (k + 1) * bucketMs)
      let worst = 0
      let bad = 0
      let count = 0
      let min = this.min[k]!
      let max = this.max[k]!
      let sum = this.sum[k]!
      let shrunk = this.shrunk[k]!
      let first = -1
      let last = -1
      for (; i < n && times[i]! < end; i++) {
        const v = values[i]!
        const code = codes[i]!
        if (code > worst) worst = code
        if (code >= BAD || v !== v) {
          bad++
          continue
        }
        if (first < 0) first = i
        last = i
        count++
        if (v < min) min = v
        if (v > max) max = v
        sum += v
        shrunk += v * SHRINK
      }
      this.worst[k] = Math.max(this.worst[k]!, rankOf(worst))
      this.bad[k]! += bad
      if (count === 0) continue
      this.count[k]! += count
      this.min[k] = min
      this.max[k] = max
      this.sum[k] = sum
      this.shrunk[k] = shrunk
      this.ends(k, times[first]!, values[first]!, times[last]!, values[last]!)
    }
  }

  /** Adds a stretch that lies wholly inside one span and in which no other reading falls. Its sum must be finite. */
  addFigures(firstMs: number, lastMs: number, f: Figures): void {
    const k = Math.floor((firstMs - this.spans.fromMs) / this.spans.bucketMs)
    this.worst[k] = Math.max(this.worst[k]!, f.worst)
    this.bad[k]! += f.bad
    if (f.min === null || f.max === null || f.sum === null || f.first === null || f.last === null) return
    this.count[k]! += f.n - f.bad
    this.min[k] = Math.min(this.min[k]!, f.min)
    this.max[k] = Math.max(this.max[k]!, f.max)
    this.sum[k]! += f.sum
    this.shrunk[k]! += f.sum * SHRINK
    this.ends(k, firstMs, f.first, lastMs, f.last)
  }

  buckets(): Bucket[] {
    const out: Bucket[] = []
    for (let k = 0; k < this.spans.count; k++) {
      const count = this.count[k]!
      const worst = this.worst[k]!
      const some = count > 0
      // + 0 makes -0 plain 0: whether a span came from readings or from figures must not show.
      out.push({
        fromMs: this.spans.fromMs + k * this.spans.bucketMs,
        count,
        bad: this.bad[k]!,
        min: some ? this.min[k]! + 0 : null,
        max: some ? this.max[k]! + 0 : null,
        mean: some ? this.mean(k) : null,
        first: some ? this.first[k]! + 0 : null,
        last: some ? this.last[k]! + 0 : null,
        worst: worst < 0 ? null : qualityOfRank(worst),
      })
    }
    return out
  }

  private mean(k: number): number {
    const sum = this.sum[k]!
    const mean = Number.isFinite(sum) ? sum / this.count[k]! : this.shrunk[k]! / this.count[k]! / SHRINK
    // Rounding must not put the mean of equal values beside them.
    return Math.min(this.max[k]!, Math.max(this.min[k]!, mean)) + 0
  }

  private ends(k: number, firstMs: number, first: number, lastMs: number, last: number): void {
    if (firstMs < this.firstMs[k]!) {
      this.firstMs[k] = firstMs
      this.first[k] = first
    }
    if (lastMs > this.lastMs[k]!) {
      this.lastMs[k] = lastMs
      this.last[k] = last
    }
  }
}
