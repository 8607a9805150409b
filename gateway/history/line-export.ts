/** Readings as line protocol, times in ms: the very lines the forwarder sends, for a record that is filled by hand. */
import { pagesOf } from './csv/pages.ts'
import type { HistoryReader } from './history.ts'
import { LATEST_RECORD_MS, lineOf, lineStart } from './line.ts'
import { codeOf } from './quality-code.ts'

/** Lines of the keys over [fromMs, toMs), in pieces. Times that do not fit in the record are left out. */
export async function* linesOf(history: Pick<HistoryReader, 'range'>, keys: readonly string[], fromMs: number, toMs: number): AsyncGenerator<string> {
  for (const key of keys) {
    const start = lineStart(key)
    for await (const page of pagesOf(history, key, fromMs, Math.min(toMs, LATEST_RECORD_MS)))
      yield page.map((r) => lineOf(start, r.sourceMs, r.receivedMs, r.value ?? Number.NaN, codeOf(r.quality, r.sub, r.qc))).join('')
  }
}
