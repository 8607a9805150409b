/**
 * The median of a long span as readings come in. The span is cut into 168 slots (hours of a week) and each slot is spoken for by the
 * first reading learned in it, so that no hour counts more than another however often its probe reports.
 *
 * cost     a comparison per reading; once per slot two binary searches and the shift of at most 168 figures
 * memory   24 bytes per slot learned, 4 kB a full one; room is made as slots come
 */
import type { Kept } from './ready.ts'

const SLOTS = 168

export interface SlottedMedian {
  /** A reading that may be learned; earlier ones than the newest slot are passed by. */
  add(value: number, atMs: number): void
  /** NaN: nothing learned. */
  median(): number
  /** How much of the span has been seen, ms. */
  seenMs(): number
  keep(): Kept
  resume(kept: Kept): void
  forget(): void
}

/** Slots there is room for with the first one. */
const FIRST = 21
const EMPTY = new Float64Array(0)

export const createSlottedMedian = (spanMs: number): SlottedMedian => new Slotted(spanMs)

class Slotted implements SlottedMedian {
  private readonly slotMs: number
  private slots = EMPTY
  private values = EMPTY
  private sorted = EMPTY
  private head = 0
  private n = 0
  private newest = Number.NEGATIVE_INFINITY

  constructor(spanMs: number) {
    this.slotMs = spanMs / SLOTS
  }

  add(value: number, atMs: number): void {
    const slot = Math.floor(atMs / this.slotMs)
    if (slot > this.newest) this.put(value, slot)
  }

  median(): number {
    const { n, sorted } = this
    return n === 0 ? Number.NaN : n % 2 === 1 ? (sorted[n >> 1] as number) : ((sorted[n / 2 - 1] as number) + (sorted[n / 2] as number)) / 2
  }

  seenMs(): number {
    return this.n * this.slotMs
  }

  keep(): Kept {
    return [this.inOrder(this.values), this.inOrder(this.slots)]
  }

  resume([kept = [], at = []]: Kept): void {
    this.forget()
    kept.forEach((v, i) => {
      const slot = at[i]
      if (slot !== undefined && Number.isFinite(v) && slot > this.newest) this.put(v, slot)
    })
  }

  forget(): void {
    this.n = 0
    this.newest = Number.NEGATIVE_INFINITY
  }

  private put(value: number, slot: number): void {
    while (this.n > 0 && (this.slots[this.head] as number) <= slot - SLOTS) this.dropOldest()
    if (this.n === this.values.length) this.grow()
    const at = this.rank(value)
    this.sorted.copyWithin(at + 1, at, this.n)
    this.sorted[at] = value
    const p = (this.head + this.n) % this.values.length
    this.values[p] = value
    this.slots[p] = slot
    this.n++
    this.newest = slot
  }

  private dropOldest(): void {
    const at = this.rank(this.values[this.head] as number)
    this.sorted.copyWithin(at, at + 1, this.n)
    this.head = (this.head + 1) % this.values.length
    this.n--
  }

  private rank(v: number): number {
    let low = 0
    let high = this.n
    while (low < high) {
      const mid = (low + high) >>> 1
      if ((this.sorted[mid] as number) < v) low = mid + 1
      else high = mid
    }
    return low
  }

  /** Never beyond 168: a slot that is older than the span has been dropped before. */
  private grow(): void {
    const room = Math.min(SLOTS, Math.max(FIRST, 2 * this.values.length))
    const larger = (from: ArrayLike<number>): Float64Array<ArrayBuffer> => {
      const to = new Float64Array(room)
      to.set(from)
      return to
    }
    const [values, slots] = [larger(this.inOrder(this.values)), larger(this.inOrder(this.slots))]
    this.sorted = larger(this.sorted)
    this.values = values
    this.slots = slots
    this.head = 0
  }

  private inOrder(from: Float64Array): number[] {
    return Array.from({ length: this.n }, (_, i) => from[(this.head + i) % from.length] as number)
  }
}
