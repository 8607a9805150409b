/** A slow move one way, told from noise by the interval of its slope. */
import { judgeLimit, makeLimit } from '../limit.ts'
import type { ConditionOf } from '../rule.ts'
import { known } from '../signal-memory.ts'
import type { Place, ReadyCondition } from './ready.ts'
import { createSlottedLine } from './slotted-line.ts'

export function driftCondition(c: ConditionOf<'drift'>, { find, learns, calm }: Place): ReadyCondition | null {
  const m = find(c.signal)
  if (!m) return null
  const limit = makeLimit(c.side, c.perDay, c.deadband)
  const line = createSlottedLine(`${c.signal} line ${c.spanMs}`, c.spanMs)
  return {
    reads: [m],
    unit: m.unit,
    limit: c.perDay,
    take: (s, atMs) => {
      if (learns(atMs) && calm()) line.add(s.value, atMs)
    },
    judge: () => {
      const l = line.line()
      return !known(m) || !l ? 'unknown' : judgeLimit(c.side === 'high' ? l.low : l.high, limit)
    },
    restsOn: () => m,
    value: () => line.line()?.slope ?? null,
    learned: [line.learned],
  }
}
