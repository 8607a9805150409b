/**
 * A condition told from outside the readings: somebody's check-out is overdue, a machine does not run again. Whoever tells it says it again
 * when it changes, and once after a restart; until then the alarm stands as the journal left it.
 */
import type { Rule } from './alarm.ts'
import type { Delays } from './delay.ts'
import type { ReadyRule } from './rules.ts'

export interface Fact {
  readonly active: boolean
  /** When it became so. */
  readonly atMs: number
  readonly value: number | null
  readonly unit: string
  /** Which machine, who: goes into the journal with the raise. */
  readonly note?: string
}

export interface FactRule extends ReadyRule {
  /** Newest word; null: nothing told since the start. */
  readonly told: () => { readonly fact: Fact; readonly steadyMs: number } | null
  tell(fact: Fact, steadyMs: number): void
}

export function factRule(rule: Extract<Rule, { kind: 'fact' }>): FactRule {
  const delays: Delays = { onMs: rule.onDelayMs, offMs: rule.offDelayMs }
  let told: { readonly fact: Fact; readonly steadyMs: number } | null = null
  return {
    reads: [],
    get unit() {
      return told?.fact.unit ?? '1'
    },
    limit: null,
    judge: () => (told === null ? 'unknown' : told.fact.active ? 'violated' : 'cleared'),
    restsOn: () => null,
    value: () => told?.fact.value ?? null,
    delays: () => delays,
    told: () => told,
    tell(fact, steadyMs) {
      told = { fact, steadyMs }
    },
  }
}
