import { judgeLimit, makeLimit } from '../limit.ts'
import type { ConditionOf } from '../rule.ts'
import { known, type SignalMemory } from '../signal-memory.ts'
import type { Place, ReadyCondition } from './ready.ts'
import { createRing } from './ring.ts'

export function limitCondition(c: ConditionOf<'limit'>, { find }: Place): ReadyCondition | null {
  const m = find(c.signal)
  if (!m) return null
  const limit = makeLimit(c.side, c.limit, c.deadband)
  const smooth = c.medianOverMs === undefined ? null : smoothed(c.medianOverMs)
  const value = (): number => (smooth ? smooth.value() : c.end === undefined ? m.value : c.end === 'low' ? m.low : m.high)
  const plain = !smooth && c.end === undefined
  return {
    reads: [m],
    unit: m.unit,
    limit: c.limit,
    ...(smooth && { take: (s: SignalMemory, atMs: number) => smooth.add(s.value, atMs) }),
    judge: () => {
      if (!known(m)) return 'unknown'
      if (plain) return judgeLimit(m.value, limit)
      const v = value()
      return Number.isNaN(v) ? 'unknown' : judgeLimit(v, limit)
    },
    restsOn: () => m,
    value,
  }
}

const MOST = 31
/** Fewer have no middle that one wild one could not be. */
const LEAST = 3

/** Median of the readings of the last `overMs` (NaN: fewer than three), thinned to 31: where more come, the first of each thirtieth stands for it. */
export function smoothed(overMs: number): { add(value: number, atMs: number): void; value(): number } {
  const ring = createRing(MOST)
  const slotMs = overMs / (MOST - 1)
  let slot = Number.NEGATIVE_INFINITY
  let middle = Number.NaN
  return {
    add(value, atMs) {
      const s = Math.floor(atMs / slotMs)
      if (s <= slot) return
      slot = s
      ring.dropOlder(atMs - overMs)
      ring.push(value, atMs)
      middle = ring.count() < LEAST ? Number.NaN : ring.middle(0, ring.count())
    },
    value: () => middle,
  }
}
