/**
 * What a site sends in a month against its data plan. Counted are the bytes of topic and payload as they arrive; what the link adds is
 * estimated, because it is not seen here.
 */

/**
 * What one QoS 1 message costs beyond topic and payload, bytes: PUBLISH with its lengths and packet id 9, PUBACK 4, and three TCP/IP
 * segments (message, answer, receipt of the answer) of 40 bytes of headers each, RFC 791 and RFC 9293. TLS adds 29 for each of two records, not counted.
 */
export const LINK_BYTES = 133

export interface MonthUse {
  /** `2026-03`, UTC. */
  readonly month: string
  readonly messages: number
  readonly bytes: number
  /** Since when it was counted, ms since 1970 UTC: the beginning of the month, or later when counting began later. */
  readonly sinceMs: number
  /** Bytes of them, with what the link adds, that were a store being emptied: they count, but do not go on like this. Left out: none. */
  readonly onceBytes?: number | undefined
}

export interface Forecast {
  /** So far, with what the link adds, MB of 1,000,000 bytes. */
  readonly usedMb: number
  /** At the end of the month when it goes on like this; null: counted for less than an hour. */
  readonly monthMb: number | null
  /** `monthMb` over the plan; null: no plan in the site file, or no forecast. */
  readonly ofPlan: number | null
}

const HOUR_MS = 3_600_000

export function forecast(use: MonthUse, nowMs: number, planMb: number | null): Forecast {
  const [startMs, endMs] = monthSpan(nowMs)
  const usedMb = (use.bytes + use.messages * LINK_BYTES) / 1e6
  const countedMs = nowMs - Math.max(use.sinceMs, startMs)
  // What was sent before counting began is unknown; the same rate is taken for it, so that the forecast is of the whole month.
  const onceMb = (use.onceBytes ?? 0) / 1e6
  const monthMb = countedMs < HOUR_MS ? null : onceMb + ((usedMb - onceMb) * (endMs - startMs)) / countedMs
  return { usedMb, monthMb, ofPlan: monthMb === null || planMb === null ? null : monthMb / planMb }
}

/** `2026-03` of a time, UTC. */
export function monthOf(atMs: number): string {
  const { year, month } = civil(atMs)
  return `${year}-${String(month).padStart(2, '0')}`
}

function monthSpan(atMs: number): readonly [number, number] {
  const { year, month } = civil(atMs)
  return [startOf(year, month), month === 12 ? startOf(year + 1, 1) : startOf(year, month + 1)]
}

const DAY_MS = 86_400_000

/** Gregorian calendar from days since 1970, in years that begin in March so that the leap day comes last. */
function civil(atMs: number): { readonly year: number; readonly month: number } {
  const z = Math.floor(atMs / DAY_MS) + 719_468
  const era = Math.floor(z / 146_097)
  const doe = z - era * 146_097
  const yoe = Math.floor((doe - Math.floor(doe / 1460) + Math.floor(doe / 36_524) - Math.floor(doe / 146_096)) / 365)
  const mp = Math.floor((5 * (doe - (365 * yoe + Math.floor(yoe / 4) - Math.floor(yoe / 100))) + 2) / 153)
  const month = mp < 10 ? mp + 3 : mp - 9
  return { year: yoe + era * 400 + (month <= 2 ? 1 : 0), month }
}

function startOf(year: number, month: number): number {
  const y = month <= 2 ? year - 1 : year
  const dayOfYear = Math.floor((153 * (month + (month > 2 ? -3 : 9)) + 2) / 5)
  return (y * 365 + Math.floor(y / 4) - Math.floor(y / 100) + Math.floor(y / 400) + dayOfYear - 719_468) * DAY_MS
}
