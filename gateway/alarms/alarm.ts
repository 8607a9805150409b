/**
 * The words of the alarm engine: what an alarm is (definition with its rationalisation record), what state it is in, and
 * what happens to it. States and transitions follow ISA-18.2 / IEC 62682 (ALM-S1..S9, ALM-T01..T33).
 */
import type { Rule } from './rule.ts'
import type { Overlays, OverlayState } from './overlay.ts'

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

/** State of the alarm itself. What lies over it (shelved, suppressed, out of service) are facts beside it: overlay.ts. */
export type AlarmState = 'normal' | 'unacknowledged' | 'acknowledged' | 'returned' | 'latched-unacknowledged' | 'latched-acknowledged'

/** What people see: out of service before suppressed before shelved before the state itself. */
export type ShownState = AlarmState | OverlayState

export const EVENT_KINDS = [
  /** Announced: a new occurrence, or one that was hidden until now. */
  'raised',
  'cleared',
  'acknowledged',
  'reset',
  'held',
  'released',
  'closed',
  /** Announced again: acknowledged, still there, and nobody has been heard of since. */
  're-alarmed',
  /** A higher level of the same signal has been raised and speaks for this one. */
  'stepped-up',
  /** The condition came or went below an overlay: written down, counted, told to nobody. */
  'raised-hidden',
  'cleared-hidden',
  'shelved',
  'unshelved',
  'suppressed',
  'unsuppressed',
  'out-of-service',
  'in-service',
  'review-overdue',
] as const
export type EventKind = (typeof EVENT_KINDS)[number]

/** Kinds that call for somebody: each is one annunciation, and no occurrence is `raised` twice. */
export const announces = (kind: EventKind): boolean => kind === 'raised' || kind === 're-alarmed'

/** What an event says beyond the common fields; which of them depends on its kind. */
export interface EventFacts {
  /** shelved: end of the shelf. suppressed: when it ends, its cause being gone. out-of-service: date of review. */
  readonly untilMs?: number
  readonly oneShot?: true
  readonly ruleId?: string
  readonly measure?: string
  /** raised, after something hid it: since when the condition has been there. */
  readonly sinceMs?: number
  /** This alarm is the first of its loop since all were normal; counts such beginnings. */
  readonly firstOut?: number
  /** unsuppressed: who has answered what stood in its place. */
  readonly answeredBy?: string
}

/** What the engine tells the journal; `seq` is given by the journal. */
export interface AlarmEvent {
  readonly alarm: string
  /** Empty when nothing stands, as when a normal alarm is shelved. */
  readonly occurrence: string
  readonly kind: EventKind
  /** Event time: when the condition became true (source time), or when the person acted. */
  readonly atMs: number
  /** When we wrote it down. */
  readonly recordedMs: number
  readonly state: AlarmState
  readonly value: number | null
  readonly limit: number | null
  readonly unit: string
  readonly by: string | null
  /** What a person wrote, or why it happened: the reason of an overlay. */
  readonly note: string | null
  readonly defVersion: number
  readonly facts?: EventFacts
}

/** One alarm as people see it now. */
export interface AlarmView extends Overlays {
  readonly def: AlarmDef
  readonly state: AlarmState
  readonly shown: ShownState
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
  /** Newest word: of the raise, then of who has answered. */
  readonly note: string | null
  /** What was said at the raise: which machine, who. */
  readonly raisedNote: string | null
  /** Input bad or stale since then: state is held. */
  readonly heldSinceMs: number | null
  readonly count: number
  /** Raises that nobody was told of since something lies over it. */
  readonly hiddenCount: number
  /** How often this occurrence was announced again after an answer. */
  readonly reAlarms: number
  /** The first of its loop since all alarms of the loop were normal. */
  readonly firstOut: boolean
}

export type ActionResult =
  | { readonly ok: true; readonly view: AlarmView }
  | { readonly ok: false; readonly code: 'unknown-alarm' | 'stale-occurrence' | 'stale-version' | 'not-allowed'; readonly message: string }
