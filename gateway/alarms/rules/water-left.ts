import { judgeLimit, makeLimit } from '../limit.ts'
import type { RuleOf } from '../rule.ts'
import { known } from '../signal-memory.ts'
import type { Place, ReadyCondition } from './ready.ts'

/** The tank is watched from this long before the yard opens. */
const BEFORE_OPENING_MS = 3_600_000

/** Minutes of washing in a finished-water tank: what stands above `emptyPct`, at one lance. Litres = percent / 100 x litres to the overflow. */
export function minutesLeft(levelPct: number, t: { readonly volumeL: number; readonly lanceLPerMin: number; readonly emptyPct: number }): number {
  return (Math.max(0, levelPct - t.emptyPct) / 100) * (t.volumeL / t.lanceLPerMin)
}

export function waterLeft(rule: RuleOf<'water-left'>, { find, isOpen }: Place): ReadyCondition | null {
  const m = find(rule.level)
  if (!m) return null
  const limit = makeLimit('low', rule.belowMin, rule.deadbandMin)
  return {
    reads: [m],
    unit: 'min',
    limit: rule.belowMin,
    judge: (atMs) => {
      if (!known(m)) return 'unknown'
      const j = judgeLimit(minutesLeft(m.value, rule), limit)
      return j === 'violated' && !isOpen(atMs) && !isOpen(atMs + BEFORE_OPENING_MS) ? 'inside' : j
    },
    restsOn: () => m,
    value: () => minutesLeft(m.value, rule),
  }
}
