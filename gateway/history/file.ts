/**
 * The history file: one SQLite database in WAL mode, and its tables.
 *
 *   signal      id, key. The key is written as JSON text without its quotes: what SQLite's UTF-8 cannot hold comes back whole.
 *   inbox       id, frames. What was committed and is not yet wholly sealed, in order of arrival (inbox.ts).
 *   block       sealed readings (block.ts). id = signal * 2^32 + slot of its first reading, a slot being 16,384 ms: the blocks
 *               of a signal lie side by side in order of time, and times to 2^45 fit. No slot is shared by two blocks.
 *   correction  later, differing values for readings already held.
 *   damaged     blocks and inbox rows whose bytes were found not to be what was written, set aside for a person.
 *   feed        how far each destination has what is here (feed.ts); parked: lines a destination will not take, for a person.
 *   imported    up to when the readings of a key came by an import (imported.ts).
 *   floor       one row: all readings taken from this source time on are here; earlier ones may only be in the record.
 *   tail        one row: inbox rows up to `done` are sealed; those up to `upto` are, for signals up to `cursor`; how many readings are sealed.
 *
 * A second file, history.lock, is held locked while the store is open, so that no second process writes.
 */
import Database from 'better-sqlite3'
import { mkdirSync } from 'node:fs'
import { join } from 'node:path'
import { HistoryRefused, refusedBy } from './refused.ts'

export const FILE_NAME = 'history.db'
const FORMAT = 1

/** Times are whole ms from 0 to this. */
export const LATEST_MS = 2 ** 45
export const SLOT_MS = 16_384
const SLOTS = 2 ** 32
/** Signals ever known to one file: ids times 2^32 stay exact in a double. */
export const MOST_SIGNALS = 2 ** 21 - 1
export const slotOf = (sourceMs: number): number => Math.floor(sourceMs / SLOT_MS)
export const blockId = (signal: number, slot: number): number => signal * SLOTS + slot
export const signalOfBlock = (id: number): number => Math.floor(id / SLOTS)
export const slotOfBlock = (id: number): number => id % SLOTS
/** Ids of a signal's blocks are in [blockId(signal, 0), endOfSignal(signal)). */
export const endOfSignal = (signal: number): number => blockId(signal + 1, 0)
/** The largest id a block of the signal can have whose first reading is before `toMs`. */
export const lastIdBefore = (signal: number, toMs: number): number => (toMs <= 0 ? blockId(signal, 0) - 1 : Math.min(blockId(signal, slotOf(toMs - 1)), endOfSignal(signal) - 1))

export interface HistoryFile {
  readonly db: Database.Database
  readonly path: string
  close(): void
}

export interface FileOptions {
  readonly dir: string
  readonly synchronous: 'normal' | 'full'
  /** Largest size the file may grow to; beyond it commits are refused as if the disk were full. */
  readonly maxFileBytes: number
}

export const PAGE_BYTES = 4096

export function openFile(o: FileOptions): HistoryFile {
  const path = join(o.dir, FILE_NAME)
  let lock: Database.Database | null = null
  let db: Database.Database | null = null
  try {
    try {
      mkdirSync(o.dir, { recursive: true })
    } catch (e) {
      throw new HistoryRefused(
        'FOLDER',
        `the folder ${o.dir} for the history cannot be made or written: ${(e as Error).message}. Choose another data folder or change its rights`,
        e,
      )
    }
    lock = hold(join(o.dir, 'history.lock'))
    // Only a stranger can hold the write lock; waiting longer would stop everything else this process does.
    db = new Database(path, { timeout: 1_000 })
    db.pragma(`page_size = ${PAGE_BYTES}`)
    db.pragma('journal_mode = WAL')
    db.pragma(`synchronous = ${o.synchronous}`)
    db.pragma('cache_size = -32000')
    db.pragma('temp_store = memory')
    // 16 MB of log between checkpoints: small commits rewrite the same few pages, so a checkpoint costs little and should be rare.
    db.pragma('wal_autocheckpoint = 4000')
    db.pragma('journal_size_limit = 67108864')
    db.pragma(`max_page_count = ${Math.min(4294967294, Math.ceil(o.maxFileBytes / PAGE_BYTES))}`)
    makeTables(db)
    return {
      db,
      path,
      close() {
        db?.close()
        lock?.close()
      },
    }
  } catch (e) {
    db?.close()
    lock?.close()
    throw refusedBy(e, `the history file ${path} could not be opened`)
  }
}

/** Holds the folder of a history as an open store does; gives what lets it go. Throws HistoryRefused when it is in use. */
export function holdFolder(dir: string): () => void {
  try {
    const lock = hold(join(dir, 'history.lock'))
    return () => void lock.close()
  } catch (e) {
    throw refusedBy(e, `the folder ${dir} could not be held`)
  }
}

/** SQLite's own lock on a file that is never written: the operating system lets it go however the process ends. */
function hold(path: string): Database.Database {
  const lock = new Database(path, { timeout: 0 })
  try {
    lock.exec('BEGIN EXCLUSIVE')
    return lock
  } catch (e) {
    lock.close()
    if (!(e instanceof Database.SqliteError && e.code.startsWith('SQLITE_BUSY'))) throw e
    throw new HistoryRefused('IN_USE', `the history beside ${path} is open in another process: stop that one first, or use another data folder`, e)
  }
}

function makeTables(db: Database.Database): void {
  const format = db.pragma('user_version', { simple: true }) as number
  if (format > FORMAT)
    throw new HistoryRefused('NEWER_FORMAT', `the history file has format ${format}, this version knows ${FORMAT}: run the newer version, or put the file elsewhere`)
  db.exec(`
    BEGIN IMMEDIATE;
    CREATE TABLE IF NOT EXISTS signal (id INTEGER PRIMARY KEY AUTOINCREMENT, key TEXT NOT NULL UNIQUE) STRICT;
    CREATE TABLE IF NOT EXISTS inbox (id INTEGER PRIMARY KEY, frames BLOB NOT NULL) STRICT;
    CREATE TABLE IF NOT EXISTS block (
      id INTEGER PRIMARY KEY, first_ms INTEGER NOT NULL, last_ms INTEGER NOT NULL, n INTEGER NOT NULL, bad INTEGER NOT NULL, worst INTEGER NOT NULL,
      min REAL, max REAL, sum REAL, first REAL, last REAL, packed BLOB NOT NULL) STRICT;
    CREATE TABLE IF NOT EXISTS correction (
      signal INTEGER NOT NULL, source_ms INTEGER NOT NULL, value BLOB NOT NULL, received_ms INTEGER NOT NULL, code INTEGER NOT NULL,
      PRIMARY KEY (signal, source_ms, value)) STRICT, WITHOUT ROWID;
    CREATE TABLE IF NOT EXISTS damaged (id INTEGER NOT NULL, found_ms INTEGER NOT NULL, what TEXT NOT NULL, bytes BLOB NOT NULL) STRICT;
    CREATE TABLE IF NOT EXISTS tail (one INTEGER PRIMARY KEY CHECK (one = 1), done INTEGER NOT NULL, upto INTEGER NOT NULL, cursor INTEGER NOT NULL, sealed INTEGER NOT NULL) STRICT;
    CREATE TABLE IF NOT EXISTS feed (name TEXT PRIMARY KEY, row INTEGER NOT NULL, block INTEGER NOT NULL, skipped INTEGER NOT NULL) STRICT;
    CREATE TABLE IF NOT EXISTS parked (line TEXT PRIMARY KEY, reason TEXT NOT NULL, at_ms INTEGER NOT NULL) STRICT, WITHOUT ROWID;
    CREATE TABLE IF NOT EXISTS floor (one INTEGER PRIMARY KEY CHECK (one = 1), ms INTEGER NOT NULL) STRICT;
    INSERT OR IGNORE INTO tail VALUES (1, 0, 0, 0, 0);
    PRAGMA user_version = ${FORMAT};
    COMMIT;`)
}

/** Runs `work` as one transaction; when it throws nothing of it remains. */
export function inTransaction<T>(db: Database.Database, work: () => T): T {
  db.exec('BEGIN IMMEDIATE')
  try {
    const result = work()
    db.exec('COMMIT')
    return result
  } catch (e) {
    if (db.inTransaction) db.exec('ROLLBACK')
    throw e
  }
}
