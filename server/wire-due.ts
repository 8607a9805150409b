/** Bodies of the due list and of the register of local protections. Times are ms since 1970 UTC. */
import { z } from 'zod'

const ms = z.number().int()

const dueItem = z.object({
  /** Unique in its site. */
  id: z.string(),
  kind: z.enum(['stock', 'service', 'probe', 'protection', 'kit', 'condition', 'review']),
  what: z.string(),
  stage: z.string().nullable(),
  stageName: z.string().nullable(),
  /** In the past: overdue since then. null: nothing says when it was last done. */
  dueMs: ms.nullable(),
  why: z.string(),
  bring: z.string(),
  /** The entry of the site log that settles it, without figures; null: it goes by itself, or the entry needs some. */
  settles: z.object({ kind: z.string(), about: z.string().optional(), item: z.string().optional() }).nullable(),
})

/** GET /api/loops/:site/due */
export const dueBody = z.object({
  site: z.string(),
  atMs: ms,
  /** Overdue by date, then what nobody knows the last time of, then what comes. */
  items: z.array(dueItem),
  protections: z.array(
    z.object({
      id: z.string(),
      what: z.string(),
      /** unknown: expected on such a loop, and its site file does not speak of it. */
      fitted: z.enum(['yes', 'no', 'unknown']),
      provedMs: ms.nullable(),
      /** Who wrote that into the site log; null: it stands in the site file. */
      provedBy: z.string().nullable(),
      dueMs: ms.nullable(),
      prove: z.string(),
      everyDays: z.number(),
      /** Alarms that count on it: id and what they say. */
      alarms: z.array(z.object({ id: z.string(), what: z.string() })),
    }),
  ),
})

/** GET /api/due: of every loop as last worked out. */
export const fleetDueBody = z.object({
  nowMs: ms,
  /** Loops whose turn has not come yet since the start. */
  waiting: z.number().int(),
  sites: z.array(z.object({ id: z.string(), name: z.string(), zone: z.string() })),
  items: z.array(dueItem.extend({ site: z.string() })),
})

export type DueItemBody = z.infer<typeof dueItem>
export type DueBody = z.infer<typeof dueBody>
export type FleetDueBody = z.infer<typeof fleetDueBody>
