/**
 * One history from two: from the floor of the embedded store on it holds every reading; before it the record in InfluxDB does, beside
 * readings that came late and may or may not be in the record yet. So a span at or after the floor is the embedded store's; one
 * before it is the one's or the other's when only one has readings there, and is counted anew from both sets of readings, each time
 * once, when both have. Where both hold a reading the embedded one counts.
 *
 * When the record does not answer, what the embedded store holds is given, and the health page says that more is missing.
 */
import type { Clock } from '../clock.ts'
import { BucketSums, spansOf, type Spans } from './buckets.ts'
import { columnsFrom } from './columns.ts'
import type { Bucket, HistoryReader, HistoryReading } from './history.ts'

export interface MergedHistory extends HistoryReader {
  /** What a person should know now, or null. */
  trouble(): string | null
}

export interface MergedParts {
  readonly embedded: HistoryReader & { floorMs(): number }
  readonly record: HistoryReader
  readonly clock: Clock
  /** Everything committed is in the record, and nothing was refused there. */
  readonly drained: () => boolean
}

/** After a failure the record is not asked for so long: a page of twelve trends waits for one deadline, not twelve. */
const REST_MS = 10_000
/** So long a failed question is told. */
const TOLD_MS = 60_000

export function createMerged(parts: MergedParts): MergedHistory {
  const { embedded, record, clock } = parts
  let failed: { readonly atMs: number; readonly message: string } | null = null

  async function ofRecord<T>(ask: () => Promise<T>, none: T): Promise<T> {
    if (failed && clock.steadyMs() - failed.atMs < REST_MS) return none
    try {
      const answer = await ask()
      failed = null
      return answer
    } catch (e) {
      failed = { atMs: clock.steadyMs(), message: e instanceof Error ? e.message : String(e) }
      return none
    }
  }

  async function range(key: string, fromMs: number, toMs: number, limit: number): Promise<readonly HistoryReading[]> {
    const floorMs = embedded.floorMs()
    if (fromMs >= floorMs) return embedded.range(key, fromMs, toMs, limit)
    const older = await ofRecord(() => record.range(key, fromMs, Math.min(toMs, floorMs), limit), [])
    return merged(await embedded.range(key, fromMs, toMs, limit), older, limit)
  }

  async function mend(key: string, spans: Spans, own: readonly Bucket[], older: readonly Bucket[], drained: boolean): Promise<Bucket[]> {
    const out = [...own]
    for (let k = 0; k < older.length; k++) {
      const [a, b] = [own[k], older[k]]
      if (!a || !b || sizeOf(b) === 0) continue
      if (sizeOf(a) === 0 || drained) {
        out[k] = b
        continue
      }
      // Neighbours that need it are counted anew together.
      let end = k + 1
      while (end < older.length && sizeOf(own[end]) > 0 && sizeOf(older[end]) > 0) end++
      const toMs = Math.min(spans.toMs, spans.fromMs + end * spans.bucketMs)
      const [mine, theirs] = [await embedded.range(key, a.fromMs, toMs, Number.MAX_SAFE_INTEGER), await record.range(key, a.fromMs, toMs, Number.MAX_SAFE_INTEGER)]
      const sums = new BucketSums({ fromMs: a.fromMs, toMs, bucketMs: spans.bucketMs, count: end - k })
      sums.addReadings(columnsFrom(merged(mine, theirs, Number.MAX_SAFE_INTEGER)))
      out.splice(k, end - k, ...sums.buckets())
      k = end - 1
    }
    return out
  }

  return {
    range,

    async buckets(keys, fromMs, toMs, points) {
      const spans = spansOf(fromMs, toMs, points)
      const floorMs = embedded.floorMs()
      if (fromMs >= floorMs || spans.count === 0) return embedded.buckets(keys, fromMs, toMs, points)
      // Asked before: what is committed later only makes the embedded answer larger where it alone counts.
      const drained = parts.drained()
      const olderCount = Math.min(spans.count, Math.ceil((floorMs - fromMs) / spans.bucketMs))
      const olderToMs = olderCount === spans.count ? toMs : fromMs + olderCount * spans.bucketMs
      const [own, older] = [
        await embedded.buckets(keys, fromMs, toMs, points),
        await ofRecord(() => record.buckets(keys, fromMs, olderToMs, olderCount === spans.count ? points : olderCount), null),
      ]
      if (!older) return own
      const mended = await ofRecord(
        () => Promise.all(own.map(async (series, i) => ({ ...series, buckets: await mend(series.key, spans, series.buckets, older[i]?.buckets ?? [], drained) }))),
        null,
      )
      return mended ?? own
    },

    async latest(keys) {
      const own = await embedded.latest(keys)
      const missing = keys.filter((key) => !own.has(key))
      if (missing.length === 0 || embedded.floorMs() === 0) return own
      return new Map([...own, ...(await ofRecord(() => record.latest(missing), new Map<string, HistoryReading>()))])
    },

    async extent(key) {
      const own = await embedded.extent(key)
      if (embedded.floorMs() === 0) return own
      const older = await ofRecord(() => record.extent(key), null)
      if (!own || !older) return own ?? older
      return { firstMs: Math.min(own.firstMs, older.firstMs), lastMs: Math.max(own.lastMs, older.lastMs) }
    },

    // Asked only when somebody looks that far back, so nothing else would ever take it away.
    trouble: () => (failed && clock.steadyMs() - failed.atMs < TOLD_MS ? `A trend just asked for lacks what lies before the embedded history: ${failed.message}` : null),
  }
}

const sizeOf = (b: Bucket | undefined): number => (b ? b.count + b.bad : 0)

/** Both ascending; of two with one time the first list's counts. */
function merged(own: readonly HistoryReading[], older: readonly HistoryReading[], limit: number): HistoryReading[] {
  const out: HistoryReading[] = []
  let i = 0
  let j = 0
  while (out.length < limit && (i < own.length || j < older.length)) {
    const a = own[i]
    const b = older[j]
    if (a && (!b || a.sourceMs <= b.sourceMs)) {
      out.push(a)
      i++
      if (b && b.sourceMs === a.sourceMs) j++
    } else if (b) {
      out.push(b)
      j++
    }
  }
  return out
}
