/**
 * The life of one alarm as facts (ALM-S1..S9): its own state, the occurrence that stands, and what lies over it. One journalled
 * event upon a life gives the next; a life is nothing but its events, so a journal rebuilds exactly what was in memory.
 */
import type { AlarmEvent, AlarmState } from './alarm.ts'
import { isHidden, NO_OVERLAY, type Overlays } from './overlay.ts'

/** What is remembered of an alarm. In `normal` nothing of a past occurrence is left but the count and its acknowledgement. */
export interface Life extends Overlays {
  readonly state: AlarmState
  readonly occurrence: string | null
  /** Goes up by one with every event. */
  readonly version: number
  /** Occurrences so far, hidden ones too. */
  readonly count: number
  /** Since when the condition has been there. */
  readonly raisedMs: number | null
  readonly clearedMs: number | null
  /** At the raise. */
  readonly value: number | null
  readonly limit: number | null
  readonly unit: string
  readonly acknowledgedBy: string | null
  readonly acknowledgedMs: number | null
  /** Newest occurrence a person has acknowledged, kept after it is closed: the same answer may arrive twice. */
  readonly acknowledgedOccurrence: string | null
  readonly note: string | null
  /** What was said at the raise (which machine, who), kept beside what people answer. */
  readonly raisedNote: string | null
  readonly heldSinceMs: number | null
  /** The standing occurrence has been told; false: it began below an overlay. */
  readonly announced: boolean
  /** Raises below what lies over it now, or lay over it last. */
  readonly hiddenCount: number
  /** How often the standing occurrence was announced again. */
  readonly reAlarms: number
  /** Number of the loop's trouble that this alarm began last; null: none. */
  readonly firstOut: number | null
}

export const BORN: Life = {
  ...NO_OVERLAY,
  state: 'normal',
  occurrence: null,
  version: 0,
  count: 0,
  raisedMs: null,
  clearedMs: null,
  value: null,
  limit: null,
  unit: '',
  acknowledgedBy: null,
  acknowledgedMs: null,
  acknowledgedOccurrence: null,
  note: null,
  raisedNote: null,
  heldSinceMs: null,
  announced: false,
  hiddenCount: 0,
  reAlarms: 0,
  firstOut: null,
}

/** The condition holds, answered or not. */
export const isActive = (life: Pick<Life, 'state'>): boolean => life.state === 'unacknowledged' || life.state === 'acknowledged'

/** One journalled event upon the life it happened to. */
export function applyEvent(life: Life, e: AlarmEvent): Life {
  const next = changed({ ...life, version: life.version + 1 }, e)
  return e.facts?.firstOut === undefined ? next : { ...next, firstOut: e.facts.firstOut }
}

function changed(life: Life, e: AlarmEvent): Life {
  switch (e.kind) {
    case 'raised':
      // Journals written before re-alarms had a name of their own say `raised` twice.
      if (e.occurrence === life.occurrence) return { ...unanswered(life), state: e.state, announced: true, reAlarms: life.reAlarms + Number(life.announced) }
      return { ...begun(life, e), note: e.note, announced: true }
    case 'raised-hidden':
      return { ...begun(life, e), note: e.note, hiddenCount: life.hiddenCount + 1 }
    case 're-alarmed':
      return { ...unanswered(life), state: e.state, reAlarms: life.reAlarms + 1 }
    case 'cleared':
      return e.state === 'normal' ? ended(life) : { ...life, state: e.state, clearedMs: e.atMs }
    case 'cleared-hidden':
      return e.state === 'normal' ? ended(life) : { ...unanswered(life), state: e.state, clearedMs: e.atMs }
    case 'acknowledged': {
      const answered = { ...life, state: e.state, acknowledgedBy: e.by, acknowledgedMs: e.atMs, acknowledgedOccurrence: e.occurrence, note: e.note }
      return e.state === 'normal' ? ended(answered) : answered
    }
    case 'reset':
    case 'closed':
      return ended(life)
    case 'held':
      return { ...life, heldSinceMs: e.atMs }
    case 'released':
      return { ...life, heldSinceMs: null }
    case 'shelved':
      return { ...covered(life), shelved: { untilMs: e.facts?.untilMs ?? e.atMs, oneShot: e.facts?.oneShot === true, by: e.by ?? '', reason: e.note ?? '', atMs: e.atMs } }
    case 'suppressed':
    case 'stepped-up': {
      const ruleId = e.facts?.ruleId ?? ''
      const sinceMs = life.suppressed?.ruleId === ruleId ? life.suppressed.atMs : e.atMs
      return { ...covered(life), suppressed: { ruleId, reason: e.note ?? '', atMs: sinceMs, endsMs: e.facts?.untilMs ?? null, answeredBy: e.facts?.answeredBy ?? null } }
    }
    case 'out-of-service':
      return {
        ...covered(life),
        outOfService: { by: e.by ?? '', reason: e.note ?? '', measure: e.facts?.measure ?? '', reviewMs: e.facts?.untilMs ?? e.atMs, atMs: e.atMs, overdue: false },
      }
    case 'review-overdue':
      return { ...life, outOfService: life.outOfService && { ...life.outOfService, overdue: true } }
    case 'unshelved':
      return uncovered({ ...life, shelved: null }, e)
    case 'unsuppressed':
      return uncovered({ ...life, suppressed: null }, e)
    case 'in-service':
      return uncovered({ ...life, outOfService: null }, e)
  }
}

/** What goes on whatever occurrence stands. */
const lasting = (l: Life) => ({
  version: l.version,
  count: l.count,
  acknowledgedOccurrence: l.acknowledgedOccurrence,
  shelved: l.shelved,
  suppressed: l.suppressed,
  outOfService: l.outOfService,
  hiddenCount: l.hiddenCount,
  firstOut: l.firstOut,
})

const ended = (life: Life): Life => ({ ...BORN, ...lasting(life) })

const begun = (life: Life, e: AlarmEvent): Life => ({
  ...BORN,
  ...lasting(life),
  state: e.state,
  occurrence: e.occurrence,
  count: life.count + 1,
  raisedMs: e.facts?.sinceMs ?? e.atMs,
  value: e.value,
  limit: e.limit,
  unit: e.unit,
  raisedNote: e.note,
})

const unanswered = (life: Life): Life => ({ ...life, acknowledgedBy: null, acknowledgedMs: null, acknowledgedOccurrence: null })

const covered = (life: Life): Life => (isHidden(life) ? life : { ...life, hiddenCount: 0 })

/** Something no longer lies over it; the event says what it shows then. */
function uncovered(life: Life, e: AlarmEvent): Life {
  if (e.state === 'normal') return ended(life)
  if (e.facts?.answeredBy !== undefined) {
    return { ...life, state: e.state, announced: true, acknowledgedBy: e.facts.answeredBy, acknowledgedMs: e.atMs, acknowledgedOccurrence: e.occurrence }
  }
  return e.state === life.state ? life : { ...unanswered(life), state: e.state }
}

/** The state every alarm is in after these events, oldest first. */
export function rebuild(events: Iterable<AlarmEvent>): Map<string, Life> {
  const lives = new Map<string, Life>()
  for (const e of events) lives.set(e.alarm, applyEvent(lives.get(e.alarm) ?? BORN, e))
  return lives
}
