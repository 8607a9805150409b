/** Readings as CSV, long form: one line a reading, ascending by key and time. */
import type { HistoryReader } from '../history.ts'
import { cell, figure, timeText } from './cells.ts'
import { pagesOf } from './pages.ts'

export const LONG_HEAD = 'site,signal,source_time,received_time,value,quality,reason,qc\r\n'

/** Header and lines of the keys over [fromMs, toMs), in pieces. A reading without a figure has an empty value. */
export async function* longCsv(history: Pick<HistoryReader, 'range'>, keys: readonly string[], fromMs: number, toMs: number): AsyncGenerator<string> {
  yield LONG_HEAD
  for (const key of keys) {
    const slash = key.indexOf('/')
    const start = `${cell(key.slice(0, slash))},${cell(key.slice(slash + 1))},`
    for await (const page of pagesOf(history, key, fromMs, toMs))
      yield page.map((r) => `${start}${timeText(r.sourceMs)},${timeText(r.receivedMs)},${figure(r.value)},${r.quality},${r.sub},${r.qc}\r\n`).join('')
  }
}
