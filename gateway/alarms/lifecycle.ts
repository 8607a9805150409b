/**
 * Every transition of an alarm's own state (ALM-T01..T16, T29, T31..T33). A pure function: (life, input, facts, now) -> the next
 * life and the events that lead there. What lies over an alarm is put on and taken off in overlay-transition.ts; below an
 * overlay the condition goes on and is written down as hidden (ALM-T28).
 */
import type { AlarmState } from './alarm.ts'
import { isActive, type Life } from './life.ts'
import { courseOf, nameOf, type LifeFacts, type LifeInput, type Outcome, type Refusal } from './life-input.ts'
import { isHidden } from './overlay.ts'
import { changeOverlay, leaveShelf, sameVersion, whyHidden } from './overlay-transition.ts'

export function transition(life: Life, input: LifeInput, facts: LifeFacts, nowMs: number): Outcome {
  const course = courseOf(life, facts, input.atMs, nowMs)
  const { tell } = course
  const done = (refused: Refusal | null = null): Outcome => ({ life: course.life, events: course.events, refused })
  const standing = isActive(life)
  const hidden = isHidden(life)

  switch (input.kind) {
    case 'raise': {
      if (standing) return done()
      if (life.occurrence !== null) tell('closed', 'normal', { note: 'raised again' })
      const occurrence = nameOf(facts, input.atMs, life.count + 1)
      const { value, limit, unit } = input
      tell(hidden ? 'raised-hidden' : 'raised', facts.answerRequired ? 'unacknowledged' : 'acknowledged', { occurrence, value, limit, unit, note: input.note ?? null })
      return done()
    }
    case 'clear': {
      if (!standing) return done()
      // A value judged late must not end an occurrence before it began.
      const atMs = Math.max(input.atMs, life.raisedMs ?? input.atMs)
      if (hidden) {
        tell('cleared-hidden', facts.latching ? 'latched-unacknowledged' : 'normal', { atMs, value: input.value })
        if (life.shelved?.oneShot === true) leaveShelf(course, facts, 'it returned to normal', null)
        return done()
      }
      const answered = life.state === 'acknowledged'
      const to: AlarmState = facts.latching ? (answered ? 'latched-acknowledged' : 'latched-unacknowledged') : answered ? 'normal' : 'returned'
      tell('cleared', to, { atMs, value: input.value })
      return done()
    }
    case 'acknowledge': {
      if (hidden) return done({ code: 'not-allowed', message: `There is nothing to answer: ${whyHidden(life)}.` })
      if (answeredAlready(life, input.occurrence)) return done()
      const refused = seesTheSame(life, input.occurrence, input.version)
      if (refused) return done(refused)
      const to: AlarmState = life.state === 'unacknowledged' ? 'acknowledged' : life.state === 'returned' ? 'normal' : 'latched-acknowledged'
      tell('acknowledged', to, { by: input.by, note: input.note })
      return done()
    }
    case 'reset': {
      if (hidden) return done({ code: 'not-allowed', message: `It cannot be reset: ${whyHidden(life)}.` })
      if (life.state === 'normal' || life.state === 'returned') return done()
      const refused = seesTheSame(life, input.occurrence, input.version)
      if (refused) return done(refused)
      if (standing) return done({ code: 'not-allowed', message: 'The condition is still there: a reset is possible once it has gone.' })
      if (life.state === 'latched-unacknowledged') return done({ code: 'not-allowed', message: 'Acknowledge it first, then reset it.' })
      tell('reset', 'normal', { by: input.by, note: input.note })
      return done()
    }
    case 're-alarm':
      if (life.state === 'acknowledged' && facts.answerRequired && !hidden) tell('re-alarmed', 'unacknowledged', { note: 'still there' })
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
    default:
      return done(changeOverlay(course, input, facts))
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
  return sameVersion(life, version)
}
