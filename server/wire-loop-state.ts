/** The state of a loop: who is there, what is planned, and what runs again after a visit. */
import { z } from 'zod'

const ms = z.number().int()
const stateName = z.enum(['in-service', 'commissioning', 'resting', 'out-of-contract', 'planned-work', 'on-site'])

/** What runs again after a visit (or a power cut), compared with the hour `fromMs` to `toMs`; air first. */
const checkBody = z.object({
  kind: z.enum(['visit', 'power']),
  fromMs: ms,
  toMs: ms,
  /** Check-out, or mains back. */
  sinceMs: ms,
  /** Nothing more is to come of it. */
  over: z.boolean(),
  lines: z.array(
    z.object({
      id: z.string(),
      name: z.string(),
      part: z.enum(['air', 'selector', 'machine', 'link']),
      outcome: z.enum(['runs', 'not-yet', 'not-seen', 'cannot-tell']),
      why: z.string(),
      dueMs: ms.nullable(),
    }),
  ),
  /** Machines that were at rest in that hour: nothing is expected of them. */
  atRest: z.array(z.string()),
})

export const loopStateBody = z.object({
  /** The topmost: someone on site over planned work over the stage of life. */
  is: stateName,
  sinceMs: ms,
  /** Ends by itself then, a visit should end then; null: until somebody says otherwise. */
  untilMs: ms.nullable(),
  by: z.string(),
  why: z.string().nullable(),
  /** A check-out is overdue. */
  overdue: z.boolean(),
  life: z.object({ state: stateName, fromMs: ms, untilMs: ms.nullable(), by: z.string(), why: z.string().nullable() }),
  work: z.object({ fromMs: ms, untilMs: ms.nullable(), by: z.string(), why: z.string().nullable() }).nullable(),
  visits: z.array(z.object({ person: z.string(), fromMs: ms, untilMs: ms, overdue: z.boolean(), why: z.string().nullable() })),
  /** What the state does to alarms and learning, as sentences. */
  words: z.array(z.string()),
  /** Of the last twelve hours, and those still open. */
  checks: z.array(checkBody),
})

/** GET /api/loops/:site/state */
export const stateHistoryBody = z.object({
  nowMs: ms,
  site: z.string(),
  state: loopStateBody,
  /** Newest first. */
  history: z.array(
    z.object({
      act: z.enum(['begin', 'end', 'power-back']),
      state: stateName.nullable(),
      person: z.string().nullable(),
      atMs: ms,
      fromMs: ms.nullable(),
      untilMs: ms.nullable(),
      why: z.string().nullable(),
      by: z.string(),
      recordedMs: ms,
    }),
  ),
})

export type LoopStateBody = z.infer<typeof loopStateBody>
export type StateHistoryBody = z.infer<typeof stateHistoryBody>
