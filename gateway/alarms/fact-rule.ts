/**
 * A condition told from outside the readings: somebody's check-out is overdue, a machine does not run again. Whoever tells it says it again
 * when it changes, and once after a restart; until then the alarm stands as the journal left it.
 */
import type { Rule } from './alarm.ts'
import type { Delays } from './delay.ts'
import type { ReadyRule, Verdict } from './rules/ready.ts'
import type { SignalMemory } from './signal-memory.ts'

export interface Fact {
  readonly active: boolean
  /** When it became so. */
  readonly atMs: number
  readonly value: number | null
  readonly unit: string
  /** Which machine, who: goes into the journal with the raise. */
  readonly note?: string
}

interface Word {
  readonly fact: Fact
  readonly steadyMs: number
}

const NOTHING: readonly SignalMemory[] = []

export class FactRule implements ReadyRule {
  readonly reads: readonly SignalMemory[] = NOTHING
  readonly limit = null
  private readonly timing: Delays
  private word: Word | null = null

  constructor(rule: Extract<Rule, { kind: 'fact' }>) {
    this.timing = { onMs: rule.onDelayMs, offMs: rule.offDelayMs }
  }

  get unit(): string {
    return this.word?.fact.unit ?? '1'
  }

  judge(): Verdict {
    return this.word === null ? 'unknown' : this.word.fact.active ? 'violated' : 'cleared'
  }

  restsOn(): null {
    return null
  }

  value(): number | null {
    return this.word?.fact.value ?? null
  }

  delays(): Delays {
    return this.timing
  }

  /** Newest word; null: nothing told since the start. */
  told(): Word | null {
    return this.word
  }

  tell(fact: Fact, steadyMs: number): void {
    this.word = { fact, steadyMs }
  }
}
