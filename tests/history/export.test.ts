import { mkdirSync, readdirSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import fc from 'fast-check'
import { expect, test } from 'vitest'
import { cell, timeText } from '../../gateway/history/csv/cells.ts'
import { cellsOf } from '../../gateway/history/csv/rows.ts'
import { wideCsv } from '../../gateway/history/csv/wide.ts'
import type { HistoryReader } from '../../gateway/history/history.ts'
import { lineOf, lineStart } from '../../gateway/history/line.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import { plainBuckets, reading } from '../history.contract.ts'
import { history, putSite } from './shell.ts'
import { handClock, openStore, tempFolder } from './store.ts'

const T0 = Date.UTC(2026, 0, 4, 6)

test('a time as text is what the calendar says, for every day of the times a history can hold', () => {
  fc.assert(
    fc.property(fc.integer({ min: 0, max: 2 ** 45 }), (ms) => {
      expect(timeText(ms)).toBe(new Date(ms).toISOString())
    }),
    { numRuns: 2_000 },
  )
  for (const ms of [0, Date.UTC(2000, 1, 29), Date.UTC(2100, 1, 28, 23, 59, 59, 999), Date.UTC(2100, 2, 1)]) expect(timeText(ms)).toBe(new Date(ms).toISOString())
  fc.assert(
    fc.property(fc.string(), fc.string(), (a, b) => {
      expect(cellsOf(`${cell(a)},${cell(b)}`, ',')).toEqual([a, b])
    }),
  )
})

test('wide form has a line for each time, a gap where there is no reading, the figure and the quality of each signal', async () => {
  const dir = tempFolder()
  const store = openStore(dir)
  store.commit([
    reading('depot/tu.do', T0, 6.5),
    reading('depot/tu.ph', T0, 7.25, { quality: 'uncertain', sub: 'qc_suspect', qc: 3 }),
    reading('depot/tu.do', T0 + 1, -0),
    reading('a, "b"/c', T0 + 2, null),
  ])
  const pieces: string[] = []
  for await (const p of wideCsv(store, ['depot/tu.do', 'depot/tu.ph', 'a, "b"/c'], 0, T0 * 2)) pieces.push(p)
  expect(pieces.join('').split('\r\n')).toEqual([
    'time,depot/tu.do,depot/tu.do quality,depot/tu.ph,depot/tu.ph quality,"a, ""b""/c","a, ""b""/c quality"',
    '2026-01-04T06:00:00.000Z,6.5,good,7.25,uncertain,,',
    '2026-01-04T06:00:00.001Z,-0,good,,,,',
    '2026-01-04T06:00:00.002Z,,,,,,bad',
    '',
  ])
})

test('wide form holds no more than a page of each signal, whatever the span', async () => {
  const keys = Array.from({ length: 40 }, (_, i) => `depot/s${i}`)
  let largest = 0
  const all = 20_000
  const endless: Pick<HistoryReader, 'range'> = {
    range: async (_key, fromMs, _toMs, limit) => {
      largest = Math.max(largest, limit)
      const n = Math.max(0, Math.min(limit, all - fromMs))
      return Array.from({ length: n }, (_, i) => ({ sourceMs: fromMs + i, receivedMs: fromMs + i, value: fromMs + i, quality: 'good', sub: 'ok', qc: 1 }) as const)
    },
  }
  let rows = -1
  let longest = 0
  for await (const p of wideCsv(endless, keys, 0, 2 ** 40)) {
    rows += p.split('\r\n').length - 1
    longest = Math.max(longest, p.length)
  }
  expect([rows, largest * keys.length <= 100_000, longest < 1_000_000]).toEqual([all, true, true])
})

test('what is exported in wide form, while the gateway runs, is imported elsewhere as it was: figures, times and qualities', async () => {
  const [from, to] = [tempFolder(), tempFolder()]
  putSite(to, '1min')
  const store = openStore(from)
  const made: Reading[] = Array.from({ length: 400 }, (_, i) =>
    reading(`quarry-road/${i % 2 === 0 ? 'tu.ph' : 'tu.do'}`, T0 + 60_000 * Math.floor(i / 2), i % 50 === 7 ? null : 6 + Math.sin(i)),
  )
  store.commit(made)
  await store.sealAll()
  store.commit([reading('other/tu.do', T0, 1)])
  const { out, err, code } = await history(['export', 'quarry-road', '--form', 'wide', '--data', from])
  expect([code, err]).toEqual([0, 'the gateway runs: this is a copy of its history as it stood a moment ago\n'])
  expect(readdirSync(from).filter((n) => n.startsWith('export-'))).toEqual([])
  const file = join(to, 'back.csv')
  writeFileSync(file, out)
  expect(await history(['import', file, '--data', to, '--units', 'site'], { clock: handClock(T0 + 86_400_000) })).toMatchObject({ code: 0 })
  const back = openStore(to)
  for (const key of ['quarry-road/tu.ph', 'quarry-road/tu.do']) {
    const mine = made.filter((r) => r.key === key)
    const got = await back.range(key, 0, T0 * 2, 1_000)
    expect(got.map((r) => [r.sourceMs, r.value])).toEqual(mine.map((r) => [r.sourceMs, r.value]))
    const [series] = await back.buckets([key], T0, T0 + 12_000_000, 10)
    expect(series?.buckets.map((b) => [b.count, b.bad])).toEqual(plainBuckets(mine, T0, T0 + 12_000_000, 10).map((b) => [b.count, b.bad]))
  }
})

test('line protocol out is what is sent to the record, line for line', async () => {
  const dir = tempFolder()
  const store = openStore(dir)
  store.commit([
    reading('depot, 2/tu.do', T0, 6.5),
    reading('depot, 2/tu.do', T0 + 1000, null),
    reading('depot, 2/tu.ph', T0, 7, { quality: 'uncertain', sub: 'not_accurate', qc: 3 }),
  ])
  await store.close()
  const { out } = await history(['export', '--form', 'lines', '--data', dir])
  expect(out).toBe(
    `reading,signal=tu.do,site=depot\\,\\ 2 v=6.5,tr=${T0 + 180} ${T0}\n` +
      `reading,signal=tu.do,site=depot\\,\\ 2 bad=1,q=2,sub=18,qc=9,tr=${T0 + 1180} ${T0 + 1000}\n` +
      `reading,signal=tu.ph,site=depot\\,\\ 2 v=7,q=1,sub=7,qc=3,tr=${T0 + 180} ${T0}\n`,
  )
  expect(out.startsWith(lineOf(lineStart('depot, 2/tu.do'), T0, T0 + 180, 6.5, 0))).toBe(true)
})

test('an export that cannot be is told: no history, no such signal, a span that ends before it begins', async () => {
  const dir = tempFolder()
  expect((await history(['export', '--data', join(dir, 'none')])).err).toContain('there is no history in')
  mkdirSync(join(dir, 'sites'))
  const store = openStore(dir)
  store.commit([reading('depot/tu.do', T0, 6.5)])
  await store.close()
  expect((await history(['export', 'depo', '--data', dir])).err).toContain('depo is no signal of the history')
  expect((await history(['export', '--form', 'tall', '--data', dir])).err).toBe('--form is "tall": long or wide or lines is needed\n')
  expect(await history(['export', '--from', '2026-01-02T00:00:00Z', '--to', '2026-01-01T00:00:00Z', '--data', dir])).toMatchObject({
    code: 2,
    err: '--from must lie before --to\n',
  })
})
