/** The alarm journal as CSV (RFC 4180), newest first, page by page as it is read: it may be as long as it likes. */
import type { JournalledEvent, JournalQuery } from '../../gateway/alarms/event-query.ts'
import { cell, figure, timeText } from '../../gateway/history/csv/cells.ts'
import type { JournalBody } from '../wire.ts'
import { eventWord } from './event-kind.ts'

const PAGE = 1000
const HEAD = 'number,time,recorded,loop,loop name,alarm,what,priority,event,event in words,value,limit,unit,by,note,occurrence,rule version'

type Line = JournalBody['events'][number]

/** `read` gives pages; `line` finds names and words of an event. */
export async function* journalCsv(
  query: Omit<JournalQuery, 'limit' | 'before'>,
  read: (q: JournalQuery) => Promise<readonly JournalledEvent[]>,
  line: (e: JournalledEvent) => Line & { readonly siteName: string },
): AsyncIterable<string> {
  yield `${HEAD}\r\n`
  let before: number | undefined
  for (;;) {
    const page = await read({ ...query, limit: PAGE, ...(before !== undefined && { before }) })
    if (page.length > 0) yield page.map((e) => rowOf(e, line(e))).join('')
    before = page.at(-1)?.seq
    if (page.length < PAGE || before === undefined) return
  }
}

const rowOf = (e: JournalledEvent, l: Line & { readonly siteName: string }): string =>
  `${[
    String(e.seq),
    timeText(e.atMs),
    timeText(e.recordedMs),
    e.alarm.slice(0, e.alarm.indexOf('/')),
    plain(l.siteName),
    e.alarm,
    plain(l.what),
    l.priority,
    e.kind,
    eventWord(e.kind),
    figure(e.value),
    figure(e.limit),
    l.unit,
    plain(e.by ?? ''),
    plain(e.note ?? ''),
    e.occurrence,
    String(e.defVersion),
  ]
    .map(cell)
    .join(',')}\r\n`

/** A text that people wrote must not be taken for a formula by the program that opens the file (CWE-1236). */
const plain = (text: string): string => (/^[=+\-@\t\r]/.test(text) ? `'${text}` : text)
