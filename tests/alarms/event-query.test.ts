import { afterEach, beforeEach, expect, test } from 'vitest'
import type { AlarmEvent } from '../../gateway/alarms/alarm.ts'
import type { JournalQuery } from '../../gateway/alarms/event-query.ts'
import type { AlarmJournal } from '../../gateway/alarms/journal.ts'
import { makeDisk, type Disk } from './disk.ts'

let disk: Disk
let journal: AlarmJournal
beforeEach(async () => {
  disk = makeDisk()
  ;({ journal } = await disk.open())
  const e = (alarm: string, kind: AlarmEvent['kind'], atMs: number, by: string | null = null, note: string | null = null): AlarmEvent => ({
    alarm,
    occurrence: `${alarm}@1`,
    kind,
    atMs,
    recordedMs: atMs,
    state: 'unacknowledged',
    value: 1,
    limit: 2,
    unit: 'mg/L',
    by,
    note,
    defVersion: 1,
  })
  await journal.append([
    e('quay/tu.do.low', 'raised', 10),
    e('quay/tu.do.low', 'acknowledged', 20, 'A. Reyes', 'Blower belt torn, 100% sure'),
    e('yard/tu.ph.high', 'raised', 30),
    e('yard/tu.ph.high', 'acknowledged', 40, 'J. Orme', 'hard_water'),
    e('yard/tu.do.low', 'raised', 50),
  ])
})
afterEach(() => disk.remove())

const found = async (q: Partial<JournalQuery>): Promise<number[]> => (await journal.query({ fromMs: 0, toMs: 100, limit: 100, ...q })).map((e) => e.seq)
const text = (words: string, rules: readonly string[] = []) => ({ text: { words, rules } })

test('the journal is asked by loop, alarm, kind, person and span, newest first', async () => {
  expect(await found({})).toEqual([5, 4, 3, 2, 1])
  expect(await found({ site: 'yard' })).toEqual([5, 4, 3])
  expect(await found({ alarm: 'quay/tu.do.low' })).toEqual([2, 1])
  expect(await found({ kind: 'acknowledged' })).toEqual([4, 2])
  expect(await found({ by: 'J. Orme' })).toEqual([4])
  expect(await found({ fromMs: 20, toMs: 40 })).toEqual([3, 2])
})

test('words are found in ids, notes and names whatever their case, and in the rules that say them; signs of a pattern are only signs', async () => {
  expect(await found(text('blower BELT'))).toEqual([2])
  expect(await found(text('orme'))).toEqual([4])
  expect(await found(text('ph.high'))).toEqual([4, 3])
  expect(await found(text('low oxygen', ['tu.do.low']))).toEqual([5, 2, 1])
  expect(await found({ ...text('low oxygen', ['tu.do.low']), site: 'yard' })).toEqual([5])
  expect(await found(text('100%'))).toEqual([2])
  expect(await found(text('%'))).toEqual([2])
  expect(await found(text('d_w'))).toEqual([4])
  expect(await found(text("'; drop table alarm_journal; --"))).toEqual([])
  expect(await found(text('\\'))).toEqual([])
})

test('page after page, each before the last number of the one above, gives every event once', async () => {
  const pages: number[][] = []
  let before: number | undefined
  for (;;) {
    const page = await found({ limit: 2, ...(before !== undefined && { before }) })
    if (page.length === 0) break
    pages.push(page)
    before = page.at(-1)
  }
  expect(pages).toEqual([[5, 4], [3, 2], [1]])
})
