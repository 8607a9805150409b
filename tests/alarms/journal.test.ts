import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import BetterSqlite from 'better-sqlite3'
import { sql } from 'kysely'
import { afterEach, beforeEach, expect, test } from 'vitest'
import type { AlarmEvent } from '../../gateway/alarms/alarm.ts'
import { rebuild } from '../../gateway/alarms/life.ts'
import { openDatabase } from '../../gateway/database.ts'
import { makeDisk, type Disk } from './disk.ts'
import { limitDef, SITE } from './yard.ts'

let disk: Disk
beforeEach(() => {
  disk = makeDisk()
})
afterEach(() => disk.remove())

const event = (n: number, kind: AlarmEvent['kind'], state: AlarmEvent['state'], more: Partial<AlarmEvent> = {}): AlarmEvent => ({
  alarm: `${SITE}/tu.do.low`,
  occurrence: `${SITE}/tu.do.low@1000-1`,
  kind,
  atMs: n * 1000,
  recordedMs: n * 1000 + 5,
  state,
  value: 1.5,
  limit: 2,
  unit: 'mg/L',
  by: null,
  note: null,
  defVersion: 1,
  ...more,
})

const history = [
  event(1, 'raised', 'unacknowledged'),
  event(2, 'held', 'unacknowledged'),
  event(3, 'acknowledged', 'acknowledged', { by: 'A. Reyes', note: 'on my way' }),
  event(4, 'raised', 'unacknowledged', { alarm: 'other-yard/sump.level.high', occurrence: 'other-yard/sump.level.high@4000-1', unit: '%', value: 83, limit: 80 }),
  event(5, 'released', 'acknowledged'),
]

test('events come back newest first, numbered without a gap, exactly as they were written', async () => {
  const { journal } = await disk.open()
  expect(await journal.append(history)).toEqual([1, 2, 3, 4, 5])
  const back = await journal.query({ fromMs: 0, toMs: 1e13, limit: 100 })
  expect(back).toEqual(history.map((e, i) => ({ ...e, seq: i + 1 })).toReversed())
})

test('a query can be narrowed to a site, an alarm, a kind, a span and a number', async () => {
  const { journal } = await disk.open()
  await journal.append(history)
  const seqs = async (q: Partial<Parameters<typeof journal.query>[0]>): Promise<number[]> => (await journal.query({ fromMs: 0, toMs: 1e13, limit: 100, ...q })).map((e) => e.seq)
  expect(await seqs({ site: 'other-yard' })).toEqual([4])
  expect(await seqs({ alarm: `${SITE}/tu.do.low` })).toEqual([5, 3, 2, 1])
  expect(await seqs({ kind: 'raised' })).toEqual([4, 1])
  expect(await seqs({ fromMs: 2000, toMs: 4000 })).toEqual([3, 2])
  expect(await seqs({ limit: 2 })).toEqual([5, 4])
})

test('a consumer that keeps its number gets each event once, in order, across restarts', async () => {
  const first = await disk.open()
  await first.journal.append(history.slice(0, 3))
  const seen = (await first.journal.after(0, 2)).map((e) => e.seq)
  await first.db.destroy()
  const second = await disk.open()
  await second.journal.append(history.slice(3))
  for (;;) {
    const next = await second.journal.after(seen.at(-1) ?? 0, 2)
    if (next.length === 0) break
    seen.push(...next.map((e) => e.seq))
  }
  expect(seen).toEqual([1, 2, 3, 4, 5])
})

test('the state after a restart is the state before it, and the one the journal rebuilds', async () => {
  const first = await disk.open()
  await first.journal.append(history)
  const before = new Map(first.journal.lives())
  await first.db.destroy()
  const second = await disk.open()
  expect(new Map(second.journal.lives())).toEqual(before)
  expect(rebuild((await second.journal.query({ fromMs: 0, toMs: 1e13, limit: 100 })).toReversed())).toEqual(before)
})

test('a batch that cannot be written leaves nothing of itself behind, on disk or in memory', async () => {
  const { db, journal } = await disk.open()
  await journal.append(history.slice(0, 1))
  const before = new Map(journal.lives())
  const impossible = { ...event(3, 'acknowledged', 'acknowledged'), unit: null as unknown as string }
  await expect(journal.append([event(2, 'held', 'unacknowledged'), impossible])).rejects.toThrow(/NOT NULL/)
  expect(new Map(journal.lives())).toEqual(before)
  expect(await db.selectFrom('alarm_journal').select('seq').execute()).toHaveLength(1)
  expect(await journal.append(history.slice(1, 2))).toEqual([2])
})

test('a definition keeps its version while it stays the same, and gets the next when what it decides changes, not when its words do', async () => {
  const base = limitDef('tu.do', { side: 'low', limit: 2, deadband: 0.2, onDelayMs: 0, offDelayMs: 0 })
  const changed = limitDef('tu.do', { side: 'low', limit: 1.8, deadband: 0.2, onDelayMs: 0, offDelayMs: 0 })
  const first = await disk.open()
  expect((await first.journal.register([base], 1)).map((d) => d.version)).toEqual([1])
  await first.db.destroy()
  const { db, journal } = await disk.open()
  expect((await journal.register([base], 2)).map((d) => d.version)).toEqual([1])
  expect((await journal.register([changed], 3)).map((d) => d.version)).toEqual([2])
  expect((await journal.register([{ ...changed, version: 99, what: 'Other words' }], 4)).map((d) => d.version)).toEqual([2])
  const kept = await db.selectFrom('alarm_definition').selectAll().orderBy('version').execute()
  expect(kept.map((r) => [r.version, r.since_ms, JSON.parse(r.body).rule.limit])).toEqual([
    [1, 1, 2],
    [2, 3, 1.8],
  ])
})

test('a commit survives a power cut: WAL with synchronous FULL', async () => {
  const { db } = await disk.open()
  const mode = async (name: string): Promise<unknown> => Object.values((await sql.raw<Record<string, unknown>>(`pragma ${name}`).execute(db)).rows[0] ?? {})[0]
  expect(await mode('journal_mode')).toBe('wal')
  expect(await mode('synchronous')).toBe(2)
})

test('the journal can be read from outside while it is being written', async () => {
  const { journal } = await disk.open()
  await journal.append(history)
  const reader = new BetterSqlite(disk.file, { readonly: true })
  const first = reader.prepare('select count(*) as n from alarm_journal')
  expect(first.get()).toEqual({ n: 5 })
  await journal.append([event(6, 'cleared', 'normal')])
  expect(first.get()).toEqual({ n: 6 })
  reader.close()
})

test('a file that is no database is told in one sentence with its name', async () => {
  writeFileSync(disk.file, 'this is not a database, '.repeat(100))
  await expect(openDatabase(disk.file)).rejects.toThrow(/state\.db cannot be opened as the state database .*not a database/)
  expect(readFileSync(disk.file, 'utf8')).toMatch(/^this is not/)
  await expect(openDatabase(join(disk.dir, 'nowhere', 'state.db'))).rejects.toThrow(/cannot be opened/)
})
