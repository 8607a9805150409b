/**
 * Bounded memory of a rule: the last `size` figures with their times, and medians of few figures. Plain insertion sort: up to some
 * thirty figures it beats everything cleverer, and it allocates nothing. Room is made as figures come, twice as much each time: most rings
 * of a fleet wait for weeks for their first figures.
 *
 * memory  16 bytes a figure, at most `size` of them
 */
export interface Ring {
  readonly size: number
  count(): number
  /** 0: the oldest. */
  at(i: number): number
  time(i: number): number
  push(value: number, atMs: number): void
  dropOlder(thanMs: number): void
  clear(): void
  /** Middle of the figures from the `from`-th to before the `to`-th, oldest first; the mean of the middle two of an even number. */
  middle(from: number, to: number): number
}

/** Where medians are sorted: nobody keeps anything in it between two calls. */
let sorted = new Float64Array(64)
/** Figures there is room for with the first one. */
const FIRST = 8
const EMPTY = new Float64Array(0)

export const createRing = (size: number): Ring => new Rolling(size)

class Rolling implements Ring {
  readonly size: number
  /** Figures in the first half, their times in the second; as many of either as there is room for. */
  private cells = EMPTY
  private room = 0
  private head = 0
  private n = 0

  constructor(size: number) {
    this.size = size
  }

  count(): number {
    return this.n
  }

  at(i: number): number {
    return this.cells[this.place(i)] as number
  }

  time(i: number): number {
    return this.cells[this.room + this.place(i)] as number
  }

  push(value: number, atMs: number): void {
    if (this.n === this.room && this.room < this.size) this.grow()
    if (this.n === this.size) this.head = this.place(1)
    else this.n++
    const p = this.place(this.n - 1)
    this.cells[p] = value
    this.cells[this.room + p] = atMs
  }

  dropOlder(thanMs: number): void {
    while (this.n > 0 && (this.cells[this.room + this.head] as number) < thanMs) {
      this.head = this.place(1)
      this.n--
    }
  }

  clear(): void {
    this.n = 0
  }

  middle(from: number, to: number): number {
    let m = 0
    for (let i = from; i < to; i++) {
      const v = this.at(i)
      let j = m++
      while (j > 0 && (sorted[j - 1] as number) > v) {
        sorted[j] = sorted[j - 1] as number
        j--
      }
      sorted[j] = v
    }
    return m === 0 ? Number.NaN : m % 2 === 1 ? (sorted[m >> 1] as number) : ((sorted[m / 2 - 1] as number) + (sorted[m / 2] as number)) / 2
  }

  private place(i: number): number {
    const p = this.head + i
    return p >= this.room ? p - this.room : p
  }

  private grow(): void {
    const room = Math.min(this.size, Math.max(FIRST, 2 * this.room))
    const cells = new Float64Array(2 * room)
    for (let i = 0; i < this.n; i++) {
      cells[i] = this.at(i)
      cells[room + i] = this.time(i)
    }
    this.cells = cells
    this.room = room
    this.head = 0
    if (sorted.length < room) sorted = new Float64Array(this.size)
  }
}

/** What is kept of a ring: figures, then times. */
export const keepRing = (r: Ring): readonly [readonly number[], readonly number[]] => [
  Array.from({ length: r.count() }, (_, i) => r.at(i)),
  Array.from({ length: r.count() }, (_, i) => r.time(i)),
]

/** Takes kept figures up again; what does not fit is left out. */
export function resumeRing(r: Ring, values: readonly number[] | undefined, times: readonly number[] | undefined): void {
  r.clear()
  if (!values || !times || values.length !== times.length) return
  for (let i = Math.max(0, values.length - r.size); i < values.length; i++) {
    const v = values[i]
    const t = times[i]
    if (v !== undefined && t !== undefined && Number.isFinite(v) && Number.isFinite(t)) r.push(v, t)
  }
}
