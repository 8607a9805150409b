/** Readings of a key, a page at a time, so that a span of any length needs the same memory. */
import type { HistoryReader, HistoryReading } from '../history.ts'

/** Pages of the key over [fromMs, toMs), ascending; none is empty. */
export async function* pagesOf(history: Pick<HistoryReader, 'range'>, key: string, fromMs: number, toMs: number, size = 5_000): AsyncGenerator<readonly HistoryReading[]> {
  for (let at = fromMs; at < toMs; ) {
    const page = await history.range(key, at, toMs, size)
    const last = page.at(-1)
    if (!last) return
    yield page
    if (page.length < size) return
    at = last.sourceMs + 1
  }
}
