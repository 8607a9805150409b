/**
 * The median of a long span as readings come in. The span is cut into 168 slots (hours of a week) and each slot is spoken for by the
 * first reading learned in it, so that no hour counts more than another however often its probe reports.
 *
 * cost     a comparison per reading; once per slot two binary searches and the shift of at most 168 figures; 4 kB a rule
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

export function createSlottedMedian(spanMs: number): SlottedMedian {
  const slotMs = spanMs / SLOTS
  const slots = new Float64Array(SLOTS)
  const values = new Float64Array(SLOTS)
  const sorted = new Float64Array(SLOTS)
  let head = 0
  let n = 0
  let newest = Number.NEGATIVE_INFINITY

  const rank = (v: number): number => {
    let low = 0
    let high = n
    while (low < high) {
      const mid = (low + high) >>> 1
      if ((sorted[mid] as number) < v) low = mid + 1
      else high = mid
    }
    return low
  }
  const dropOldest = (): void => {
    sorted.copyWithin(rank(values[head] as number), rank(values[head] as number) + 1, n)
    head = (head + 1) % SLOTS
    n--
  }
  const put = (value: number, slot: number): void => {
    while (n > 0 && (slots[head] as number) <= slot - SLOTS) dropOldest()
    const at = rank(value)
    sorted.copyWithin(at + 1, at, n)
    sorted[at] = value
    const p = (head + n) % SLOTS
    values[p] = value
    slots[p] = slot
    n++
    newest = slot
  }
  return {
    add(value, atMs) {
      const slot = Math.floor(atMs / slotMs)
      if (slot > newest) put(value, slot)
    },
    median: () => (n === 0 ? Number.NaN : n % 2 === 1 ? (sorted[n >> 1] as number) : ((sorted[n / 2 - 1] as number) + (sorted[n / 2] as number)) / 2),
    seenMs: () => n * slotMs,
    keep: () => [Array.from({ length: n }, (_, i) => values[(head + i) % SLOTS] as number), Array.from({ length: n }, (_, i) => slots[(head + i) % SLOTS] as number)],
    resume([kept = [], at = []]) {
      this.forget()
      kept.forEach((v, i) => {
        const slot = at[i]
        if (slot !== undefined && Number.isFinite(v) && slot > newest) put(v, slot)
      })
    },
    forget() {
      n = 0
      newest = Number.NEGATIVE_INFINITY
    },
  }
}
