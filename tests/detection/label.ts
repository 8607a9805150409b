/** What was planted, and what was told of it: all that scoring knows. Times in ms since 1970 UTC. */
import type { Priority } from '../../gateway/alarms/alarm.ts'
import type { Trouble } from './groups.ts'
import type { Level, Seen } from './scenarios.ts'

/** One planted fault or look-alike. */
export interface Label {
  readonly id: string
  readonly site: string
  readonly level: Level
  /** Row of the scenario table. */
  readonly scenario: string
  readonly alike: boolean
  readonly onsetMs: number
  /** Put right, or over. */
  readonly endMs: number
  /** After this, telling of it helps nobody. */
  readonly helpsToMs: number
  /** Until then alarms may be its consequence. */
  readonly explainsToMs: number
  readonly names: readonly Trouble[]
  readonly follows: readonly Trouble[]
  readonly seen: Seen
  /** Air is lost. */
  readonly air: boolean
  /** When the oxygen of the first aerated tank truly fell below 1 mg/L, or null: not while the fault lasted. Filled in by the run. */
  readonly noOxygenMs?: number | null
}

/** One annunciation. */
export interface Annunciation {
  readonly site: string
  readonly alarm: string
  readonly trouble: Trouble | 'any'
  readonly priority: Priority
  /** When it woke somebody, at once or later; null: it did not. */
  readonly wokeMs: number | null
  /** It rang while the desk was staffed. */
  readonly called: boolean
  /** Event time. */
  readonly atMs: number
  /** When it could be told. */
  readonly toldMs: number
  /** null: it still stood at the end. */
  readonly clearedMs: number | null
  /** Was the water, or the machine, really so? null: the rule has no such question. */
  readonly soInTruth: boolean | null
  readonly value: number | null
}

export interface LoopRun {
  readonly site: string
  readonly level: Level
  readonly fromMs: number
  readonly toMs: number
  readonly reportEveryMs: number
  readonly labels: readonly Label[]
  readonly told: readonly Annunciation[]
  readonly counters: Readonly<Record<string, number>>
  readonly troubles: readonly string[]
}
