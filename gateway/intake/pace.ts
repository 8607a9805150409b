/** How fast one sender may go: so many at once, then so many a second. */
export interface Pace {
  /** Counts one and says how long its answer should wait, ms; 0: not at all. */
  waitMs(steadyMs: number): number
}

export function createPace(perS: number, burst: number): Pace {
  let left = burst
  let atMs: number | null = null
  return {
    waitMs(steadyMs) {
      if (atMs !== null) left = Math.min(burst, left + ((steadyMs - atMs) * perS) / 1000)
      atMs = steadyMs
      left--
      return left >= 0 ? 0 : Math.ceil((-left * 1000) / perS)
    },
  }
}
