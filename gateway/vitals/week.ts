/** Sums of the last seven days, as far as they were seen. */
import type { Sum } from './hours.ts'

export const WEEK_H = 168
/** Share of the week a meter must have been heard for a week's sum to be told. Common practice, no source. */
const LEAST_SEEN = 0.9
/** Less than this washed in a week, L: a share of so little says nothing. */
export const LEAST_WASHED_L = 500
/** Doubt of a meter, share, standard deviation. Common practice, no source. */
export const METER_SHARE = 0.01
export const WAIT = 'Seven days of readings'

/** A week's sum, or the sentence that says why there is none. `whole`: part of it may not be missing. */
export function weekOf(what: string, sum: Sum | null): Sum | string {
  if (!sum) return `${what} has not been counted for 7 days yet`
  if (sum.seen < LEAST_SEEN) return `${what} was heard for ${(100 * sum.seen).toFixed(0)} % of the last 7 days and ${100 * LEAST_SEEN} % are needed`
  return sum
}
