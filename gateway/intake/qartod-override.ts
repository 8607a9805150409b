/** What a person may change in the quality tests of one signal, as it stands in a site file; `off` switches a test off. */
import { z } from 'zod'
import { durationMs } from '../site/duration.ts'
import { MOVING_EVENTS } from './qartod-spec.ts'

const duration = z.string().transform((v, ctx) => {
  const ms = durationMs(v)
  if (ms === null) {
    ctx.addIssue({ code: 'custom', message: 'a length of time with its unit, such as "5min", "24h", "3d"' })
    return z.NEVER
  }
  return ms
})
const threshold = z.number().positive()
const off = z.literal('off')
const company = z.strictObject({ with: z.string().min(1), own: threshold.default(2), other: threshold.default(2) })
/** A change in a time: `{ by: 0.2, within: 5min }`. */
const pace = z.strictObject({ by: threshold, within: duration })

export const checkOverrideSchema = z.strictObject({
  /** Suspect outside it; the sensor's own range stands beside it, as `range`. */
  userRange: z.tuple([z.number(), z.number()]).or(off).optional(),
  spike: z
    .strictObject({ method: z.enum(['average', 'differential']).optional(), suspect: threshold.optional(), fail: threshold.optional() })
    .or(off)
    .optional(),
  rate: z
    .strictObject({ suspect: pace.optional(), fail: pace.optional(), deviations: threshold.optional(), slack: z.number().min(0).optional() })
    .or(off)
    .optional(),
  spread: z.strictObject({ over: duration, minSamples: z.number().int().min(2).optional() }).optional(),
  flat: z
    .strictObject({
      tolerance: threshold.optional(),
      suspectAfter: duration.optional(),
      failAfter: duration.optional(),
      ends: z.tuple([z.number().nullable(), z.number().nullable()]).optional(),
      moves: z.array(z.enum(MOVING_EVENTS)).optional(),
      runWhen: z.string().min(1).optional(),
    })
    .or(off)
    .optional(),
  attenuated: z
    .strictObject({ method: z.enum(['sd', 'range']), suspect: threshold, fail: threshold, over: duration, minSamples: z.number().int().min(1).optional() })
    .or(off)
    .optional(),
  multivariate: company.or(off).optional(),
  neighbour: company.or(off).optional(),
  /** Why this signal differs, who says so, since when. */
  why: z.string().trim().min(1, 'some text').max(300),
  by: z.string().trim().min(1).max(100).optional(),
  on: z.iso.date().optional(),
})

export type CheckOverride = z.infer<typeof checkOverrideSchema>
