/**
 * Readings as CSV, wide form: one line a source time, two columns a signal, its figure and its quality. Where a signal has no reading at
 * that time both are empty: nothing is filled in. The form is one that the import takes as it is.
 */
import type { HistoryReader, HistoryReading } from '../history.ts'
import { cell, figure, timeText } from './cells.ts'
import { pagesOf } from './pages.ts'

/** Readings held at a time, all signals together. */
const READINGS_HELD = 100_000
const ROWS_A_PIECE = 500

interface Cursor {
  readonly pages: AsyncGenerator<readonly HistoryReading[]>
  page: readonly HistoryReading[]
  at: number
}

/** Header and lines of the keys over [fromMs, toMs), ascending by time, in pieces. */
export async function* wideCsv(history: Pick<HistoryReader, 'range'>, keys: readonly string[], fromMs: number, toMs: number): AsyncGenerator<string> {
  yield `time,${keys.map((key) => `${cell(key)},${cell(`${key} quality`)}`).join(',')}\r\n`
  const size = Math.max(20, Math.min(5_000, Math.floor(READINGS_HELD / Math.max(1, keys.length))))
  const cursors: Cursor[] = []
  for (const key of keys) {
    const c = { pages: pagesOf(history, key, fromMs, toMs, size), page: [] as readonly HistoryReading[], at: 0 }
    await turnPage(c)
    cursors.push(c)
  }
  for (let rows: string[] = []; ; ) {
    let next = Number.POSITIVE_INFINITY
    for (const c of cursors) next = Math.min(next, c.page[c.at]?.sourceMs ?? Number.POSITIVE_INFINITY)
    if (next === Number.POSITIVE_INFINITY) {
      if (rows.length > 0) yield rows.join('')
      return
    }
    let row = timeText(next)
    for (const c of cursors) {
      const r = c.page[c.at]
      if (r?.sourceMs !== next) {
        row += ',,'
        continue
      }
      row += `,${figure(r.value)},${r.quality}`
      if (++c.at === c.page.length) await turnPage(c)
    }
    rows.push(`${row}\r\n`)
    if (rows.length < ROWS_A_PIECE) continue
    yield rows.join('')
    rows = []
  }
}

async function turnPage(c: Cursor): Promise<void> {
  const next = await c.pages.next()
  c.page = next.done === true ? [] : next.value
  c.at = 0
}
