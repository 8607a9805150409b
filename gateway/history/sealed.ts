/**
 * The sealed blocks on disk. Blocks of a signal never overlap and never share a slot, so the block of a time is found with
 * one seek, and a stretch of time is a stretch of rows. Late readings are merged into the block they fall in.
 *
 * Everything here is synchronous; whoever writes has opened a transaction.
 */
import type Database from 'better-sqlite3'
import { createBlockCodec, DamagedBlock, figuresOf, type Figures } from './block.ts'
import type { BucketSums } from './buckets.ts'
import { appendColumns, firstAtOrAfter, mergeColumns, newColumns, type Columns } from './columns.ts'
import { blockId, endOfSignal, lastIdBefore, slotOf, SLOT_MS, slotOfBlock } from './file.ts'

/** A block with fewer readings takes the next ones in when they come. */
const SMALL = 128
/** Readings up to this many make one block, more are cut into blocks of about AIM. */
const LARGE = 384
const AIM = 256
/** Unpacked blocks kept for judging late readings: a site catching up asks for the same one again and again. */
const KEPT = 64

interface Found {
  readonly id: number
  readonly last_ms: number
  readonly n: number
}
interface Stretch {
  readonly id: number
  readonly first_ms: number
  readonly last_ms: number
  readonly packed: Uint8Array
}
export interface BlockRow extends Stretch, Figures {}

type Maybe = number | null
type TrendRow = [firstMs: number, lastMs: number, packed: Uint8Array | null, n: number, bad: number, worst: number, min: Maybe, max: Maybe, sum: Maybe, first: Maybe, last: Maybe]

type Row<T> = Database.Statement<unknown[], T>

export class Sealed {
  readonly codec = createBlockCodec()
  private readonly kept = new Map<number, Columns>()
  private readonly scratch = newColumns(512)
  private readonly group = newColumns(512)
  private readonly merged = newColumns(1024)
  private readonly before: Row<Found>
  private readonly after: Row<number>
  private readonly packed: Row<Uint8Array>
  private readonly stretch: Row<Stretch>
  private readonly trend: Row<TrendRow>
  private readonly bounds: Row<{ first: number | null; last: number | null }>
  private readonly insert: Row<unknown>
  private readonly remove: Row<unknown>
  private readonly removeOld: Row<unknown>
  private readonly oldCount: Row<{ n: number | null }>
  private readonly setAside: Row<unknown>
  private readonly nowMs: () => number
  /** Blocks found damaged since the store was opened. */
  damaged = 0

  constructor(db: Database.Database, nowMs: () => number) {
    this.nowMs = nowMs
    this.before = db.prepare('SELECT id, last_ms, n FROM block WHERE id BETWEEN ? AND ? ORDER BY id DESC LIMIT 1')
    this.after = db.prepare<unknown[], number>('SELECT id FROM block WHERE id > ? AND id < ? ORDER BY id LIMIT 1').pluck()
    this.packed = db.prepare<unknown[], Uint8Array>('SELECT packed FROM block WHERE id = ?').pluck()
    this.stretch = db.prepare('SELECT id, first_ms, last_ms, packed FROM block WHERE id BETWEEN ? AND ? ORDER BY id')
    // Bytes are handed over only for blocks that no span holds whole, that unsealed readings fall into, or whose sum is no number.
    // Rows come as arrays: a trend reads thousands, and objects with this many names cost half as much again.
    this.trend = db
      .prepare<unknown[], TrendRow>(`
      SELECT first_ms, last_ms,
        CASE WHEN first_ms >= @from AND last_ms < @to AND last_ms < @unsealed AND (n = bad OR abs(sum) <= 1.7976931348623157e308)
          AND CAST((first_ms - @from) / @bucket AS INTEGER) = CAST((last_ms - @from) / @bucket AS INTEGER) THEN NULL ELSE packed END,
        n, bad, worst, min, max, sum, first, last
      FROM block WHERE id BETWEEN @start AND @end ORDER BY id`)
      .raw()
    this.bounds = db.prepare(
      'SELECT (SELECT first_ms FROM block WHERE id >= @start AND id < @end ORDER BY id LIMIT 1) AS first, (SELECT last_ms FROM block WHERE id >= @start AND id < @end ORDER BY id DESC LIMIT 1) AS last',
    )
    this.insert = db.prepare('INSERT INTO block (id, first_ms, last_ms, n, bad, worst, min, max, sum, first, last, packed) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)')
    this.remove = db.prepare('DELETE FROM block WHERE id = ?')
    this.removeOld = db.prepare('DELETE FROM block WHERE id BETWEEN ? AND ? AND last_ms < ?')
    this.oldCount = db.prepare('SELECT sum(n) AS n FROM block WHERE id BETWEEN ? AND ? AND last_ms < ?')
    this.setAside = db.prepare('INSERT INTO damaged (id, found_ms, what, bytes) SELECT id, ?, ?, packed FROM block WHERE id = ?')
  }

  extent(signal: number): { readonly firstMs: number; readonly lastMs: number } | null {
    const b = this.bounds.get({ start: blockId(signal, 0), end: endOfSignal(signal) })
    return b && b.first !== null && b.last !== null ? { firstMs: b.first, lastMs: b.last } : null
  }

  /** Puts the newest sealed reading in place of what `into` held. */
  copyLast(signal: number, into: Columns): void {
    into.n = 0
    const block = this.before.get(blockId(signal, 0), endOfSignal(signal) - 1)
    const c = block && this.unpacked(block.id)
    if (c) appendColumns(into, c, c.n - 1, c.n)
  }

  /** The value sealed for that time (NaN: without a figure), or undefined. */
  find(signal: number, sourceMs: number): number | undefined {
    const block = this.before.get(blockId(signal, 0), blockId(signal, slotOf(sourceMs)))
    if (!block || block.last_ms < sourceMs) return undefined
    const c = this.unpacked(block.id)
    if (!c) return undefined
    const at = firstAtOrAfter(c, sourceMs)
    return at < c.n && c.times[at] === sourceMs ? c.values[at] : undefined
  }

  /** Puts readings with fromMs <= time < toMs in place of what `into` held, at most `limit`, the earliest. */
  copy(signal: number, fromMs: number, toMs: number, into: Columns, limit: number): void {
    into.n = 0
    for (const row of this.stretch.iterate(this.startOf(signal, fromMs), lastIdBefore(signal, toMs))) {
      if (row.last_ms < fromMs || row.first_ms >= toMs) continue
      if (into.n >= limit) break
      if (!this.tryUnpack(row.packed, this.scratch)) continue
      const from = firstAtOrAfter(this.scratch, fromMs)
      const to = firstAtOrAfter(this.scratch, toMs)
      appendColumns(into, this.scratch, from, Math.min(to, from + limit - into.n))
    }
  }

  /** Adds all that is sealed of the signal to a trend; `unsealedMs` is the oldest time of it not sealed. */
  addTo(sums: BucketSums, signal: number, unsealedMs: number): void {
    const { fromMs: from, toMs: to, bucketMs: bucket } = sums.spans
    const asked = { from, to, bucket, unsealed: unsealedMs, start: this.startOf(signal, from), end: lastIdBefore(signal, to) }
    for (const [firstMs, lastMs, packed, n, bad, worst, min, max, sum, first, last] of this.trend.iterate(asked)) {
      if (lastMs < from || firstMs >= to) continue
      if (packed === null) sums.addFigures(firstMs, lastMs, { n, bad, worst, min, max, sum, first, last })
      else if (this.tryUnpack(packed, this.scratch, false)) sums.addReadings(this.scratch)
    }
  }

  /** Seals readings, none of which is sealed already. Gives by how much the sealed readings grew. */
  seal(signal: number, c: Columns): number {
    let grown = c.n
    for (let i = 0; i < c.n; ) {
      const slot = slotOf(c.times[i]!)
      const before = this.before.get(blockId(signal, 0), blockId(signal, slot))
      const after = this.after.get(blockId(signal, slot), endOfSignal(signal))
      const end = after === undefined ? c.n : firstAtOrAfter(c, slotOfBlock(after) * SLOT_MS)
      if (before && (before.n < SMALL || slotOf(before.last_ms) >= slot)) {
        const readable = this.tryUnpack(this.packed.get(before.id)!, this.scratch)
        if (!readable) {
          this.scratch.n = 0
          this.setAside.run(this.nowMs(), 'block found damaged when readings were to be added', before.id)
          grown -= before.n
        }
        this.remove.run(before.id)
        this.group.n = 0
        appendColumns(this.group, c, i, end)
        mergeColumns(this.scratch, this.group, this.merged)
        this.write(signal, this.merged, 0, this.merged.n)
      } else this.write(signal, c, i, end)
      i = end
    }
    return grown
  }

  /** Forgets all sealed readings of the signal before a time; gives how many. */
  forgetBefore(signal: number, beforeMs: number): number {
    const start = blockId(signal, 0)
    const end = lastIdBefore(signal, beforeMs)
    let gone = this.oldCount.get(start, end, beforeMs)?.n ?? 0
    if (gone > 0) this.removeOld.run(start, end, beforeMs)
    const across = this.before.get(start, end)
    if (across && this.tryUnpack(this.packed.get(across.id)!, this.scratch)) {
      const keep = firstAtOrAfter(this.scratch, beforeMs)
      if (keep > 0) {
        this.remove.run(across.id)
        this.write(signal, this.scratch, keep, this.scratch.n)
        gone += keep
      }
    }
    this.kept.clear()
    return gone
  }

  /** After a transaction was undone, or blocks changed: nothing unpacked may be trusted. */
  forgetKept(): void {
    this.kept.clear()
  }

  private write(signal: number, c: Columns, from: number, to: number): void {
    const n = to - from
    const pieces = n <= LARGE ? 1 : Math.ceil(n / AIM)
    for (let start = from, left = pieces; start < to; left--) {
      let end = left <= 1 ? to : Math.min(to, start + Math.ceil((to - start) / left))
      while (end < to && slotOf(c.times[end]!) === slotOf(c.times[end - 1]!)) end++
      const f = figuresOf(c, start, end)
      const first = c.times[start]!
      this.insert.run(blockId(signal, slotOf(first)), first, c.times[end - 1]!, f.n, f.bad, f.worst, f.min, f.max, f.sum, f.first, f.last, this.codec.pack(c, start, end))
      start = end
    }
  }

  /** Id of the block in which a time falls, or would be the first after which it falls. */
  private startOf(signal: number, atMs: number): number {
    const id = lastIdBefore(signal, Math.max(0, atMs) + 1)
    return this.before.get(blockId(signal, 0), id)?.id ?? id
  }

  private unpacked(id: number): Columns | null {
    const held = this.kept.get(id)
    if (held) {
      this.kept.delete(id)
      this.kept.set(id, held)
      return held
    }
    const bytes = this.packed.get(id)
    const c = newColumns(0)
    if (!bytes || !this.tryUnpack(bytes, c)) return null
    this.kept.set(id, c)
    for (const oldest of this.kept.keys()) {
      if (this.kept.size <= KEPT) break
      this.kept.delete(oldest)
    }
    return c
  }

  private tryUnpack(bytes: Uint8Array, into: Columns, received = true): boolean {
    try {
      this.codec.unpack(bytes, into, received)
      return true
    } catch (e) {
      if (!(e instanceof DamagedBlock)) throw e
      this.damaged++
      return false
    }
  }
}
