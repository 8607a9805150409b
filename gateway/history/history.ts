/**
 * The history port: what every store of readings must do, and nothing about how. `tests/history.contract.ts` is the same
 * promise as tests, run against each store.
 *
 * Keys are `<site>/<signal>` and may hold any text. Times are ms since 1970 UTC (integers, 0 to 2^45). Values are any
 * finite double, or null for a reading without a figure. A reading's identity is (key, sourceMs).
 */
import type { Quality, Reading } from '../site/reading.ts'

/** What became of a batch. Every reading is in exactly one of the three. */
export interface AppendResult {
  /** New (key, sourceMs). */
  readonly stored: number
  /** Same (key, sourceMs) and same value: dropped. */
  readonly duplicate: number
  /** Same (key, sourceMs), another value: the first stays the value, the later one is kept as a correction. */
  readonly conflict: number
}

/** A stored reading as it comes back. */
export interface HistoryReading {
  readonly sourceMs: number
  readonly receivedMs: number
  readonly value: number | null
  readonly quality: Quality
  readonly sub: Reading['sub']
  readonly qc: Reading['qc']
}

/** One span of a trend, [fromMs, fromMs + bucketMs). A span without readings has count 0 and nulls: a gap stays a gap. */
export interface Bucket {
  readonly fromMs: number
  /** Readings with a figure that is not bad; min, max, mean, first and last are over these. */
  readonly count: number
  /** Readings of bad quality or without a figure. */
  readonly bad: number
  readonly min: number | null
  readonly max: number | null
  readonly mean: number | null
  readonly first: number | null
  readonly last: number | null
  /** Worst quality of all readings in the span; null when there are none. */
  readonly worst: Quality | null
}

export interface BucketSeries {
  readonly key: string
  readonly bucketMs: number
  readonly buckets: readonly Bucket[]
}

export interface HistoryReader {
  /** Newest reading by source time of each key; keys never heard of are absent. */
  latest(keys: readonly string[]): Promise<ReadonlyMap<string, HistoryReading>>
  /** Readings with fromMs <= sourceMs < toMs, ascending, at most `limit` (the earliest ones). */
  range(key: string, fromMs: number, toMs: number, limit: number): Promise<readonly HistoryReading[]>
  /** `points` (1 to 5,000) equal spans over [fromMs, toMs); the span length is rounded up to a whole ms. */
  buckets(keys: readonly string[], fromMs: number, toMs: number, points: number): Promise<readonly BucketSeries[]>
  /** First and last source time held of a key, or null. */
  extent(key: string): Promise<{ readonly firstMs: number; readonly lastMs: number } | null>
}

export interface History extends HistoryReader {
  /** Resolves once the batch is as durable as the store promises. Rejects, keeping nothing of it, when it cannot be. */
  append(batch: readonly Reading[]): Promise<AppendResult>
  /** Forgets readings with sourceMs < beforeMs; gives how many (may be an estimate by whole blocks, never more than asked). */
  forgetBefore(beforeMs: number): Promise<number>
  /** Forgets all readings of a site. */
  forgetSite(site: string): Promise<number>
  close(): Promise<void>
}

/**
 * The durable first stage of every installation: the embedded store also commits in one synchronous call, so that intake
 * can acknowledge a message the moment its readings are on disk. Throws when the disk cannot take them.
 */
export interface DurableHistory extends History {
  commit(batch: readonly Reading[]): AppendResult
  stats(): HistoryStats
}

export interface HistoryStats {
  readonly signals: number
  /** Readings in the unsealed tail. */
  readonly unsealed: number
  /** Readings in sealed blocks. */
  readonly sealed: number
  readonly conflicts: number
  readonly fileBytes: number
  readonly walBytes: number
}

/** What is said of a stored reading from now on; its value stays. */
export interface Amendment {
  readonly key: string
  readonly sourceMs: number
  readonly quality: Quality
  readonly sub: Reading['sub']
  readonly qc: Reading['qc']
}
