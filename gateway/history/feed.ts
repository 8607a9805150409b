/**
 * What another store is to get of this one, in order of arrival and from a durable mark on: a late reading comes when it came, not
 * where its time stands. Inbox rows are kept after sealing until they are acknowledged. When those kept grow beyond their bound,
 * the oldest are let go and the sealed blocks, where their readings are too, are gone through from the start once the rest is
 * acknowledged; so are they for a store that is new, and after a time without the feed. Readings may therefore come twice,
 * never not at all, unless they were forgotten here first. Values that came later and differed are not sent on.
 */
import type Database from 'better-sqlite3'
import { DamagedBlock } from './block.ts'
import { newColumns } from './columns.ts'
import { inTransaction, signalOfBlock } from './file.ts'
import { readFrames } from './inbox.ts'
import type { Sealed } from './sealed.ts'
import type { Signals } from './signals.ts'
import type { Tail } from './tail.ts'

export interface FeedOptions {
  readonly name: string
  /** Bound of sealed rows kept for the other store, bytes. */
  readonly maxBacklogBytes: number
}

/** value NaN: without a figure. */
export type TakeReading = (signal: number, key: string, sourceMs: number, receivedMs: number, value: number, code: number) => void

/** How far: hand it back with `acknowledge` when all before it and it are kept by the other store. */
export interface FeedMark {
  readonly row: number
  readonly block: number
  readonly epoch: number
}

export interface Feed {
  /** Hands on the next readings, `most` or somewhat more; null: nothing to hand on now. */
  next(most: number, take: TakeReading): FeedMark | null
  acknowledge(mark: FeedMark): void
  /** Lets some of the oldest go when too much is kept; to be called with every step of sealing. */
  bound(): void
  /** Hands on again everything that is not acknowledged. */
  rewind(): void
  /** Keeps a line the other store will not take. Gives false when there is no room for more. */
  park(line: string, reason: string, atMs: number): boolean
  stats(): FeedStats
}

export interface FeedStats {
  /** Bytes of inbox rows not acknowledged, sealed or not. */
  readonly backlogBytes: number
  /** Sealed blocks are being gone through. */
  readonly catchingUpBlocks: boolean
  /** Readings let go from the backlog, to be sent from the sealed blocks. */
  readonly skipped: number
  readonly parked: number
  readonly parkedBound: number
}

export interface FeedParts {
  readonly db: Database.Database
  readonly tail: Tail
  readonly sealed: Sealed
  readonly signals: Signals
}

const MOST_PARKED = 10_000
const BLOCKS_A_PIECE = 32
/** Block mark: all have been gone through. */
const DONE = -1

export function createFeed(parts: FeedParts, options: FeedOptions): Feed {
  const { db, tail, sealed, signals } = parts
  const { name } = options
  db.prepare('INSERT OR IGNORE INTO feed VALUES (?, 0, 0, 0)').run(name)
  const state = db.prepare<[string], { row: number; block: number; skipped: number }>('SELECT row, block, skipped FROM feed WHERE name = ?').get(name)
  if (!state) throw new Error('BUG: the feed was not made')
  const save = db.prepare('UPDATE feed SET row = ?, block = ?, skipped = ? WHERE name = ?')
  const bytesIn = db.prepare<[number, number], number | null>('SELECT sum(length(frames)) FROM inbox WHERE id > ? AND id <= ?').pluck()
  const rowsAfter = db.prepare<[number], [number, Uint8Array]>('SELECT id, frames FROM inbox WHERE id > ? ORDER BY id LIMIT 64').raw()
  const blocksAfter = db.prepare<[number], { id: number; packed: Uint8Array }>(`SELECT id, packed FROM block WHERE id > ? ORDER BY id LIMIT ${BLOCKS_A_PIECE}`)
  const insertParked = db.prepare('INSERT OR IGNORE INTO parked VALUES (?, ?, ?)')
  let parked = db.prepare<[], number>('SELECT count(*) FROM parked').pluck().get() ?? 0
  // Whoever was fed before may miss what is cleared from now on: it is to get the blocks again.
  db.prepare('UPDATE feed SET block = 0 WHERE name <> ?').run(name)
  let { row, block, skipped } = state
  let readRow = row
  let readBlock = block
  /** Marks of an earlier pass through the blocks say nothing about this one. */
  let epoch = 0
  let backlogBytes = bytesIn.get(row, Number.MAX_SAFE_INTEGER) ?? 0
  const scratch = newColumns(512)
  tail.keptAfter = row
  tail.onWritten = (bytes) => {
    backlogBytes += bytes
  }

  function moveRow(to: number): void {
    if (to <= row) return
    backlogBytes = Math.max(0, backlogBytes - (bytesIn.get(row, to) ?? 0))
    row = to
    readRow = Math.max(readRow, row)
    tail.keptAfter = row
    tail.clearAgain()
  }

  /** Lets the oldest sealed rows go while too much is kept. */
  function bound(): void {
    if (backlogBytes <= options.maxBacklogBytes || row >= tail.done) return
    inTransaction(db, () => {
      let upto = row
      let bytes = backlogBytes
      for (const [id, frames] of rowsAfter.all(row)) {
        if (id > tail.done || bytes <= options.maxBacklogBytes) break
        upto = id
        bytes -= frames.length
        readFrames(frames, () => void skipped++)
      }
      if (upto === row) return
      moveRow(upto)
      block = readBlock = 0
      epoch++
      save.run(row, block, skipped, name)
    })
  }

  function fromInbox(most: number, take: TakeReading): boolean {
    let count = 0
    while (count < most) {
      const rows = rowsAfter.all(readRow)
      for (const [id, frames] of rows) {
        try {
          readFrames(frames, (signal, sourceMs, receivedMs, value, code) => {
            const key = signals.key(signal)
            count++
            if (key !== undefined) take(signal, key, sourceMs, receivedMs, value, code)
          })
        } catch (e) {
          // Set aside when the store was opened; what stood before the fault was handed on.
          if (!(e instanceof RangeError)) throw e
        }
        readRow = id
        if (count >= most) break
      }
      if (rows.length < 64) break
    }
    return count > 0
  }

  function fromBlocks(most: number, take: TakeReading): boolean {
    let count = 0
    while (count < most && readBlock !== DONE) {
      const rows = blocksAfter.all(readBlock)
      for (const { id, packed } of rows) {
        readBlock = id
        const signal = signalOfBlock(id)
        const key = signals.key(signal)
        if (key === undefined) continue
        try {
          sealed.codec.unpack(packed, scratch)
        } catch (e) {
          if (!(e instanceof DamagedBlock)) throw e
          sealed.damaged++
          continue
        }
        for (let i = 0; i < scratch.n; i++) take(signal, key, scratch.times[i]!, scratch.received[i]!, scratch.values[i]!, scratch.codes[i]!)
        count += scratch.n
      }
      if (rows.length < BLOCKS_A_PIECE) readBlock = DONE
    }
    return count > 0
  }

  return {
    next(most, take) {
      const before = readBlock
      if (!fromInbox(most, take) && !fromBlocks(most, take) && readBlock === before) return null
      return { row: readRow, block: readBlock, epoch }
    },
    acknowledge(mark) {
      moveRow(mark.row)
      if (mark.epoch === epoch) block = mark.block
      if (block === DONE) skipped = 0
      save.run(row, block, skipped, name)
    },
    bound,
    rewind() {
      readRow = row
      readBlock = block
    },
    park(line, reason, atMs) {
      if (parked >= MOST_PARKED) return false
      parked += insertParked.run(line, reason, atMs).changes
      return true
    },
    stats: () => ({ backlogBytes, catchingUpBlocks: block !== DONE, skipped, parked, parkedBound: MOST_PARKED }),
  }
}

/** The floor as it is kept: `first` when none is yet, raised to `least`. */
export function readFloor(db: Database.Database, first: number, least = 0): number {
  db.prepare('INSERT OR IGNORE INTO floor VALUES (1, ?)').run(first)
  if (least > 0) db.prepare('UPDATE floor SET ms = max(ms, ?)').run(Math.min(least, 2 ** 45))
  return db.prepare<[], number>('SELECT ms FROM floor').pluck().get() ?? 0
}
