/** Readings as CSV (RFC 4180), long form: one line a reading, ascending by key and time. Read page by page, so memory stays the same. */
import type { HistoryReader } from '../history.ts'

export const CSV_HEAD = 'site,signal,source_time,received_time,value,quality,reason,qc\r\n'
const PAGE = 5_000

/** Lines of the keys over [fromMs, toMs) in pieces of up to a page. Times are RFC 3339 UTC with ms; a reading without a figure has an empty value. */
export async function* csvOf(history: HistoryReader, keys: readonly string[], fromMs: number, toMs: number): AsyncGenerator<string> {
  for (const key of keys) {
    const slash = key.indexOf('/')
    const start = `${cell(key.slice(0, slash))},${cell(key.slice(slash + 1))},`
    for (let at = fromMs; ; ) {
      const page = await history.range(key, at, toMs, PAGE)
      const last = page.at(-1)
      if (!last) break
      yield page.map((r) => `${start}${time(r.sourceMs)},${time(r.receivedMs)},${figure(r.value)},${r.quality},${r.sub},${r.qc}\r\n`).join('')
      if (page.length < PAGE) break
      at = last.sourceMs + 1
    }
  }
}

const time = (ms: number): string => new Date(ms).toISOString()
const figure = (value: number | null): string => (value === null ? '' : Object.is(value, -0) ? '-0' : String(value))
const cell = (text: string): string => (/[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text)
