/**
 * Rows of a CSV file (RFC 4180, any one-character separator) as they come, a piece of the file at a time, so that a file of any size
 * needs the same memory. Quoted cells may hold separators, line feeds and doubled quotes; a byte order mark is left out.
 */
import { HistoryRefused } from '../refused.ts'

export interface CsvRow {
  /** Line of the file it begins on, from 1. */
  readonly line: number
  readonly cells: readonly string[]
}

/** A row longer than this is no row: most likely a quote that is never closed. */
const MOST_CHARACTERS = 1_000_000

/** Rows in lists of one piece each. Empty lines are left out. Throws HistoryRefused for a row that does not end. */
export async function* csvRows(pieces: AsyncIterable<string>, separator: string): AsyncGenerator<readonly CsvRow[]> {
  let rest = ''
  let line = 1
  let first = true
  const cut = (text: string, last: boolean): CsvRow[] => {
    const rows: CsvRow[] = []
    let at = 0
    while (at < text.length) {
      let end = text.indexOf('\n', at)
      // A line feed inside quotes belongs to the cell.
      while (end >= 0 && isOpen(text, at, end)) end = text.indexOf('\n', end + 1)
      if (end < 0) {
        if (!last) break
        end = text.length
      }
      const one = text.slice(at, end > at && text.charCodeAt(end - 1) === 13 ? end - 1 : end)
      if (one !== '') rows.push({ line, cells: cellsOf(one, separator) })
      line += one.includes('\n') ? one.split('\n').length : 1
      at = end + 1
    }
    rest = text.slice(at)
    if (rest.length > MOST_CHARACTERS)
      throw new HistoryRefused('FILE', `the row that begins on line ${line} has more than ${MOST_CHARACTERS} characters: look for a quote that is not closed`)
    return rows
  }
  for await (const piece of pieces) {
    const text = first && piece.startsWith('\u{feff}') ? piece.slice(1) : rest + piece
    first = false
    const rows = cut(text, false)
    if (rows.length > 0) yield rows
  }
  const rows = cut(rest, true)
  if (rows.length > 0) yield rows
}

function isOpen(text: string, from: number, to: number): boolean {
  let quotes = 0
  for (let i = text.indexOf('"', from); i >= 0 && i < to; i = text.indexOf('"', i + 1)) quotes++
  return quotes % 2 === 1
}

/** Cells of one row, without spaces around those not in quotes. */
export function cellsOf(row: string, separator: string): readonly string[] {
  if (!row.includes('"')) return row.split(separator).map((c) => c.trim())
  const cells: string[] = []
  for (let at = 0; at <= row.length; ) {
    while (row[at] === ' ') at++
    if (row[at] !== '"') {
      const end = row.indexOf(separator, at)
      cells.push(row.slice(at, end < 0 ? row.length : end).trim())
      if (end < 0) break
      at = end + 1
      continue
    }
    let text = ''
    let from = at + 1
    for (;;) {
      const quote = row.indexOf('"', from)
      text += row.slice(from, quote < 0 ? row.length : quote)
      if (quote < 0 || row[quote + 1] !== '"') {
        from = quote < 0 ? row.length : quote + 1
        break
      }
      text += '"'
      from = quote + 2
    }
    cells.push(text)
    const next = row.indexOf(separator, from)
    if (next < 0) break
    at = next + 1
  }
  return cells
}

/** The separator a header line was written with: the one of comma, semicolon and tab that stands in it most often. */
export function separatorOf(header: string): string {
  const bare = header.replace(/"[^"]*"/g, '')
  const count = (s: string): number => bare.split(s).length
  return [',', ';', '\t'].reduce((best, s) => (count(s) > count(best) ? s : best))
}
