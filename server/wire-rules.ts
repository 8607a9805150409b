/** Every alarm of a loop with its rationalisation record. Dates are local, `2026-09-14`. */
import { z } from 'zod'

const alarmRule = z.object({
  id: z.string(),
  stage: z.string().nullable(),
  what: z.string(),
  kind: z.string(),
  priority: z.enum(['high', 'medium', 'low', 'alert']),
  priorityBecause: z.string(),
  severity: z.enum(['severe', 'major', 'minor']),
  class: z.enum(['safety', 'environment', 'process', 'equipment', 'system']),
  cause: z.string(),
  consequence: z.string(),
  action: z.array(z.string()),
  confirm: z.string(),
  respondWithinMin: z.number(),
  /** When it is raised and cleared, in words. */
  raises: z.string(),
  basis: z.string(),
  latching: z.boolean(),
  /** null: may not be shelved. */
  shelveMostMin: z.number().nullable(),
  suppressed: z.string(),
  /** From the fact to the alarm at worst, and what is then left of the time to respond; null: not told in minutes. */
  detectionMin: z.number().nullable(),
  leftMin: z.number().nullable(),
  /** Protection in the yard that should act before any person; null: none is expected. */
  protection: z.object({ id: z.string(), what: z.string(), fitted: z.enum(['yes', 'no', 'unknown']), provedOn: z.string().nullable() }).nullable(),
  owner: z.string(),
  reviewedOn: z.string().nullable(),
  reviewBy: z.string().nullable(),
  version: z.number().int(),
})

/** GET /api/rules/:site */
export const rulesBody = z.object({
  site: z.string(),
  name: z.string(),
  zone: z.string(),
  nowMs: z.number().int(),
  rules: z.array(alarmRule),
  /** How many of each priority are configured. */
  mix: z.object({ high: z.number(), medium: z.number(), low: z.number(), alert: z.number() }),
})

export type RulesBody = z.infer<typeof rulesBody>
export type AlarmRuleBody = z.infer<typeof alarmRule>
