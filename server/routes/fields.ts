/** Fields that several calls take. In a query everything arrives as text. */
import { z } from 'zod'

const MOST_MS = 2 ** 45
const WHEN = 'ms since 1970 UTC, or RFC 3339 with its zone, such as 2026-03-01T08:15:00Z'

/** Text to ms since 1970 UTC. Years of four figures: RFC 3339. */
export function timeMs(text: string): number | null {
  if (/^\d{1,14}$/.test(text)) return Number(text)
  const m = /^(\d{4}-\d{2}-\d{2})[Tt](\d{2}:\d{2}:\d{2})(\.\d{1,9})?([Zz]|[+-]\d{2}:\d{2})$/.exec(text)
  if (!m) return null
  const parsed = Date.parse(`${m[1]}T${m[2]}${(m[3] ?? '').slice(0, 4)}${(m[4] ?? 'Z').toUpperCase()}`)
  // The parser takes 30 February for 2 March: the day must come back as it was written.
  const day = Date.parse(`${m[1]}T00:00:00Z`)
  return Number.isNaN(parsed) || Number.isNaN(day) || new Date(day).toISOString().slice(0, 10) !== m[1] ? null : parsed
}

export const timeField = z
  .string()
  .transform((text, ctx) => {
    const at = timeMs(text)
    if (at !== null && at >= 0 && at <= MOST_MS) return at
    ctx.addIssue({ code: 'custom', input: text, message: `a time is ${WHEN}${text.includes(' ') ? ' (a + in a URL must be written %2B)' : ''}` })
    return z.NEVER
  })
  .describe(`A time: ${WHEN}.`)

/** A whole number within bounds, as text. */
export function countField(least: number, most: number, what: string) {
  return z
    .string()
    .transform((text, ctx) => {
      const n = /^\d{1,9}$/.test(text) ? Number(text) : Number.NaN
      if (n >= least && n <= most) return n
      ctx.addIssue({ code: 'custom', input: text, message: `a whole number from ${least} to ${most}` })
      return z.NEVER
    })
    .describe(`${what}, ${least} to ${most}.`)
}

export const siteField = z.string().min(1, 'the id of a loop').max(64, 'the id of a loop, at most 64 characters').describe('Id of a loop.')
