/**
 * How wrong the clock of a site's controllers is: the median of "arrived minus newest time in the message" over its last
 * messages. A store that empties itself gives ever other differences, a clock that is off always the same one; so the median counts
 * only while most differences lie close to it.
 */
export interface ClockOffset {
  /** One message: newest time in it as sent, and when it came. */
  note(sentMs: number, receivedMs: number): void
  /** ms the clock is behind ours (the way included); negative: ahead; null: not enough messages, or no steady difference. */
  behindMs(): number | null
  /** Change of it, ms a day, over at least an hour; null: not known. */
  driftMsPerDay(): number | null
}

const KEPT = 31
const LEAST = 5
/** more is told. */
export const CLOCK_TOLD_MS = 60_000
const STEADY_MS = 30_000
const HOUR_MS = 3_600_000

export function createClockOffset(): ClockOffset {
  const ring: number[] = []
  let at = 0
  let cached: number | null | undefined
  let first: { readonly atMs: number; readonly behindMs: number } | null = null
  let lastMs = 0
  const behindMs = (): number | null => {
    if (cached === undefined) cached = steadyMedian(ring)
    return cached
  }
  return {
    note(sentMs, receivedMs) {
      ring[at] = receivedMs - sentMs
      at = (at + 1) % KEPT
      cached = undefined
      lastMs = receivedMs
      if (first === null && ring.length >= LEAST) {
        const now = behindMs()
        if (now !== null) first = { atMs: receivedMs, behindMs: now }
      }
    },
    behindMs,
    driftMsPerDay() {
      const now = behindMs()
      if (now === null || first === null || lastMs - first.atMs < HOUR_MS) return null
      return ((now - first.behindMs) * 24 * HOUR_MS) / (lastMs - first.atMs)
    },
  }
}

function steadyMedian(all: readonly number[]): number | null {
  if (all.length < LEAST) return null
  const m = median(all)
  return median(all.map((v) => Math.abs(v - m))) <= STEADY_MS ? m : null
}

function median(all: readonly number[]): number {
  const ascending = all.toSorted((a, b) => a - b)
  return ascending[ascending.length >> 1] ?? 0
}
