/**
 * All that can still be read of a damaged history file, handed on reading by reading. Two kinds of damage are met: bytes of a block that
 * are not what was written (its checksum says so), and pages SQLite itself cannot read; behind such a page reading goes on with the first
 * row that can be read again.
 */
import Database from 'better-sqlite3'
import { createBlockCodec, DamagedBlock } from './block.ts'
import { newColumns } from './columns.ts'
import { LATEST_MS, signalOfBlock } from './file.ts'
import { readFrames } from './inbox.ts'
import { HistoryRefused, refusedBy } from './refused.ts'

export interface Loss {
  /** Key, or the table. */
  readonly where: string
  readonly what: string
  /** Readings lost; null: nobody can say. */
  readonly readings: number | null
  /** Bytes of a damaged block, for a person; null: not to be had. */
  readonly bytes: Uint8Array | null
  readonly id: number
}

export type TakeSalvaged = (key: string, sourceMs: number, receivedMs: number, value: number, code: number) => void

export interface Side {
  readonly corrections: readonly (readonly [key: string, sourceMs: number, value: Uint8Array, receivedMs: number, code: number])[]
  readonly parked: readonly (readonly [line: string, reason: string, atMs: number])[]
  readonly imported: readonly (readonly [key: string, untilMs: number])[]
  readonly floorMs: number
}

const PAGE = 64

/** Reads the file at `path`, whose writer must not run. Gives the event loop a turn through `pause`. Throws HistoryRefused when nothing at all can be read. */
export async function salvage(path: string, take: TakeSalvaged, lose: (loss: Loss) => void, pause: () => Promise<void>): Promise<Side> {
  let db: Database.Database
  try {
    db = new Database(path, { readonly: true, fileMustExist: true })
  } catch (e) {
    throw refusedBy(e, `${path} cannot be opened`)
  }
  try {
    return await salvageOpen(db, path, take, lose, pause)
  } finally {
    db.close()
  }
}

async function salvageOpen(db: Database.Database, path: string, take: TakeSalvaged, lose: (loss: Loss) => void, pause: () => Promise<void>): Promise<Side> {
  const keys = new Map<number, string>()
  try {
    db.prepare('SELECT count(*) FROM sqlite_schema').get()
  } catch (e) {
    throw new HistoryRefused('CORRUPT', `${path} is damaged at its very beginning, so nothing of it can be read: put back the last backup (${(e as Error).message})`, e)
  }
  const gap = (table: string) => (): void => lose({ where: table, what: 'a part of the file that cannot be read', readings: null, bytes: null, id: 0 })
  for await (const [id, text] of rowsOf<[number, string]>(db, 'signal', 'id, key', gap('signal'), pause)) {
    try {
      keys.set(id, JSON.parse(`"${text}"`) as string)
    } catch {
      lose({ where: 'signal', what: `the name of signal ${id} cannot be read`, readings: null, bytes: null, id })
    }
  }
  const keyOfSignal = (signal: number): string => {
    const known = keys.get(signal)
    if (known !== undefined) return known
    const made = `recovered/signal-${signal}`
    keys.set(signal, made)
    lose({ where: made, what: 'the name of this signal is lost: its readings are kept under this one', readings: 0, bytes: null, id: signal })
    return made
  }

  const codec = createBlockCodec()
  const c = newColumns(512)
  for await (const [id, n, packed] of rowsOf<[number, number, Uint8Array]>(db, 'block', 'id, n, packed', gap('block'), pause)) {
    const key = keyOfSignal(signalOfBlock(id))
    try {
      codec.unpack(packed, c)
    } catch (e) {
      if (!(e instanceof DamagedBlock)) throw e
      lose({ where: key, what: `block ${id}: ${e.message}`, readings: n, bytes: packed, id })
      continue
    }
    for (let i = 0; i < c.n; i++) take(key, c.times[i]!, c.received[i]!, c.values[i]!, c.codes[i]!)
  }

  const tail = attempt(() => db.prepare<[], { done: number; upto: number; cursor: number }>('SELECT done, upto, cursor FROM tail').get())
  const [done, upto, cursor] = tail ? [tail.done, tail.upto, tail.cursor] : [0, 0, 0]
  for await (const [id, frames] of rowsOf<[number, Uint8Array]>(db, 'inbox', 'id, frames', gap('inbox'), pause)) {
    if (id <= done) continue
    try {
      readFrames(frames, (signal, sourceMs, receivedMs, value, code) => {
        if (!(sourceMs >= 0 && sourceMs <= LATEST_MS && receivedMs >= 0 && receivedMs <= LATEST_MS)) throw new RangeError('a reading that cannot be')
        // What was sealed may have been forgotten since: it is not to come back.
        if (id > upto || signal > cursor) take(keyOfSignal(signal), sourceMs, receivedMs, value, code)
      })
    } catch (e) {
      if (!(e instanceof RangeError)) throw e
      lose({ where: 'inbox', what: `row ${id} cannot be read to its end; what stood before the fault is kept`, readings: null, bytes: frames, id })
    }
  }

  const all = <T extends readonly unknown[]>(sql: string, table: string): T[] =>
    attempt(() => db.prepare<[], T>(sql).raw().all() as T[]) ?? (lose({ where: table, what: 'cannot be read', readings: null, bytes: null, id: 0 }), [])
  return {
    corrections: all<[number, number, Uint8Array, number, number]>('SELECT signal, source_ms, value, received_ms, code FROM correction', 'correction').map(
      ([signal, ...rest]) => [keyOfSignal(signal), ...rest] as const,
    ),
    parked: all('SELECT line, reason, at_ms FROM parked', 'parked'),
    imported: hasTable(db, 'imported') ? all<[string, number]>('SELECT key, until_ms FROM imported', 'imported') : [],
    floorMs: attempt(() => db.prepare<[], number>('SELECT ms FROM floor').pluck().get()) ?? 0,
  }
}

/** Rows of a table by id; `gap` is told of every stretch that cannot be read. */
async function* rowsOf<T extends readonly [number, ...unknown[]]>(
  db: Database.Database,
  table: string,
  columns: string,
  gap: () => void,
  pause: () => Promise<void>,
): AsyncGenerator<T> {
  const after = db.prepare<[number, number], T>(`SELECT ${columns} FROM ${table} WHERE id > ? ORDER BY id LIMIT ?`).raw()
  const read = (id: number, limit: number): T[] | null => attempt(() => after.all(id, limit) as T[])
  for (let at = -1; ; ) {
    let rows = read(at, PAGE)
    if (rows === null) {
      rows = read(at, 1)
      if (rows === null) {
        gap()
        const next = beyond(at, (id) => read(id, 1) !== null)
        if (next === null) return
        at = next
        continue
      }
    }
    const last = rows.at(-1)
    if (!last) return
    yield* rows
    at = last[0]
    await pause()
  }
}

/** The smallest id after which a row can be read again; null: there is none. */
function beyond(at: number, readable: (id: number) => boolean): number | null {
  let step = 1
  while (!readable(at + step)) {
    step *= 2
    if (at + step >= Number.MAX_SAFE_INTEGER) return null
  }
  let [low, high] = [at + Math.floor(step / 2), at + step]
  while (high - low > 1) {
    const mid = low + Math.floor((high - low) / 2)
    if (readable(mid)) high = mid
    else low = mid
  }
  return high
}

function attempt<T>(work: () => T): T | null {
  try {
    return work()
  } catch (e) {
    if (e instanceof Database.SqliteError) return null
    throw e
  }
}

const hasTable = (db: Database.Database, name: string): boolean =>
  (attempt(() => db.prepare<[string], number>('SELECT count(*) FROM sqlite_schema WHERE name = ?').pluck().get(name)) ?? 0) > 0
