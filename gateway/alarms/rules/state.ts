import type { ConditionOf } from '../rule.ts'
import { known } from '../signal-memory.ts'
import type { Place, ReadyCondition } from './ready.ts'

export function stateCondition(c: ConditionOf<'state'>, { find }: Place): ReadyCondition | null {
  const m = find(c.signal)
  if (!m) return null
  return {
    reads: [m],
    unit: m.unit,
    limit: null,
    judge: () => (known(m) ? (m.value === c.value ? 'violated' : 'cleared') : 'unknown'),
    restsOn: () => m,
    value: () => m.value,
  }
}
