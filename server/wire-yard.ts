/** The link of the yard page of a loop, as operators see it. */
import { z } from 'zod'

/** The token itself is not kept and cannot be shown again. */
export const yardLinkBody = z.object({ link: z.object({ madeMs: z.number().int(), by: z.string() }).nullable() })

/** POST /api/loops/:site/yard-link: the address below that of this page, and its sheet to print. Shown once. */
export const yardLinkMadeBody = z.object({ path: z.string(), sheet: z.string(), madeMs: z.number().int(), by: z.string() })

export type YardLinkBody = z.infer<typeof yardLinkBody>
export type YardLinkMadeBody = z.infer<typeof yardLinkMadeBody>
