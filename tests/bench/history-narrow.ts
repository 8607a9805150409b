/**
 * The baseline: the history table anybody would write first, (signal, time, value) with both as its key, in the same
 * database engine with the same settings. It keeps neither quality nor the time of receipt.
 */
import Database from 'better-sqlite3'
import { join } from 'node:path'
import type { Reading } from '../../gateway/site/reading.ts'

export interface Narrow {
  append(batch: readonly Reading[]): void
  /** count, least, greatest and mean of each span, by key. */
  trend(keys: readonly string[], fromMs: number, toMs: number, points: number): unknown[][]
  latest(keys: readonly string[]): Map<string, unknown>
  bytes(): number
  close(): void
}

export function openNarrow(dir: string): Narrow {
  const db = new Database(join(dir, 'narrow.db'))
  db.pragma('journal_mode = WAL')
  db.pragma('synchronous = normal')
  db.pragma('cache_size = -32000')
  db.pragma('wal_autocheckpoint = 4000')
  db.exec(
    'CREATE TABLE IF NOT EXISTS signal (id INTEGER PRIMARY KEY, key TEXT UNIQUE); CREATE TABLE IF NOT EXISTS reading (signal INTEGER, time INTEGER, value REAL, PRIMARY KEY (signal, time)) WITHOUT ROWID',
  )
  const ids = new Map(db.prepare<[], [string, number]>('SELECT key, id FROM signal').raw().all())
  const addSignal = db.prepare('INSERT INTO signal (id, key) VALUES (?, ?)')
  const add = db.prepare('INSERT OR IGNORE INTO reading VALUES (?, ?, ?)')
  const spans = db.prepare(
    'SELECT CAST((time - @from) / @bucket AS INTEGER) AS k, count(*), min(value), max(value), avg(value) FROM reading WHERE signal = @signal AND time >= @from AND time < @to GROUP BY k ORDER BY k',
  )
  const newest = db.prepare('SELECT time, value FROM reading WHERE signal = ? ORDER BY time DESC LIMIT 1')
  const append = db.transaction((batch: readonly Reading[]) => {
    for (const r of batch) {
      let id = ids.get(r.key)
      if (id === undefined) {
        id = ids.size + 1
        ids.set(r.key, id)
        addSignal.run(id, r.key)
      }
      add.run(id, r.sourceMs, r.value)
    }
  })
  return {
    append,
    trend: (keys, from, to, points) => keys.map((key) => spans.all({ signal: ids.get(key), from, to, bucket: Math.ceil((to - from) / points) })),
    latest: (keys) => new Map(keys.map((key) => [key, newest.get(ids.get(key))])),
    bytes: () => usedBytes(db),
    close: () => void db.close(),
  }
}

/** Bytes of the pages in use; pages set free are used again before the file grows. */
export function usedBytes(db: Database.Database): number {
  const ask = (name: string): number => db.pragma(name, { simple: true }) as number
  return (ask('page_count') - ask('freelist_count')) * ask('page_size')
}
