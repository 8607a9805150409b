/** A trend, column by column: half the size of rows, and what a chart wants. */
import type { BucketSeries } from '../../gateway/history/history.ts'
import type { HistoryBody } from '../wire.ts'

/** A signal as far as a trend needs it, measured or computed. */
export interface Trended {
  readonly id: string
  readonly unit: string
  readonly unitText: string
}

export function historyBodyOf(site: string, signal: Trended, fromMs: number, toMs: number, series: BucketSeries, extent: HistoryBody['extent']): HistoryBody {
  const b = series.buckets
  return {
    site,
    signal: signal.id,
    unit: signal.unit,
    unitText: signal.unitText,
    fromMs,
    toMs,
    bucketMs: series.bucketMs,
    at: b.map((x) => x.fromMs),
    count: b.map((x) => x.count),
    bad: b.map((x) => x.bad),
    min: b.map((x) => x.min),
    max: b.map((x) => x.max),
    mean: b.map((x) => x.mean),
    first: b.map((x) => x.first),
    last: b.map((x) => x.last),
    worst: b.map((x) => x.worst),
    extent,
  }
}
