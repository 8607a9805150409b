/**
 * What lies over an alarm is put on and taken off (ALM-T17..T30): by a person, by the clock, by a rule.
 *
 * When the last of it goes, a condition that is there is announced as new: an occurrence nobody was told of under its own name,
 * one that had been told before it was hidden under a new one, so that no occurrence is announced twice. What latches asks for an
 * answer; everything else is normal. One exception: a lower level that a higher one of the same signal has spoken for comes back
 * answered if the one or the other was, because stepping down takes no answer back.
 */
import type { AlarmState } from './alarm.ts'
import { isActive, type Life } from './life.ts'
import { nameOf, type Course, type LifeFacts, type LifeInput, type PersonInput, type Refusal } from './life-input.ts'
import { isHidden, type Overlays } from './overlay.ts'

type OverlayInput = Exclude<LifeInput, { kind: 'raise' | 'clear' | 'acknowledge' | 'reset' | 're-alarm' | 'hold' | 'release' | 'close' }>

/** Out of service is looked at again after this at the latest. Common practice, no source. */
const REVIEW_WITHIN_MS = 30 * 86_400_000

export function changeOverlay(course: Course, input: OverlayInput, facts: LifeFacts): Refusal | null {
  const { life, tell } = course
  const no = (message: string): Refusal => ({ code: 'not-allowed', message })
  const stale = 'version' in input ? sameVersion(life, input.version) : null
  if (stale) return stale

  switch (input.kind) {
    case 'shelve': {
      const refused = refuseShelf(input)
      if (refused !== null) return no(refused)
      tell('shelved', life.state, { by: input.by, note: input.reason.trim(), facts: { untilMs: input.untilMs, ...(input.oneShot && { oneShot: true }) } })
      return null
    }
    case 'unshelve':
      if (!life.shelved) return no('It is not shelved.')
      leaveShelf(course, facts, null, input.by)
      return null
    case 'shelf-over':
      if (life.shelved) leaveShelf(course, facts, 'its time is over', null)
      return null
    case 'suppress': {
      // The alarm that starts a suppression is never hidden by it (ALM-55).
      if (input.ruleId === facts.alarm) return no(`${facts.alarm} starts this suppression and is not hidden by it.`)
      const s = life.suppressed
      if (s?.ruleId === input.ruleId && s.reason === input.reason && s.endsMs === null) return null
      tell(input.level && isActive(life) ? 'stepped-up' : 'suppressed', life.state, { note: input.reason, facts: { ruleId: input.ruleId } })
      return null
    }
    case 'settle': {
      const s = life.suppressed
      if (!s || s.endsMs !== null) return null
      tell('suppressed', life.state, { note: s.reason, facts: { ruleId: s.ruleId, untilMs: input.endsMs, ...(input.answeredBy !== null && { answeredBy: input.answeredBy }) } })
      return null
    }
    case 'unsuppress': {
      const s = life.suppressed
      if (!s) return null
      leave(course, facts, { kind: 'unsuppressed', over: { suppressed: null }, note: s.reason, by: null, answeredBy: input.level ? (s.answeredBy ?? life.acknowledgedBy) : null })
      return null
    }
    case 'out-of-service': {
      if (input.reason.trim() === '') return no('A reason is needed: why is the alarm taken out of service?')
      if (input.measure.trim() === '') return no('Say what is done meanwhile in place of the alarm: who looks, how often.')
      if (!(input.reviewMs > input.atMs)) return no('The date of review has passed: give one that lies ahead.')
      if (input.reviewMs > input.atMs + REVIEW_WITHIN_MS) return no('The date of review is more than 30 days ahead: give an earlier one; it can be put off then.')
      tell('out-of-service', life.state, { by: input.by, note: input.reason.trim(), facts: { measure: input.measure.trim(), untilMs: input.reviewMs } })
      return null
    }
    case 'in-service':
      if (!life.outOfService) return no('It is in service.')
      leave(course, facts, { kind: 'in-service', over: { outOfService: null }, note: null, by: input.by, answeredBy: null })
      return null
    case 'review-due':
      if (life.outOfService && !life.outOfService.overdue) tell('review-overdue', life.state, { note: life.outOfService.reason })
      return null
  }
}

function refuseShelf(input: Extract<PersonInput, { kind: 'shelve' }>): string | null {
  const { bound } = input
  if (bound.latestMs === null) return bound.words
  if (input.reason.trim() === '') return 'A reason is needed: why may it rest?'
  if (!(input.untilMs > input.atMs)) return 'The end of the shelf has passed: give a time that lies ahead.'
  return input.untilMs > bound.latestMs ? bound.words : null
}

/** The shelf ends: by a person (`by`), or because of `why`. */
export function leaveShelf(course: Course, facts: LifeFacts, why: string | null, by: string | null): void {
  leave(course, facts, { kind: 'unshelved', over: { shelved: null }, note: why, by, answeredBy: null })
}

interface Leaving {
  readonly kind: 'unshelved' | 'unsuppressed' | 'in-service'
  readonly over: Partial<Overlays>
  readonly note: string | null
  readonly by: string | null
  readonly answeredBy: string | null
}

function leave(course: Course, facts: LifeFacts, l: Leaving): void {
  const { life, tell } = course
  const said = { note: l.note, by: l.by }
  if (isHidden({ ...life, ...l.over })) return tell(l.kind, life.state, said)
  const since = life.raisedMs === null ? {} : { facts: { sinceMs: life.raisedMs } }
  if (life.state.startsWith('latched')) {
    tell(l.kind, 'latched-unacknowledged', said)
    // It came and went out of sight: a gas reading that is clean again is no reason to say nothing.
    if (!life.announced) tell('raised', 'latched-unacknowledged', since)
    return
  }
  if (!isActive(life)) return tell(l.kind, 'normal', said)
  if (l.answeredBy !== null && facts.answerRequired) return tell(l.kind, 'acknowledged', { ...said, facts: { answeredBy: l.answeredBy } })
  tell(l.kind, life.state, said)
  const to: AlarmState = facts.answerRequired ? 'unacknowledged' : 'acknowledged'
  const { value, limit, unit } = life
  if (!life.announced) return tell('raised', to, since)
  tell('closed', 'normal', { note: 'goes on under a new name: it was hidden meanwhile' })
  tell('raised', to, { occurrence: nameOf(facts, course.atMs, life.count + 1), value, limit, unit, ...since })
}

/** What an action on an alarm that somebody else has changed meanwhile is told (ALM-22); null: nobody has. */
export function sameVersion(life: Life, version: number | null): Refusal | null {
  if (version === null || version === life.version) return null
  return { code: 'stale-version', message: `The alarm has changed since you saw it (version ${version}, now ${life.version}). Look again before you act.` }
}

/** Why nobody is told of it, as the rest of a sentence. */
export function whyHidden(life: Overlays): string {
  if (life.outOfService) return `it was taken out of service by ${life.outOfService.by} (${life.outOfService.reason}); bring it back into service first`
  if (life.suppressed) return `it is suppressed by design (${life.suppressed.reason})`
  return life.shelved ? `it was shelved by ${life.shelved.by} (${life.shelved.reason}); take it off the shelf first` : 'nothing lies over it'
}
