/**
 * The life of one alarm: the base states of ISA-18.2 / IEC 62682 ideas (ALM-S1..S6) and every transition between them
 * (ALM-T01..T16, T29, T31, T32). A pure function: (life, input, facts, now) -> the next life and the events that lead there.
 *
 * The next life is *nothing but* the events applied to the former one (`applyEvent`), so a journal of events rebuilds
 * exactly the state they left behind; no fact lives outside the journal.
 */
import type { AlarmEvent, AlarmState } from './alarm.ts'

/** What is remembered of an alarm. In `normal` nothing of a past occurrence is left but the count and its acknowledgement. */
export interface Life {
  readonly state: AlarmState
  readonly occurrence: string | null
  /** Goes up by one with every event. */
  readonly version: number
  /** Occurrences so far. */
  readonly count: number
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
  readonly heldSinceMs: number | null
}

export const BORN: Life = {
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
  heldSinceMs: null,
}

/** The condition holds, answered or not. */
export const isActive = (life: Life): boolean => life.state === 'unacknowledged' || life.state === 'acknowledged'

/** What the transitions need to know of the definition. */
export interface LifeFacts {
  readonly alarm: string
  readonly latching: boolean
  /** false for alerts: shown steady, never asks for an answer (ALM-T32). */
  readonly answerRequired: boolean
  readonly defVersion: number
}

export type LifeInput =
  | { readonly kind: 'raise'; readonly atMs: number; readonly value: number | null; readonly limit: number | null; readonly unit: string; readonly note?: string }
  | { readonly kind: 'clear'; readonly atMs: number; readonly value: number | null }
  | { readonly kind: 'acknowledge'; readonly atMs: number; readonly occurrence: string; readonly version: number | null; readonly by: string; readonly note: string | null }
  | { readonly kind: 'reset'; readonly atMs: number; readonly occurrence: string; readonly version: number | null; readonly by: string; readonly note: string | null }
  | { readonly kind: 're-alarm'; readonly atMs: number }
  | { readonly kind: 'hold'; readonly atMs: number }
  | { readonly kind: 'release'; readonly atMs: number }
  /** Ends an occurrence without the plant or a person: the alarm is gone from the site file, or its time to auto-close is over. */
  | { readonly kind: 'close'; readonly atMs: number; readonly note: string }

export interface Refusal {
  readonly code: 'stale-occurrence' | 'stale-version' | 'not-allowed'
  readonly message: string
}

export interface Outcome {
  readonly life: Life
  readonly events: readonly AlarmEvent[]
  readonly refused: Refusal | null
}

export function transition(life: Life, input: LifeInput, facts: LifeFacts, nowMs: number): Outcome {
  const events: AlarmEvent[] = []
  let next = life
  const tell = (kind: AlarmEvent['kind'], state: AlarmState, more: Partial<AlarmEvent> = {}): void => {
    const event: AlarmEvent = {
      alarm: facts.alarm,
      occurrence: next.occurrence ?? '',
      kind,
      atMs: input.atMs,
      recordedMs: nowMs,
      state,
      value: next.value,
      limit: next.limit,
      unit: next.unit,
      by: null,
      note: null,
      defVersion: facts.defVersion,
      ...more,
    }
    events.push(event)
    next = applyEvent(next, event)
  }
  const done = (refused: Refusal | null = null): Outcome => ({ life: next, events, refused })
  const standing = isActive(life)

  switch (input.kind) {
    case 'raise': {
      if (standing) return done()
      if (life.occurrence !== null) tell('closed', 'normal', { note: 'raised again' })
      const occurrence = `${facts.alarm}@${input.atMs}-${life.count + 1}`
      tell('raised', facts.answerRequired ? 'unacknowledged' : 'acknowledged', { occurrence, value: input.value, limit: input.limit, unit: input.unit, note: input.note ?? null })
      return done()
    }
    case 'clear': {
      if (!standing) return done()
      const answered = life.state === 'acknowledged'
      const to: AlarmState = facts.latching ? (answered ? 'latched-acknowledged' : 'latched-unacknowledged') : answered ? 'normal' : 'returned'
      // A value judged late must not end an occurrence before it began.
      tell('cleared', to, { atMs: Math.max(input.atMs, life.raisedMs ?? input.atMs), value: input.value })
      return done()
    }
    case 'acknowledge': {
      if (answeredAlready(life, input.occurrence)) return done()
      const refused = seesTheSame(life, input.occurrence, input.version)
      if (refused) return done(refused)
      const to: AlarmState = life.state === 'unacknowledged' ? 'acknowledged' : life.state === 'returned' ? 'normal' : 'latched-acknowledged'
      tell('acknowledged', to, { by: input.by, note: input.note })
      return done()
    }
    case 'reset': {
      if (life.state === 'normal' || life.state === 'returned') return done()
      const refused = seesTheSame(life, input.occurrence, input.version)
      if (refused) return done(refused)
      if (standing) return done({ code: 'not-allowed', message: 'The condition is still there: a reset is possible once it has gone.' })
      if (life.state === 'latched-unacknowledged') return done({ code: 'not-allowed', message: 'Acknowledge it first, then reset it.' })
      tell('reset', 'normal', { by: input.by, note: input.note })
      return done()
    }
    case 're-alarm':
      if (life.state === 'acknowledged' && facts.answerRequired) tell('raised', 'unacknowledged', { note: 'still there' })
      return done()
    case 'hold':
      if (life.occurrence !== null && life.heldSinceMs === null) tell('held', life.state)
      return done()
    case 'release':
      if (life.heldSinceMs !== null) tell('released', life.state)
      return done()
    case 'close':
      if (life.occurrence !== null) tell('closed', 'normal', { note: input.note })
      return done()
  }
}

/** The occurrence is already acknowledged, and no newer one stands that the answer could be mistaken for (ALM-T29). */
function answeredAlready(life: Life, occurrence: string): boolean {
  if (life.state === 'normal') return life.acknowledgedOccurrence === occurrence
  return life.occurrence === occurrence && (life.state === 'acknowledged' || life.state === 'latched-acknowledged')
}

function seesTheSame(life: Life, occurrence: string, version: number | null): Refusal | null {
  if (life.occurrence === null) return { code: 'stale-occurrence', message: `"${occurrence}" is not standing: the alarm is normal. Load the list again.` }
  if (life.occurrence !== occurrence)
    return { code: 'stale-occurrence', message: `"${occurrence}" is over; "${life.occurrence}" stands now. Load the list again and look at that one.` }
  if (version !== null && version !== life.version) {
    return { code: 'stale-version', message: `The alarm has changed since you saw it (version ${version}, now ${life.version}). Look again before you act.` }
  }
  return null
}

/** One journalled event upon the life it happened to. */
export function applyEvent(life: Life, e: AlarmEvent): Life {
  const version = life.version + 1
  switch (e.kind) {
    case 'raised':
      if (e.occurrence === life.occurrence) return { ...life, version, state: e.state, acknowledgedBy: null, acknowledgedMs: null, acknowledgedOccurrence: null }
      return {
        ...BORN,
        version,
        state: e.state,
        occurrence: e.occurrence,
        count: life.count + 1,
        raisedMs: e.atMs,
        value: e.value,
        limit: e.limit,
        unit: e.unit,
        note: e.note,
        acknowledgedOccurrence: life.acknowledgedOccurrence,
      }
    case 'cleared':
      return e.state === 'normal' ? ended(life, version) : { ...life, version, state: e.state, clearedMs: e.atMs }
    case 'acknowledged': {
      const answered = { ...life, version, state: e.state, acknowledgedBy: e.by, acknowledgedMs: e.atMs, acknowledgedOccurrence: e.occurrence, note: e.note }
      return e.state === 'normal' ? ended(answered, version) : answered
    }
    case 'reset':
    case 'closed':
      return ended(life, version)
    case 'held':
      return { ...life, version, heldSinceMs: e.atMs }
    case 'released':
      return { ...life, version, heldSinceMs: null }
  }
}

const ended = (life: Life, version: number): Life => ({ ...BORN, version, count: life.count, acknowledgedOccurrence: life.acknowledgedOccurrence })

/** The state every alarm is in after these events, oldest first. */
export function rebuild(events: Iterable<AlarmEvent>): Map<string, Life> {
  const lives = new Map<string, Life>()
  for (const e of events) lives.set(e.alarm, applyEvent(lives.get(e.alarm) ?? BORN, e))
  return lives
}
