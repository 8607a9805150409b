/** What lies over an alarm, what a person says to put it there, and too many alarms at once: shapes of the wire. */
import { z } from 'zod'

const ms = z.number().int()
const when = ms.min(0, 'a time in ms since 1970 UTC').max(2 ** 45, 'a time in ms since 1970 UTC')
const text = z.string().trim().max(500)

/** Fields of an alarm body beside its own state. */
export const overlayFields = {
  /** What people see: out of service before suppressed before shelved before the state itself. */
  shown: z.enum(['normal', 'unacknowledged', 'acknowledged', 'returned', 'latched-unacknowledged', 'latched-acknowledged', 'shelved', 'suppressed', 'out-of-service']),
  shelved: z.object({ untilMs: ms, oneShot: z.boolean(), by: z.string(), reason: z.string(), atMs: ms }).nullable(),
  /** `endsMs`: its cause is gone, and it ends then. */
  suppressed: z.object({ ruleId: z.string(), reason: z.string(), atMs: ms, endsMs: ms.nullable() }).nullable(),
  outOfService: z.object({ by: z.string(), reason: z.string(), measure: z.string(), reviewMs: ms, atMs: ms, overdue: z.boolean() }).nullable(),
  /** Raises nobody was told of since something lies over it. */
  hiddenCount: ms,
  /** How often it was announced again after an answer. */
  reAlarms: ms,
  /** The first of its loop since all were normal. */
  firstOut: z.boolean(),
  /** How long it may rest when shelved now, and the rule in words; null: it cannot be shelved. */
  shelf: z.object({ latestMs: ms.nullable(), words: z.string() }),
}

const version = ms.describe('Version of the alarm the person saw: when somebody else has acted since, the request is refused and says who did what.')

/** POST /api/alarms/:id/shelve */
export const shelveRequest = z.strictObject({
  version,
  untilMs: when.describe('When it comes back, ms since 1970 UTC.'),
  oneShot: z.boolean().default(false).describe('Comes back at the next return to normal, if that is sooner.'),
  reason: text.describe('Why it may rest.'),
})

/** POST /api/alarms/:id/out-of-service */
export const outOfServiceRequest = z.strictObject({
  version,
  reason: text.describe('Why it is taken out of service.'),
  measure: text.describe('What is done meanwhile in its place.'),
  reviewMs: when.describe('When it is looked at again, ms since 1970 UTC; within 30 days.'),
})

/** POST /api/alarms/:id/unshelve and /in-service */
export const backRequest = z.strictObject({ version })

const flood = z.object({ sinceMs: ms, count: ms, peak: ms, lately: ms, firstMs: ms, firstAlarm: z.string(), firstWhat: z.string() })

export const floodsBody = z.object({
  fleet: flood.nullable(),
  sites: z.array(flood.extend({ site: z.string(), siteName: z.string() })),
  /** One alarm at many loops. */
  groups: z.array(z.object({ rule: z.string(), what: z.string(), sinceMs: ms, latestMs: ms, sites: z.array(z.object({ site: z.string(), siteName: z.string() })) })),
})

export type FloodsBody = z.infer<typeof floodsBody>
export type ShelveRequest = z.infer<typeof shelveRequest>
export type OutOfServiceRequest = z.infer<typeof outOfServiceRequest>
