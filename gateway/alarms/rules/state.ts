import type { ConditionOf } from '../rule.ts'
import { known, type SignalMemory } from '../signal-memory.ts'
import type { Place, ReadyCondition, Verdict } from './ready.ts'

export function stateCondition(c: ConditionOf<'state'>, { find }: Place): ReadyCondition | null {
  const m = find(c.signal)
  return m && new StateValue(m, c.value)
}

class StateValue implements ReadyCondition {
  readonly reads: readonly SignalMemory[]
  private readonly m: SignalMemory
  private readonly bad: 0 | 1

  constructor(m: SignalMemory, bad: 0 | 1) {
    this.reads = [m]
    this.m = m
    this.bad = bad
  }

  get unit(): string {
    return this.m.unit
  }

  get limit(): null {
    return null
  }

  judge(): Verdict {
    return known(this.m) ? (this.m.value === this.bad ? 'violated' : 'cleared') : 'unknown'
  }

  restsOn(): SignalMemory {
    return this.m
  }

  value(): number {
    return this.m.value
  }
}
