/** What lies over an alarm, in words, and how long a person may let it rest. */
import type { AlarmBody } from '../../server/wire.ts'
import { age, moment, momentThere, ownZone, timeLeft } from '../words/times.ts'

const MIN = 60_000
const HOUR = 60 * MIN
const DAY = 24 * HOUR

/** "Shelved by J. Orme until 14:30, 2 h left"; null: nothing lies over it. The strongest alone. */
export function setAside(a: AlarmBody, nowMs: number, readerZone = ownZone()): string | null {
  const at = (ms: number): string => momentThere(ms, a.zone, nowMs, readerZone)
  const { outOfService: o, suppressed: d, shelved: s } = a
  if (o) return `Out of service by ${o.by}, ${o.overdue || o.reviewMs < nowMs ? `review overdue since ${at(o.reviewMs)}` : `review by ${at(o.reviewMs)}`}`
  if (d) return `Suppressed by design since ${at(d.atMs)}${d.endsMs === null ? '' : `, shown again ${at(d.endsMs)}`}`
  if (s) return `Shelved by ${s.by} until ${at(s.untilMs)}, ${left(s.untilMs, nowMs)}${s.oneShot ? ', or until it returns to normal' : ''}`
  return null
}

/** Time to go, live: "12 min left", "40 s left". */
export const left = (untilMs: number, nowMs: number): string => (untilMs - nowMs < MIN ? `${age(untilMs - nowMs)} left` : `${timeLeft((untilMs - nowMs) / MIN)} left`)

/** What happened out of sight. */
export const hidden = (a: AlarmBody): string =>
  a.hiddenCount === 0 ? 'Not raised since.' : `Raised ${a.hiddenCount === 1 ? 'once' : `${a.hiddenCount} times`} since, told to nobody.`

export interface Choice {
  readonly untilMs: number
  readonly words: string
}

const SPANS = [15 * MIN, 30 * MIN, HOUR, 2 * HOUR, 4 * HOUR, 8 * HOUR]

/** How long it may rest, the shortest first; the last is as long as is allowed. Empty: it cannot be shelved. */
export function restChoices(a: AlarmBody, nowMs: number): readonly Choice[] {
  const { latestMs } = a.shelf
  if (latestMs === null || latestMs <= nowMs) return []
  const spans = SPANS.filter((s) => nowMs + s < latestMs - 5 * MIN).map((s) => ({ untilMs: nowMs + s, words: age(s) }))
  return [...spans, { untilMs: latestMs, words: `until ${moment(latestMs, a.zone, nowMs)}, the longest allowed` }]
}

/** When it is looked at again. */
export const reviewChoices = (nowMs: number): readonly Choice[] =>
  [1, 3, 7, 14, 29].map((days) => ({ untilMs: nowMs + days * DAY, words: days === 1 ? 'tomorrow' : `in ${days} days` }))

export const GROUPS = [
  ['shelved', 'Shelved', 'A person lets them rest for a while; they come back by themselves.'],
  ['suppressed', 'Suppressed by design', 'Another fact makes them meaningless for now; they come back when it has gone.'],
  ['out-of-service', 'Out of service', 'Instrument or machine in repair; somebody must bring them back.'],
] as const
