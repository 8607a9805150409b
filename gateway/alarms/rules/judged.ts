/**
 * A rule at work: its condition, behind its gate, counted where it asks for n of m, with its delays. A gate that is shut turns `violated`
 * into `inside`: nothing is raised, and nothing that stands is cleared by closing time.
 *
 * Rules are classes and not records of closures: a getter written into an object literal gives every object a form of its own, which
 * costs about a kilobyte each and is asked several times slower. A fleet has tens of thousands, asked a million times a second.
 */
import type { Delays } from '../delay.ts'
import { isNormal, N_OF_M_START, stepNOfM, type NOfM, type NOfMState } from '../n-of-m.ts'
import type { SignalMemory } from '../signal-memory.ts'
import type { ReadyGate } from './gate.ts'
import { reading, type Learned, type ReadyCondition, type ReadyRule, type Verdict } from './ready.ts'

export interface Judging {
  readonly condition: ReadyCondition
  /** A rule whose delays move with the plant gives them itself. */
  readonly delays: Delays | ReadyRule
  /** null: always open. */
  readonly gate: ReadyGate | null
  readonly nOfM: NOfM | null
}

/** Gives a rule that takes readings in only where its condition remembers more than the newest value. */
export const judgedRule = (j: Judging): ReadyRule => (j.condition.take ? new TakingRule(j) : new JudgedRule(j))

class JudgedRule implements ReadyRule {
  readonly reads: readonly SignalMemory[]
  readonly unit: string
  protected readonly condition: ReadyCondition
  protected readonly gate: ReadyGate | null
  private readonly timing: Delays | ReadyRule
  private readonly count: Count | null

  constructor({ condition, delays, gate, nOfM }: Judging) {
    this.reads = gate === null || gate.reads.length === 0 ? condition.reads : reading(...condition.reads, ...gate.reads)
    this.unit = condition.unit
    this.condition = condition
    this.gate = gate
    this.timing = delays
    this.count = nOfM && new Count(nOfM)
  }

  get limit(): number | null {
    return this.condition.limit
  }

  get learned(): readonly Learned[] | undefined {
    const { learned } = this.condition
    return this.count === null ? learned : [...(learned ?? []), this.count]
  }

  judge(atMs: number): Verdict {
    const { gate } = this
    let v = this.condition.judge(atMs)
    if (gate !== null && (v === 'violated' || (v === 'cleared' && gate.both)) && !gate.open(atMs)) v = 'inside'
    return this.count === null || v === 'unknown' ? v : this.count.step(v, this.condition.restsOn()?.sourceMs ?? atMs)
  }

  restsOn(): SignalMemory | null {
    return this.condition.restsOn()
  }

  value(): number | null {
    return this.condition.value()
  }

  delays(): Delays {
    const { timing } = this
    return 'onMs' in timing ? timing : timing.delays()
  }
}

class TakingRule extends JudgedRule {
  take(m: SignalMemory, atMs: number): void {
    // What the gate alone reads teaches the condition nothing.
    if (this.gate === null || this.condition.reads.includes(m)) this.condition.take?.(m, atMs)
  }
}

/**
 * n of m, kept over a restart: verdicts are counted once per sample of the signal the rule rests on. Looking again at the same sample,
 * because another value of its row has come, replaces what was counted for it.
 */
class Count implements Learned {
  private readonly asked: NOfM
  private before: NOfMState = N_OF_M_START
  private after: NOfMState = N_OF_M_START
  private sampleMs = Number.NEGATIVE_INFINITY

  constructor(asked: NOfM) {
    this.asked = asked
  }

  step(v: Exclude<Verdict, 'unknown'>, sampleMs: number): Verdict {
    if (sampleMs > this.sampleMs) {
      this.sampleMs = sampleMs
      this.before = this.after
    }
    if (sampleMs === this.sampleMs) this.after = stepNOfM(this.before, v === 'violated' ? true : v === 'cleared' ? false : 'inside', this.asked)
    return this.after.active ? 'violated' : isNormal(this.after, this.asked) ? 'cleared' : 'inside'
  }

  get shape(): string {
    const { n, m, clearN, clearM } = this.asked
    return `${n} of ${m}, ${clearN} of ${clearM}`
  }

  keep(): readonly (readonly number[])[] {
    return [[Number(this.after.active), this.after.violated, this.after.normal, this.sampleMs].filter((v) => Number.isFinite(v))]
  }

  resume([kept]: readonly (readonly number[])[]): void {
    if (kept?.length !== 4) return
    const [active = 0, violated = 0, normal = 0, at = 0] = kept
    this.after = { active: active === 1, violated, normal }
    this.sampleMs = at
  }

  forget(): void {
    // What was counted is no property of the instrument.
  }
}

/** Judged by the tick alone: a site that is silent, a signal that is blind. */
export class TickedRule implements ReadyRule {
  readonly reads: readonly SignalMemory[] = NOTHING
  readonly unit = 'min'
  readonly limit: number

  constructor(afterMs: number) {
    this.limit = afterMs / 60_000
  }

  judge(): Verdict {
    return 'unknown'
  }

  restsOn(): null {
    return null
  }

  value(): null {
    return null
  }

  delays(): Delays {
    return NO_DELAY
  }
}

const NOTHING: readonly SignalMemory[] = []
const NO_DELAY: Delays = { onMs: 0, offMs: 0 }
