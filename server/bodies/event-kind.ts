/** The words events of the journal are shown by. */
import type { AlarmEvent } from '../../gateway/alarms/alarm.ts'

export type EventKind = AlarmEvent['kind']

/** Every kind stands here, or this does not compile. */
const WORDS: Readonly<Record<EventKind, string>> = {
  raised: 'raised',
  cleared: 'back to normal',
  acknowledged: 'answered',
  reset: 'reset',
  held: 'held, no good data',
  released: 'judged again',
  closed: 'closed',
  're-alarmed': 'told again, still there',
  'stepped-up': 'a higher level speaks for it',
  'raised-hidden': 'raised, told to nobody',
  'cleared-hidden': 'back to normal, told to nobody',
  shelved: 'shelved',
  unshelved: 'off the shelf',
  suppressed: 'suppressed by design',
  unsuppressed: 'no longer suppressed',
  'out-of-service': 'taken out of service',
  'in-service': 'back in service',
  'review-overdue': 'review overdue',
}

export const EVENT_KINDS: readonly { readonly id: string; readonly word: string }[] = Object.entries(WORDS).map(([id, word]) => ({ id, word }))
export const isEventKind = (text: string): text is EventKind => Object.hasOwn(WORDS, text)
export const eventWord = (kind: EventKind): string => WORDS[kind]
