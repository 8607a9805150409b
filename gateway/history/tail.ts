/**
 * What is committed and not yet sealed: rows of the inbox on disk, two heads in memory. New readings go to the live head.
 * To seal, the live head is frozen as it stands, a fresh one takes its place, and the frozen one is emptied signal by signal
 * into blocks. On disk one row says how far: inbox rows up to `done` are sealed, the rows after it up to `upto` are the
 * frozen head's and are sealed for signals up to `cursor`. So a restart knows from three numbers which readings of the
 * inbox still count, at whatever moment it was stopped.
 *
 * Small rows are folded into one every now and then, so that reading the inbox at a restart costs by the reading, not by the
 * message.
 */
import type Database from 'better-sqlite3'
import { ChunkPool } from './chunks.ts'
import type { Columns } from './columns.ts'
import { inTransaction, LATEST_MS } from './file.ts'
import { Head } from './head.ts'
import { firstReceivedMs, readFrames } from './inbox.ts'
import type { Newest } from './newest.ts'

const FOLD_ROWS = 1_024
const FOLD_BYTES = 131_072
/** A row of this size is not worth folding. */
const LARGE_ROW = 16_384
/** Inbox rows taken away in one step after sealing. */
const CLEAR_ROWS = 64

type Row<T> = Database.Statement<unknown[], T>

export class Tail {
  readonly pool = new ChunkPool()
  live = new Head(this.pool)
  frozen: Head | null = null
  cursor: number
  upto: number
  done: number
  /** Readings in sealed blocks. */
  sealed: number
  /** When the first of the live head came; null: it is empty. */
  oldestMs: number | null = null
  /** Rows that could not be folded; nothing is lost, a restart only reads more rows. */
  unfolded = 0
  /** Rows that could not be read to their end when the store was opened. */
  unreadable = 0
  /** Sealed rows after this one are kept: the feed still wants them. Whoever lowers or raises it calls `clearAgain`. */
  keptAfter = Number.MAX_SAFE_INTEGER
  /** Told of the bytes of each row committed. */
  onWritten: ((bytes: number) => void) | null = null
  private readonly db: Database.Database
  private readonly insert: Row<unknown>
  private readonly fold: { readonly replace: Row<unknown>; readonly remove: Row<unknown> }
  private readonly mark: Row<unknown>
  private readonly clear: Row<unknown>
  private nextRow: number
  private readonly pending = Buffer.allocUnsafe(FOLD_BYTES + LARGE_ROW)
  private pendingBytes = 0
  private pendingRows = 0
  private clearing: boolean
  private fedNobody = false

  constructor(db: Database.Database) {
    this.db = db
    this.insert = db.prepare('INSERT INTO inbox (id, frames) VALUES (?, ?)')
    this.fold = { replace: db.prepare('UPDATE inbox SET frames = ? WHERE id = ?'), remove: db.prepare('DELETE FROM inbox WHERE id >= ? AND id < ?') }
    this.mark = db.prepare('UPDATE tail SET done = ?, upto = ?, cursor = ?, sealed = ?')
    this.clear = db.prepare(`DELETE FROM inbox WHERE id <= (SELECT max(id) FROM (SELECT id FROM inbox WHERE id <= ? ORDER BY id LIMIT ${CLEAR_ROWS}))`)
    const tail = db.prepare<[], { done: number; upto: number; cursor: number; sealed: number }>('SELECT done, upto, cursor, sealed FROM tail').get()
    if (!tail) throw new Error('BUG: the history file has no tail row')
    this.done = tail.done
    this.upto = tail.upto
    this.cursor = tail.cursor
    this.sealed = tail.sealed
    if (tail.upto > tail.done) this.frozen = new Head(this.pool)
    this.clearing = true
    this.nextRow = Math.max(tail.upto, db.prepare<[], number | null>('SELECT max(id) FROM inbox').pluck().get() ?? 0) + 1
  }

  get size(): number {
    return this.live.size + (this.frozen?.size ?? 0)
  }

  /**
   * Fills the heads from the inbox, and `newest` as far as the inbox knows. Signal ids are below `signals`. A row that
   * cannot be read to its end is set aside; what stood before the fault counts.
   */
  replay(newest: Newest, signals: number, nowMs: number): void {
    const unreadable: number[] = []
    const rows = this.db.prepare<[number], [number, Uint8Array]>('SELECT id, frames FROM inbox WHERE id > ? ORDER BY id').raw()
    for (const [id, frames] of rows.iterate(this.done)) {
      const head = id <= this.upto ? this.frozen : this.live
      if (!head) continue
      try {
        if (head === this.live && this.oldestMs === null) this.oldestMs = Math.min(nowMs, firstReceivedMs(frames))
        readFrames(frames, (signal, sourceMs, receivedMs, value, code, wasNewest) => {
          if (signal >= signals || !(sourceMs >= 0 && sourceMs <= LATEST_MS)) throw new RangeError('a reading that cannot be')
          // What is sealed may be forgotten by now, so it says nothing about the newest either.
          if (!this.counts(id, signal)) return
          if (wasNewest) newest.set(signal, sourceMs, receivedMs, value, code)
          head.insert(signal, sourceMs, receivedMs, value, code)
        })
      } catch (e) {
        if (!(e instanceof RangeError)) throw e
        unreadable.push(id)
      }
    }
    this.unreadable = unreadable.length
    const setAside = this.db.prepare<[number, number]>(
      "INSERT INTO damaged (id, found_ms, what, bytes) SELECT id, ?, 'inbox row that cannot be read to its end', frames FROM inbox WHERE id = ?",
    )
    for (const id of unreadable) setAside.run(nowMs, id)
  }

  /** Is the reading of that signal in that inbox row still to be sealed? */
  counts(row: number, signal: number): boolean {
    return row > this.upto || (row > this.done && signal > this.cursor)
  }

  /** Writes a frame as the next inbox row; the caller may have opened a transaction. */
  write(frame: Buffer): void {
    this.insert.run(this.nextRow, frame)
  }

  /** After a frame is committed. */
  written(frame: Buffer, nowMs: number): void {
    this.oldestMs ??= nowMs
    this.onWritten?.(frame.length)
    const large = frame.length >= LARGE_ROW
    if (large) this.foldNow()
    this.nextRow++
    if (large) return
    frame.copy(this.pending, this.pendingBytes)
    this.pendingBytes += frame.length
    this.pendingRows++
    if (this.pendingRows >= FOLD_ROWS || this.pendingBytes >= FOLD_BYTES) this.foldNow()
  }

  /** Freezes the live head as it stands; everything in it is to be sealed. */
  freeze(): void {
    const upto = this.nextRow - 1
    this.mark.run(this.done, upto, 0, this.sealed)
    this.upto = upto
    this.cursor = 0
    this.frozen = this.live
    this.live = new Head(this.pool)
    this.oldestMs = null
    this.pendingRows = 0
    this.pendingBytes = 0
  }

  /** Writes that signals up to `cursor` are sealed, `grown` readings more; inside the transaction that sealed them. */
  writeSealed(cursor: number, grown: number): void {
    this.mark.run(this.done, this.upto, cursor, this.sealed + grown)
  }

  /** After that transaction. */
  wasSealed(cursor: number, grown: number): void {
    for (let signal = this.cursor + 1; signal <= cursor; signal++) this.frozen?.drop(signal)
    this.cursor = cursor
    this.sealed += grown
  }

  /** All of the frozen head is sealed. */
  finish(): void {
    this.mark.run(this.upto, this.upto, this.cursor, this.sealed)
    this.done = this.upto
    this.frozen = null
    this.clearing = true
  }

  /** Takes away some sealed inbox rows; true when there are more. */
  clearSome(): boolean {
    if (this.keptAfter === Number.MAX_SAFE_INTEGER && !this.fedNobody) {
      // Cleared without a feed: whoever is fed again later is to get the blocks again.
      this.db.exec('UPDATE feed SET block = 0 WHERE block <> 0')
      this.fedNobody = true
    }
    if (this.clearing) this.clearing = this.clear.run(Math.min(this.done, this.keptAfter)).changes > 0
    return this.clearing
  }

  clearAgain(): void {
    this.clearing = true
  }

  find(signal: number, sourceMs: number): number | undefined {
    const held = this.live.find(signal, sourceMs)
    return held === undefined && this.frozen ? this.frozen.find(signal, sourceMs) : held
  }

  firstMs(signal: number): number {
    return Math.min(this.live.firstMs(signal), this.frozen?.firstMs(signal) ?? Number.POSITIVE_INFINITY)
  }

  lastMs(signal: number): number {
    return Math.max(this.live.lastMs(signal), this.frozen?.lastMs(signal) ?? -1)
  }

  /** Puts the newest unsealed reading in place of what `into` held. */
  copyLast(signal: number, into: Columns): void {
    if (this.frozen && this.frozen.lastMs(signal) > this.live.lastMs(signal)) this.frozen.copyLast(signal, into)
    else this.live.copyLast(signal, into)
  }

  private foldNow(): void {
    const rows = this.pendingRows
    const frames = this.pending.subarray(0, this.pendingBytes)
    this.pendingRows = 0
    this.pendingBytes = 0
    if (rows < 2) return
    const last = this.nextRow - 1
    const first = last - rows + 1
    try {
      inTransaction(this.db, () => {
        this.fold.replace.run(frames, last)
        this.fold.remove.run(first, last)
      })
    } catch {
      this.unfolded += rows
    }
  }
}
