/**
 * From what a site sent lately, whether its clock is wrong and whether too much of what it sends is refused. Both need trouble that goes on: one
 * bad message, a row of bad ones sent in a burst, or a store that is emptied proves nothing. Figures: common practice, no source; not yet tuned on data.
 */

/** A clock farther off is wrong; times farther ahead than this are not believed anyway. */
export const CLOCK_OFF_MS = 2 * 60_000
/** and right again within this. */
export const CLOCK_RIGHT_MS = 60_000
/** Refused of what a site sends within an hour. */
export const REFUSED_SHARE = 0.1
export const REFUSED_CLEAR = 0.05
/** Of twelve slots an hour: a quarter of an hour at least, or four reports of one that reports seldom. */
export const LEAST_SLOTS = 4

/** Counts of slots are of the last hour, or of ten reports where a site reports seldom. */
export interface LinkSeen {
  /** ms behind ours, negative: ahead; null: not known. */
  readonly clockBehindMs: number | null
  readonly refusedShare: number | null
  readonly refusedMessages: number
  readonly slots: number
  readonly refusedSlots: number
  readonly disbelievedSlots: number
  readonly naiveSlots: number
}

export interface Judged {
  readonly active: boolean
  readonly value: number | null
  readonly unit: string
  readonly note: string
}

/** `stands`: it was judged wrong last time. null: nothing tells. */
export function clockFact(seen: LinkSeen, stands: boolean): Judged | null {
  const off = seen.clockBehindMs
  if (seen.naiveSlots >= LEAST_SLOTS) return wrong(null, 'Its times come without a zone and the site file names none (clock: { zone: ... }): they are refused.')
  if (off !== null && Math.abs(off) > (stands ? CLOCK_RIGHT_MS : CLOCK_OFF_MS)) return wrong(Math.abs(off), `${said(Math.abs(off))} ${off > 0 ? 'behind' : 'ahead'}.`)
  if (seen.disbelievedSlots >= LEAST_SLOTS) return wrong(null, 'Its times cannot be true (a clock that has lost its battery): readings carry the time they arrived.')
  return off === null ? null : { active: false, value: Math.round(Math.abs(off) / 1000), unit: 's', note: '' }
}

const wrong = (offMs: number | null, note: string): Judged => ({ active: true, value: offMs === null ? null : Math.round(offMs / 1000), unit: 's', note })

export function refusedFact(seen: LinkSeen, stands: boolean): Judged | null {
  const share = seen.refusedShare
  if (share === null || seen.slots < LEAST_SLOTS) return null
  const active = seen.refusedSlots >= LEAST_SLOTS && share > (stands ? REFUSED_CLEAR : REFUSED_SHARE)
  const value = Math.round(share * 100)
  return { active, value, unit: '%', note: active ? `${value} % of what it sent is refused: ${seen.refusedMessages} messages with something in them that could not be used.` : '' }
}

function said(ms: number): string {
  if (ms >= 36 * 3_600_000) return `${Math.round(ms / 86_400_000)} days`
  if (ms >= 5_400_000) return `${(ms / 3_600_000).toFixed(1)} h`
  return `${Math.round(ms / 60_000)} min`
}
