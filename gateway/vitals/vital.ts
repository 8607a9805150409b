/**
 * A vital: a computed signal that tells how the biology or a machine is doing, what it is computed from, and what it says now.
 * It either tells a figure, with an interval where one can be given, or it is withheld and says why and what would unlock it.
 */
import type { EntryKind } from '../log/entry.ts'
import type { Grade } from './grade.ts'

export interface Withholding {
  /** Ends the sentence "withheld, because ...". */
  readonly why: string
  /** Signal, meter, test or log entry that would change it. */
  readonly unlock: string
}

export interface VitalDef {
  /** `bio1.do.saturation`; never the id of a measured signal of the site. */
  readonly id: string
  readonly name: string
  /** UCUM, with its display text and its spoken words. */
  readonly unit: string
  readonly unitText: string
  readonly unitSpoken: string
  readonly digits: number
  /** Stage it speaks of; null: the loop as a whole. */
  readonly tank: string | null
  /** Signals it is computed from. */
  readonly inputs: readonly string[]
  /** Kinds of log entry it needs besides. */
  readonly entries: readonly EntryKind[]
  /** In words and letters, for the panel "How this was computed". */
  readonly formula: string
  readonly source: string
  /** Span of readings behind one figure. */
  readonly window: string
  /** Not to be told on this loop at all; null: it can be. */
  readonly unobservable: Withholding | null
}

/** One thing a figure stands on. */
export interface Input {
  /** Signal id, or `log` for an entry of the site log, or `site` for a fact of the site file. */
  readonly from: string
  readonly what: string
  readonly value: number | null
  readonly unit: string
  readonly atMs: number | null
  readonly grade: Grade | null
}

/** What `value` is when it is not the figure itself. */
export type Bound = 'at-least' | 'at-most' | 'below'

export interface Told {
  readonly kind: 'told'
  readonly value: number
  /** Eight times in ten the truth lies within; null: no interval. `high` is null when nothing bounds it. */
  readonly interval: { readonly low: number; readonly high: number | null } | null
  readonly bound: Bound | null
  /** Time the figure speaks of. */
  readonly atMs: number
  readonly grade: Grade
  readonly inputs: readonly Input[]
  readonly notes: readonly string[]
}

export interface Withheld extends Withholding {
  readonly kind: 'withheld'
  readonly atMs: number | null
  readonly inputs: readonly Input[]
}

export type Outcome = Told | Withheld

/** A vital at work. */
export interface Vital {
  readonly def: VitalDef
  /** beat: every minute of event time. hour: every full hour. event: when `version` has moved. */
  readonly pace: 'beat' | 'hour' | 'event'
  readonly version: () => number
  /** Never throws for what a loop can send. `atMs`: the moment asked about; everything up to it has been taken. */
  readonly compute: (atMs: number) => Outcome
}

/** Everything about a figure, for the panel. */
export interface Explanation {
  readonly def: VitalDef
  readonly outcome: Outcome
}

export const withheld = (why: string, unlock: string, inputs: readonly Input[] = [], atMs: number | null = null): Withheld => ({ kind: 'withheld', why, unlock, inputs, atMs })
