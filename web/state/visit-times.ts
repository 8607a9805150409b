/** Times one may say a visit lasts until, from now: quarters of an hour, the usual three hours among them. */
const QUARTER_MS = 15 * 60_000
const HOURS = [1, 2, 3, 4, 6, 8, 10] as const
export const USUAL_HOURS = 3

export const visitEnds = (nowMs: number): readonly { readonly hours: number; readonly atMs: number }[] =>
  HOURS.map((hours) => ({ hours, atMs: Math.ceil((nowMs + hours * 3_600_000) / QUARTER_MS) * QUARTER_MS }))
