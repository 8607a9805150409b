/**
 * What the journal keeps as text beside its columns: the facts of an event, and what lies over an alarm. Both are null for
 * everything written before they existed, and for the many alarms with nothing special about them.
 */
import { z } from 'zod'
import type { EventFacts } from './alarm.ts'
import { BORN, type Life } from './life.ts'

type Over = Pick<Life, 'shelved' | 'suppressed' | 'outOfService' | 'announced' | 'hiddenCount' | 'reAlarms' | 'firstOut' | 'raisedNote'>

const facts = z.object({
  untilMs: z.number().optional(),
  oneShot: z.literal(true).optional(),
  ruleId: z.string().optional(),
  measure: z.string().optional(),
  sinceMs: z.number().optional(),
  firstOut: z.number().optional(),
  answeredBy: z.string().optional(),
})

const over = z.object({
  shelved: z.object({ untilMs: z.number(), oneShot: z.boolean(), by: z.string(), reason: z.string(), atMs: z.number() }).nullable(),
  suppressed: z.object({ ruleId: z.string(), reason: z.string(), atMs: z.number(), endsMs: z.number().nullable(), answeredBy: z.string().nullable() }).nullable(),
  outOfService: z.object({ by: z.string(), reason: z.string(), measure: z.string(), reviewMs: z.number(), atMs: z.number(), overdue: z.boolean() }).nullable(),
  announced: z.boolean(),
  hiddenCount: z.number(),
  reAlarms: z.number(),
  firstOut: z.number().nullable(),
  raisedNote: z.string().nullable().default(null),
})

export const factsText = (f: EventFacts | undefined): string | null => (f === undefined || Object.keys(f).length === 0 ? null : JSON.stringify(f))

export function readFacts(text: string | null): { readonly facts?: EventFacts } {
  if (text === null) return {}
  const f = facts.parse(JSON.parse(text))
  return {
    facts: {
      ...(f.untilMs !== undefined && { untilMs: f.untilMs }),
      ...(f.oneShot && { oneShot: f.oneShot }),
      ...(f.ruleId !== undefined && { ruleId: f.ruleId }),
      ...(f.measure !== undefined && { measure: f.measure }),
      ...(f.sinceMs !== undefined && { sinceMs: f.sinceMs }),
      ...(f.firstOut !== undefined && { firstOut: f.firstOut }),
      ...(f.answeredBy !== undefined && { answeredBy: f.answeredBy }),
    },
  }
}

/** null: nothing lies or lay over it, and what stands was announced. */
export function overText(l: Life): string | null {
  const plain =
    !l.shelved &&
    !l.suppressed &&
    !l.outOfService &&
    l.announced === (l.occurrence !== null) &&
    l.hiddenCount === 0 &&
    l.reAlarms === 0 &&
    l.firstOut === null &&
    l.raisedNote === null
  if (plain) return null
  const { shelved, suppressed, outOfService, announced, hiddenCount, reAlarms, firstOut, raisedNote } = l
  return JSON.stringify({ shelved, suppressed, outOfService, announced, hiddenCount, reAlarms, firstOut, raisedNote } satisfies Over)
}

/** `standing`: an occurrence stands. */
export function readOver(text: string | null, standing: boolean): Over {
  if (text !== null) return over.parse(JSON.parse(text))
  const { shelved, suppressed, outOfService, hiddenCount, reAlarms, firstOut, raisedNote } = BORN
  return { shelved, suppressed, outOfService, announced: standing, hiddenCount, reAlarms, firstOut, raisedNote }
}
