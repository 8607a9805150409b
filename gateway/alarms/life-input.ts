/** What can happen to an alarm: the plant, the clock, a rule, a person. */
import type { AlarmEvent, AlarmState, EventKind } from './alarm.ts'
import { applyEvent, type Life } from './life.ts'
import type { ShelfBound } from './shelf-bound.ts'

/** What the transitions need to know of the definition. */
export interface LifeFacts {
  readonly alarm: string
  readonly latching: boolean
  /** false for alerts: shown steady, never asks for an answer (ALM-T32). */
  readonly answerRequired: boolean
  readonly defVersion: number
}

interface ByPerson {
  readonly atMs: number
  readonly by: string
  /** The version the person saw; null: not compared. */
  readonly version: number | null
}

interface Answer extends ByPerson {
  readonly occurrence: string
  readonly note: string | null
}

export type PersonInput =
  | (Answer & { readonly kind: 'acknowledge' })
  | (Answer & { readonly kind: 'reset' })
  | (ByPerson & { readonly kind: 'shelve'; readonly untilMs: number; readonly oneShot: boolean; readonly reason: string; readonly bound: ShelfBound })
  | (ByPerson & { readonly kind: 'unshelve' })
  | (ByPerson & { readonly kind: 'out-of-service'; readonly reason: string; readonly measure: string; readonly reviewMs: number })
  | (ByPerson & { readonly kind: 'in-service' })

export type LifeInput =
  | PersonInput
  | { readonly kind: 'raise'; readonly atMs: number; readonly value: number | null; readonly limit: number | null; readonly unit: string; readonly note?: string }
  | { readonly kind: 'clear'; readonly atMs: number; readonly value: number | null }
  | { readonly kind: 're-alarm'; readonly atMs: number }
  | { readonly kind: 'hold'; readonly atMs: number }
  | { readonly kind: 'release'; readonly atMs: number }
  /** Ends an occurrence without the plant or a person: the alarm is gone from the site file, or its time to auto-close is over. */
  | { readonly kind: 'close'; readonly atMs: number; readonly note: string }
  | { readonly kind: 'shelf-over'; readonly atMs: number }
  /** `level`: a higher level of the same signal speaks for this one. */
  | { readonly kind: 'suppress'; readonly atMs: number; readonly ruleId: string; readonly reason: string; readonly level: boolean }
  /** Its cause is gone: it ends at `endsMs`, unless the cause comes back. */
  | { readonly kind: 'settle'; readonly atMs: number; readonly endsMs: number; readonly answeredBy: string | null }
  /** `level`: an answer given to the higher level, or to this one before, still counts. */
  | { readonly kind: 'unsuppress'; readonly atMs: number; readonly level: boolean }
  | { readonly kind: 'review-due'; readonly atMs: number }

export interface Refusal {
  readonly code: 'stale-occurrence' | 'stale-version' | 'not-allowed'
  readonly message: string
}

export interface Outcome {
  readonly life: Life
  readonly events: readonly AlarmEvent[]
  readonly refused: Refusal | null
}

/** Occurrences are named by alarm, moment and number; a number is never used twice. */
export const nameOf = (facts: Pick<LifeFacts, 'alarm'>, atMs: number, count: number): string => `${facts.alarm}@${atMs}-${count}`

/** A life while an input is being worked out: every event told is applied at once. */
export interface Course {
  life: Life
  readonly atMs: number
  readonly events: AlarmEvent[]
  tell(kind: EventKind, state: AlarmState, more?: Partial<AlarmEvent>): void
}

export function courseOf(life: Life, facts: LifeFacts, atMs: number, nowMs: number): Course {
  const course: Course = {
    life,
    atMs,
    events: [],
    tell(kind, state, more = {}) {
      const was = course.life
      const event: AlarmEvent = {
        alarm: facts.alarm,
        occurrence: was.occurrence ?? '',
        kind,
        atMs,
        recordedMs: nowMs,
        state,
        value: was.value,
        limit: was.limit,
        unit: was.unit,
        by: null,
        note: null,
        defVersion: facts.defVersion,
        ...more,
      }
      course.events.push(event)
      course.life = applyEvent(was, event)
    },
  }
  return course
}
