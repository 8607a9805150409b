/**
 * The words of the alarm engine: what an alarm is (definition with its rationalisation record), what state it is in, and
 * what happens to it. States and transitions follow ISA-18.2 / IEC 62682 (ALM-S1..S9, ALM-T01..T33).
 */
import type { Rule } from './rule.ts'

export type Priority = 'high' | 'medium' | 'low' | 'alert'
export const PRIORITIES: readonly Priority[] = ['high', 'medium', 'low', 'alert']

export type { Rule } from './rule.ts'

export interface AlarmDef {
  /** `<site>/<rule>`, for instance `kestrow-berth-3/bio1.do.low`; never reused for another meaning. */
  readonly id: string
  readonly site: string
  /** Stage the ring opens at; null: the whole site. */
  readonly stage: string | null
  readonly rule: Rule
  readonly priority: Priority
  /** State of the plant in the trade's words: "No air in bio tank 1". */
  readonly what: string
  readonly cause: string
  readonly consequence: string
  /** Steps, place first, at most three shown at once. */
  readonly action: readonly string[]
  readonly confirm: string
  readonly respondWithinMin: number
  /** Ids of cautions.ts that belong beside it. */
  readonly cautions: readonly string[]
  /** Where the limit comes from. */
  readonly basis: string
  readonly class: 'safety' | 'environment' | 'process' | 'equipment' | 'system'
  readonly severity: 'severe' | 'major' | 'minor'
  readonly latching: boolean
  /** Protection in the yard that should act before any person can (protections.ts); null: none is expected. */
  readonly protection: string | null
  /** Role that answers for this alarm being right; a site file may name a person. */
  readonly owner: string
  /** Local date somebody last went through it for this site; null: nobody has yet. */
  readonly reviewedOn: string | null
  /** Local date of the next review. */
  readonly reviewBy: string | null
  readonly version: number
}

/** Displayed base state. What lies over it (shelved, suppressed, out of service) would be separate facts. */
export type AlarmState = 'normal' | 'unacknowledged' | 'acknowledged' | 'returned' | 'latched-unacknowledged' | 'latched-acknowledged'

/** What the engine tells the journal; `seq` is given by the journal. */
export interface AlarmEvent {
  readonly alarm: string
  readonly occurrence: string
  readonly kind: 'raised' | 'cleared' | 'acknowledged' | 'reset' | 'held' | 'released' | 'closed'
  /** Event time: when the condition became true (source time), or when the person acted. */
  readonly atMs: number
  /** When we wrote it down. */
  readonly recordedMs: number
  readonly state: AlarmState
  readonly value: number | null
  readonly limit: number | null
  readonly unit: string
  readonly by: string | null
  readonly note: string | null
  readonly defVersion: number
}

/** One alarm as people see it now. */
export interface AlarmView {
  readonly def: AlarmDef
  readonly state: AlarmState
  /** Id of the standing occurrence; null in normal. */
  readonly occurrence: string | null
  /** Goes up with every change; an action must name the version it saw. */
  readonly version: number
  readonly raisedMs: number | null
  readonly clearedMs: number | null
  readonly value: number | null
  readonly limit: number | null
  readonly unit: string
  readonly acknowledgedBy: string | null
  readonly acknowledgedMs: number | null
  readonly note: string | null
  /** Input bad or stale since then: state is held. */
  readonly heldSinceMs: number | null
  readonly count: number
}

export type ActionResult =
  | { readonly ok: true; readonly view: AlarmView }
  | { readonly ok: false; readonly code: 'unknown-alarm' | 'stale-occurrence' | 'stale-version' | 'not-allowed'; readonly message: string }
