/** Must somebody get up: the wake rule on the wire. */
import { z } from 'zod'

const ms = z.number()

export const callBody = z.object({
  alarm: z.string(),
  /** Nobody goes in until somebody has ventilated and measured; null: no gas alarm stands on this loop. */
  entryBlock: z.object({ alarm: z.string(), what: z.string(), sinceMs: ms }).nullable(),
  /** Protection in the yard that should have acted before any person; null: none is expected. `provedOn`: local date, `2026-09-14`. */
  protection: z.object({ what: z.string(), fitted: z.enum(['yes', 'no', 'unknown']), provedOn: z.string().nullable() }).nullable(),
  /** null: the alarm does not stand. */
  call: z
    .object({
      verdict: z.enum(['wake', 'call-yard', 'on-site', 'morning', 'day', 'none']),
      because: z.enum(['exempt', 'low', 'alert', 'on-site', 'loop-state', 'desk-staffed', 'can-wait', 'blind-yet', 'too-late', 'in-time']),
      /** Judged anew every 10 min. */
      judgedMs: ms,
      /** Low and high end of when harm is due if nobody acts; high null: nothing bounds it. */
      harmLowMs: ms,
      harmHighMs: ms.nullable(),
      /** Ends the sentence "Harm is reckoned from ...". */
      harmFrom: z.string(),
      /** How soon somebody can act, and by which way. */
      reachMin: z.number(),
      reachBy: z.enum(['yard', 'drive']),
      /** Next moment at which the desk is staffed. */
      deskMs: ms,
      /** Latest departure, or call to the yard, that is in time for the low end of harm. */
      leaveByMs: ms,
      staffedNow: z.boolean().nullable(),
      yardPhone: z.string().nullable(),
      /** Of how to reach the loop the site file does not say these, so that usual figures were taken. */
      assumed: z.array(z.string()),
    })
    .nullable(),
})

export type CallBody = z.infer<typeof callBody>
