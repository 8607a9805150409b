/**
 * What a site sent in about the last hour, in twelve slots: how much of it was refused, and how often its times could not be used. A site that
 * reports seldom is looked at over ten of its reports instead.
 *
 * A message refused whole stands for as many readings as the others of its slots held. Signals that are not in the site file do not count: they are
 * not refused but unassigned. A message with one believable time in it speaks for the clock, whatever else it holds.
 */
export interface LinkHour {
  /** A message that was taken: readings it held, how many of them were refused, and what its times were worth. */
  taken(atMs: number, readings: number, refused: number, times: Times): void
  /** A message refused whole; `naive`: because its time has no zone. */
  refused(atMs: number, naive: boolean): void
  now(nowMs: number): LinkNow
}

/** Of the times in a message: one at least can be true; none can; without a zone where the site file names none; null: it had none of its own. */
export type Times = 'believed' | 'disbelieved' | 'zoneless' | null

export interface LinkNow {
  /** Share of readings refused, 0 to 1; null: nothing came. */
  readonly refusedShare: number | null
  /** Messages with something refused in them. */
  readonly refusedMessages: number
  /** Slots with anything in them; with something refused; in which no time could be believed; in which times lacked their zone. */
  readonly slots: number
  readonly refusedSlots: number
  readonly disbelievedSlots: number
  readonly naiveSlots: number
}

const SLOTS = 12
const HOUR_MS = 3_600_000
const REPORTS = 10

interface Slot {
  readonly index: number
  messages: number
  readings: number
  refusedReadings: number
  refusedWhole: number
  withRefused: number
  believed: number
  disbelieved: number
  naive: number
}

/** `reportEveryMs`: the quickest of the site's signals. */
export function createLinkHour(reportEveryMs: number): LinkHour {
  const slotMs = Math.max(HOUR_MS, REPORTS * reportEveryMs) / SLOTS
  const ring: (Slot | undefined)[] = Array.from({ length: SLOTS })
  const slotOf = (atMs: number): Slot => {
    const index = Math.floor(atMs / slotMs)
    const was = ring[index % SLOTS]
    if (was?.index === index) return was
    const slot: Slot = { index, messages: 0, readings: 0, refusedReadings: 0, refusedWhole: 0, withRefused: 0, believed: 0, disbelieved: 0, naive: 0 }
    ring[index % SLOTS] = slot
    return slot
  }
  return {
    taken(atMs, readings, refused, times) {
      const s = slotOf(atMs)
      s.messages++
      s.readings += readings
      s.refusedReadings += refused
      if (refused > 0) s.withRefused++
      if (times === 'believed') s.believed++
      else if (times === 'disbelieved') s.disbelieved++
      else if (times === 'zoneless') s.naive++
    },
    refused(atMs, naive) {
      const s = slotOf(atMs)
      s.refusedWhole++
      s.withRefused++
      if (naive) s.naive++
    },
    now(nowMs) {
      const last = Math.floor(nowMs / slotMs)
      const all = ring.filter((s) => s !== undefined && s.index <= last && s.index > last - SLOTS) as Slot[]
      const sum = (of: (s: Slot) => number): number => all.reduce((t, s) => t + of(s), 0)
      const messages = sum((s) => s.messages)
      const perMessage = messages === 0 ? 1 : Math.max(1, sum((s) => s.readings) / messages)
      const whole = sum((s) => s.refusedWhole) * perMessage
      const total = sum((s) => s.readings) + whole
      return {
        refusedShare: total === 0 ? null : (sum((s) => s.refusedReadings) + whole) / total,
        refusedMessages: sum((s) => s.withRefused),
        slots: all.length,
        refusedSlots: all.filter((s) => s.withRefused > 0).length,
        disbelievedSlots: all.filter((s) => s.disbelieved > 0 && s.believed === 0).length,
        naiveSlots: all.filter((s) => s.naive > 0).length,
      }
    },
  }
}
