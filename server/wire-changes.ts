/** Bodies of changes of alarms. Times are ms since 1970 UTC. */
import { z } from 'zod'

const ms = z.number().int()
const priority = z.enum(['high', 'medium', 'low', 'alert'])
const DAY_MS = 86_400_000
const delay = z
  .number()
  .int()
  .min(0, 'ms, 0 or more')
  .max(30 * DAY_MS, 'ms, at most 30 days')
const text = z.string().trim().min(1, 'a sentence').max(2000, 'at most 2,000 characters')

/** What is to be changed; what is left out stays. Figures in the unit of the alarm, delays in ms. */
export const alarmFields = z.strictObject({
  off: z.boolean().optional(),
  limit: z.number().optional(),
  deadband: z.number().min(0, 'a deadband is 0 or more').optional(),
  onDelayMs: delay.optional(),
  offDelayMs: delay.optional(),
  priority: priority.optional(),
  cause: text.optional(),
  consequence: text.optional(),
  action: z.array(text).min(1, 'at least one step').max(12, 'at most twelve steps').optional(),
  respondWithinMin: z
    .number()
    .positive('minutes, more than 0')
    .max(30 * 1440, 'minutes, at most 30 days')
    .optional(),
})

const inForce = z.object({
  off: z.boolean(),
  limit: z.number().nullable(),
  deadband: z.number().nullable(),
  onDelayMs: ms.nullable(),
  offDelayMs: ms.nullable(),
  priority,
  cause: z.string(),
  consequence: z.string(),
  action: z.array(z.string()),
  respondWithinMin: z.number(),
  /** Longest time from the fact to the alarm; null: it is off. */
  detectionMs: ms.nullable(),
})

const fieldValue = z.union([z.number(), z.string(), z.boolean(), z.array(z.string())])
const moved = z.object({ field: z.string(), was: fieldValue.nullable(), is: fieldValue.nullable() })

/** GET /api/alarms/:id/change: what is in force, also of an alarm that is off, and what puts it there. */
export const changeableBody = z.object({
  alarm: z.string(),
  site: z.string(),
  siteName: z.string(),
  what: z.string(),
  unit: z.string(),
  digits: z.number().int(),
  now: inForce,
  /** Names this state: a change brings it back, so that nobody changes what they have not seen. */
  mark: z.string(),
  /** Fields that a change of the page, and the site file, have put in force. */
  byPage: z.array(z.string()),
  byFile: z.array(z.string()),
  /** The value the limit is compared with, now. */
  valueNow: z.number().nullable(),
  /** Rule under which the standing occurrence was raised, where it is not the one in force. */
  raisedUnder: z
    .object({
      version: z.number().int(),
      limit: z.number().nullable(),
      deadband: z.number().nullable(),
      onDelayMs: ms.nullable(),
      offDelayMs: ms.nullable(),
      priority,
      respondWithinMin: z.number(),
    })
    .nullable(),
})

export const previewRequest = z.strictObject({ fields: alarmFields })

/** POST /api/alarms/:id/preview: what a change would do. Nothing is saved. */
export const previewBody = z.object({ was: inForce, is: inForce, moved: z.array(moved), warnings: z.array(z.string()), needsApprover: z.boolean() })

const reason = z.string().trim().min(1, 'why, in a sentence').max(500, 'at most 500 characters')
const approver = z.string().trim().max(100, 'a name, at most 100 characters').optional()
/** POST /api/alarms/:id/change */
export const changeRequest = z.strictObject({ fields: alarmFields, mark: z.string().min(1).max(60), reason, approver })
/** POST /api/changes/:id/undo */
export const undoRequest = z.strictObject({ reason, approver })

export const changeBody = z.object({
  id: z.number().int(),
  alarm: z.string(),
  site: z.string(),
  siteName: z.string(),
  what: z.string(),
  unit: z.string(),
  atMs: ms,
  by: z.string(),
  approver: z.string().nullable(),
  reason: z.string(),
  moved: z.array(moved),
  /** The change this one takes back. */
  undoes: z.number().int().nullable(),
  /** A second person must agree to taking it back. */
  needsApprover: z.boolean(),
})

/** GET /api/changes, newest first. */
export const changesBody = z.object({ changes: z.array(changeBody), more: z.boolean() })

export type AlarmFieldsBody = z.infer<typeof alarmFields>
export type InForceBody = z.infer<typeof inForce>
export type ChangeableBody = z.infer<typeof changeableBody>
export type PreviewBody = z.infer<typeof previewBody>
export type ChangeBody = z.infer<typeof changeBody>
export type ChangesBody = z.infer<typeof changesBody>
