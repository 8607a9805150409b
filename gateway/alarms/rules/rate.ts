/**
 * How fast a value changes over a span, in a way that neither one spike nor a step of the resolution can move:
 *
 *     oldest third        middle third        newest third
 *     . . * . . .         . . . . . .         . . . * . .
 *      middle value -------- change / time -------- middle value
 *
 * At most 60 readings of a span are remembered; where more come, the first of each sixtieth stands for it.
 * cost  two medians of at most 20 figures per reading; 1.5 kB a rule
 */
import { judgeLimit, makeLimit, ROUNDING } from '../limit.ts'
import type { ConditionOf } from '../rule.ts'
import { known } from '../signal-memory.ts'
import type { Place, ReadyCondition } from './ready.ts'
import { createRing, keepRing, resumeRing, type Ring } from './ring.ts'

const SLOTS = 60
/** Readings in either outer third from which one of them may be a spike. */
const LEAST = 3

export function rateCondition(c: ConditionOf<'rate'>, { find }: Place): ReadyCondition | null {
  const m = find(c.signal)
  if (!m) return null
  const limit = makeLimit(c.side, c.limit, c.deadband)
  const ring = createRing(SLOTS + 1)
  const slotMs = c.spanMs / SLOTS
  let slot = Number.NEGATIVE_INFINITY
  let rate = Number.NaN
  return {
    reads: [m],
    unit: m.unit,
    limit: c.limit,
    take: (s, atMs) => {
      const now = Math.floor(atMs / slotMs)
      if (now <= slot) return
      slot = now
      ring.dropOlder(atMs - c.spanMs)
      ring.push(s.value, atMs)
      rate = ratePerMs(ring, c.spanMs, s.resolution) * c.perMs
    },
    judge: () => (!known(m) || Number.isNaN(rate) ? 'unknown' : judgeLimit(rate, limit)),
    restsOn: () => m,
    value: () => rate,
    learned: [
      {
        shape: `${c.signal} course ${c.spanMs}`,
        keep: () => keepRing(ring),
        resume([values, times]) {
          resumeRing(ring, values, times)
          if (ring.count() === 0) return
          slot = Math.floor(ring.time(ring.count() - 1) / slotMs)
          rate = ratePerMs(ring, c.spanMs, m.resolution) * c.perMs
        },
        forget() {
          ring.clear()
          rate = Number.NaN
        },
      },
    ],
  }
}

/** NaN: too few readings in either third. Readings are those of the last `spanMs`, oldest first. */
function ratePerMs(ring: Ring, spanMs: number, resolution: number): number {
  const n = ring.count()
  const endMs = ring.time(n - 1)
  let early = 0
  while (early < n && ring.time(early) <= endMs - (2 / 3) * spanMs) early++
  let late = n
  while (late > 0 && ring.time(late - 1) >= endMs - spanMs / 3) late--
  if (early < LEAST || n - late < LEAST) return Number.NaN
  const change = ring.middle(late, n) - ring.middle(0, early)
  if (Math.abs(change) <= resolution * (1 + ROUNDING)) return 0
  return change / (mean(ring, late, n) - mean(ring, 0, early))
}

function mean(ring: Ring, from: number, to: number): number {
  const base = ring.time(from)
  let sum = 0
  for (let i = from; i < to; i++) sum += ring.time(i) - base
  return base + sum / (to - from)
}
