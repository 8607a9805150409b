/**
 * The unsealed tail in memory: for each signal an ascending chain of chunks. Nearly all readings go at the end of their
 * chain; a late one walks to its place, starting where the last late one of the same signal went, so that a site catching
 * up after an outage costs little more than a punctual one.
 */
import { type ChunkPool, grownTo, NONE, PAGE_BITS, PAGE_CHUNKS, place, put, SIZE } from './chunks.ts'
import { makeRoom, type Columns } from './columns.ts'

export class Head {
  private readonly pool: ChunkPool
  private first = new Int32Array(0)
  private tail = new Int32Array(0)
  private hint = new Int32Array(0)
  /** Readings held. */
  size = 0

  constructor(pool: ChunkPool) {
    this.pool = pool
  }

  /** Signals this head has room for; those at or beyond hold nothing. */
  get signals(): number {
    return this.first.length
  }

  has(signal: number): boolean {
    return signal < this.first.length && this.first[signal] !== NONE
  }

  /** Adds a reading that is newer than all this head holds of the signal. */
  append(signal: number, sourceMs: number, receivedMs: number, value: number, code: number): void {
    if (signal >= this.first.length) this.makeRoomFor(signal)
    const { pool } = this
    let chunk = this.tail[signal]!
    if (chunk === NONE || pool.count[chunk] === SIZE) {
      const fresh = pool.take()
      if (chunk === NONE) this.first[signal] = fresh
      else pool.next[chunk] = fresh
      this.tail[signal] = fresh
      chunk = fresh
    }
    put(pool, chunk, pool.count[chunk]!++, sourceMs, receivedMs, value, code)
    this.size++
  }

  /** Adds a reading wherever it belongs; its time must not be held yet. */
  insert(signal: number, sourceMs: number, receivedMs: number, value: number, code: number): void {
    if (!this.has(signal) || sourceMs > this.lastMs(signal)) return this.append(signal, sourceMs, receivedMs, value, code)
    const { pool } = this
    let chunk = this.chunkFor(signal, sourceMs)
    if (pool.count[chunk] === SIZE) chunk = this.split(signal, chunk, sourceMs)
    const at = place(pool, chunk, sourceMs)
    const count = pool.count[chunk]!
    const base = (chunk & (PAGE_CHUNKS - 1)) * SIZE
    const page = pool.readings[chunk >> PAGE_BITS]!
    const codes = pool.codes[chunk >> PAGE_BITS]!
    page.copyWithin((base + at + 1) * 3, (base + at) * 3, (base + count) * 3)
    codes.copyWithin(base + at + 1, base + at, base + count)
    put(pool, chunk, at, sourceMs, receivedMs, value, code)
    pool.count[chunk] = count + 1
    this.size++
  }

  /** The value held for that time (NaN: a reading without a figure), or undefined. */
  find(signal: number, sourceMs: number): number | undefined {
    if (!this.has(signal)) return undefined
    const chunk = this.chunkFor(signal, sourceMs)
    const at = place(this.pool, chunk, sourceMs)
    const base = ((chunk & (PAGE_CHUNKS - 1)) * SIZE + at) * 3
    const page = this.pool.readings[chunk >> PAGE_BITS]!
    return at < this.pool.count[chunk]! && page[base] === sourceMs ? page[base + 2] : undefined
  }

  /** Takes one reading out again. */
  remove(signal: number, sourceMs: number): void {
    if (this.find(signal, sourceMs) === undefined) return
    const { pool } = this
    const chunk = this.chunkFor(signal, sourceMs)
    const at = place(pool, chunk, sourceMs)
    const count = pool.count[chunk]!
    const base = (chunk & (PAGE_CHUNKS - 1)) * SIZE
    pool.readings[chunk >> PAGE_BITS]!.copyWithin((base + at) * 3, (base + at + 1) * 3, (base + count) * 3)
    pool.codes[chunk >> PAGE_BITS]!.copyWithin(base + at, base + at + 1, base + count)
    pool.count[chunk] = count - 1
    this.size--
    if (count === 1) this.unlink(signal, chunk)
  }

  /** Newest time held of the signal, or -1. */
  lastMs(signal: number): number {
    const chunk = signal < this.tail.length ? this.tail[signal]! : NONE
    if (chunk === NONE) return -1
    return this.pool.readings[chunk >> PAGE_BITS]![((chunk & (PAGE_CHUNKS - 1)) * SIZE + this.pool.count[chunk]! - 1) * 3]!
  }

  /** Oldest time held of the signal, or Infinity. */
  firstMs(signal: number): number {
    const chunk = signal < this.first.length ? this.first[signal]! : NONE
    if (chunk === NONE) return Number.POSITIVE_INFINITY
    return this.pool.readings[chunk >> PAGE_BITS]![(chunk & (PAGE_CHUNKS - 1)) * SIZE * 3]!
  }

  /** Puts readings with fromMs <= time < toMs in place of what `into` held, at most `limit`, the earliest. */
  copy(signal: number, fromMs: number, toMs: number, into: Columns, limit: number = Number.POSITIVE_INFINITY): void {
    into.n = 0
    const { pool } = this
    for (let chunk = this.has(signal) ? this.first[signal]! : NONE; chunk !== NONE; chunk = pool.next[chunk]!) {
      makeRoom(into, into.n + SIZE)
      const base = (chunk & (PAGE_CHUNKS - 1)) * SIZE
      const page = pool.readings[chunk >> PAGE_BITS]!
      const codes = pool.codes[chunk >> PAGE_BITS]!
      for (let i = base; i < base + pool.count[chunk]!; i++) {
        const t = page[3 * i]!
        if (t < fromMs) continue
        if (t >= toMs || into.n >= limit) return
        into.times[into.n] = t
        into.received[into.n] = page[3 * i + 1]!
        into.values[into.n] = page[3 * i + 2]!
        into.codes[into.n++] = codes[i]!
      }
    }
  }

  /** Puts the newest reading of the signal in place of what `into` held. */
  copyLast(signal: number, into: Columns): void {
    into.n = 0
    if (!this.has(signal)) return
    makeRoom(into, 1)
    const chunk = this.tail[signal]!
    const i = (chunk & (PAGE_CHUNKS - 1)) * SIZE + this.pool.count[chunk]! - 1
    const page = this.pool.readings[chunk >> PAGE_BITS]!
    into.times[0] = page[3 * i]!
    into.received[0] = page[3 * i + 1]!
    into.values[0] = page[3 * i + 2]!
    into.codes[0] = this.pool.codes[chunk >> PAGE_BITS]![i]!
    into.n = 1
  }

  /** Lets go all readings of the signal. */
  drop(signal: number): void {
    const { pool } = this
    for (let chunk = this.has(signal) ? this.first[signal]! : NONE; chunk !== NONE; chunk = pool.next[chunk]!) {
      this.size -= pool.count[chunk]!
      pool.give(chunk)
    }
    if (signal < this.first.length) this.first[signal] = this.tail[signal] = this.hint[signal] = NONE
  }

  private makeRoomFor(signal: number): void {
    const room = Math.max(signal + 1, 2 * this.first.length, 256)
    this.first = grownTo(this.first, room, NONE)
    this.tail = grownTo(this.tail, room, NONE)
    this.hint = grownTo(this.hint, room, NONE)
  }

  /** The last chunk whose first reading is at or before that time, or the first chunk. Remembers it. */
  private chunkFor(signal: number, sourceMs: number): number {
    const { pool } = this
    const startOf = (chunk: number): number => pool.readings[chunk >> PAGE_BITS]![(chunk & (PAGE_CHUNKS - 1)) * SIZE * 3]!
    const hint = this.hint[signal]!
    const tail = this.tail[signal]!
    if (sourceMs >= startOf(tail)) return tail
    let chunk = hint !== NONE && startOf(hint) <= sourceMs ? hint : this.first[signal]!
    for (let next = pool.next[chunk]!; next !== NONE && startOf(next) <= sourceMs; next = pool.next[chunk]!) chunk = next
    this.hint[signal] = chunk
    return chunk
  }

  /** Cuts a full chunk in two and gives the part that time belongs to. Times in its later half cut where they fall, so that catching up fills chunks. */
  private split(signal: number, chunk: number, sourceMs: number): number {
    const { pool } = this
    const fresh = pool.take()
    pool.next[fresh] = pool.next[chunk]!
    pool.next[chunk] = fresh
    if (this.tail[signal] === chunk) this.tail[signal] = fresh
    const at = place(pool, chunk, sourceMs)
    const keep = Math.max(at, SIZE / 2)
    const from = (chunk & (PAGE_CHUNKS - 1)) * SIZE
    const to = (fresh & (PAGE_CHUNKS - 1)) * SIZE
    pool.readings[fresh >> PAGE_BITS]!.set(pool.readings[chunk >> PAGE_BITS]!.subarray((from + keep) * 3, (from + SIZE) * 3), to * 3)
    pool.codes[fresh >> PAGE_BITS]!.set(pool.codes[chunk >> PAGE_BITS]!.subarray(from + keep, from + SIZE), to)
    pool.count[chunk] = keep
    pool.count[fresh] = SIZE - keep
    const home = keep === SIZE ? fresh : chunk
    this.hint[signal] = home
    return home
  }

  private unlink(signal: number, chunk: number): void {
    const { pool } = this
    const next = pool.next[chunk]!
    let before = NONE
    for (let c = this.first[signal]!; c !== chunk && c !== NONE; c = pool.next[c]!) before = c
    if (before === NONE) this.first[signal] = next
    else pool.next[before] = next
    if (this.tail[signal] === chunk) this.tail[signal] = before
    this.hint[signal] = NONE
    pool.give(chunk)
  }
}
