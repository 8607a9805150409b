/**
 * Bounded memory of a rule: the last `size` figures with their times, and medians of few figures. Plain insertion sort: up to some
 * thirty figures it beats everything cleverer, and it allocates nothing.
 */
export interface Ring {
  readonly size: number
  count(): number
  /** 0: the oldest. */
  at(i: number): number
  time(i: number): number
  push(value: number, atMs: number): void
  /** Replaces the newest. */
  amend(value: number, atMs: number): void
  dropOlder(thanMs: number): void
  clear(): void
  /** Middle of the figures from the `from`-th to before the `to`-th, oldest first; the mean of the middle two of an even number. */
  middle(from: number, to: number): number
}

/** Where medians are sorted: nobody keeps anything in it between two calls. */
let sorted = new Float64Array(64)

export function createRing(size: number): Ring {
  const values = new Float64Array(size)
  const times = new Float64Array(size)
  if (sorted.length < size) sorted = new Float64Array(size)
  let head = 0
  let n = 0
  const place = (i: number): number => {
    const p = head + i
    return p >= size ? p - size : p
  }
  return {
    size,
    count: () => n,
    at: (i) => values[place(i)] as number,
    time: (i) => times[place(i)] as number,
    push(value, atMs) {
      if (n === size) head = place(1)
      else n++
      const p = place(n - 1)
      values[p] = value
      times[p] = atMs
    },
    amend(value, atMs) {
      const p = place(n - 1)
      values[p] = value
      times[p] = atMs
    },
    dropOlder(thanMs) {
      while (n > 0 && (times[head] as number) < thanMs) {
        head = place(1)
        n--
      }
    },
    clear() {
      n = 0
    },
    middle(from, to) {
      let m = 0
      for (let i = from; i < to; i++) {
        const v = values[place(i)] as number
        let j = m++
        while (j > 0 && (sorted[j - 1] as number) > v) {
          sorted[j] = sorted[j - 1] as number
          j--
        }
        sorted[j] = v
      }
      return m === 0 ? Number.NaN : m % 2 === 1 ? (sorted[m >> 1] as number) : ((sorted[m / 2 - 1] as number) + (sorted[m / 2] as number)) / 2
    },
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
