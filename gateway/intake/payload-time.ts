/**
 * Times as senders write them. Written out by hand because pure files have no `Date`, and because `Date.parse` takes
 * text without a zone for local time without a word.
 */
import type { SiteClock } from '../site/site.ts'

const SHAPE = /^(\d{4})-(\d{2})-(\d{2})[Tt ](\d{2}):(\d{2}):(\d{2})(?:[.,](\d+))?(?:([Zz])|([+-])(\d{2}):(\d{2}))?$/

/** A time on a wall clock whose zone the site file says: ms as if it were UTC. */
export interface WallTime {
  readonly wallMs: number
}

/** Milliseconds since 1970 UTC, a wall time, or a sentence saying what is wrong with the text. */
export type TimeResult = number | WallTime | string

/** Marks the sentence about a time without a zone. */
export const NO_ZONE = 'has no zone'

/**
 * Reads an RFC 3339 time with its zone: `2026-03-01T10:00:00Z`, `2026-03-01T10:00:00.250+01:00`. Parts of a millisecond
 * are cut off. A leap second is refused, and so is a time without a zone unless the site file says what it means (`naive`),
 * because both would have to be guessed.
 */
export function readTime(text: string, naive: SiteClock['naive'] = 'refused'): TimeResult {
  const m = text.length <= 40 ? SHAPE.exec(text) : null
  if (!m) return `${quoted(text)} is no RFC 3339 time such as 2026-03-01T10:00:00Z`
  const [year, month, day, hour, minute, second] = [m[1], m[2], m[3], m[4], m[5], m[6]].map(Number) as [number, number, number, number, number, number]
  const isNaive = m[8] === undefined && m[9] === undefined
  if (isNaive && naive === 'refused') return `${quoted(text)} ${NO_ZONE}: add Z or an offset such as +01:00, or say in the site file what it means (clock: { zone: local })`
  if (second === 60) return `${quoted(text)} is a leap second: send :59 or the next full minute`
  if (month < 1 || month > 12 || day < 1 || day > daysIn(year, month)) return `${quoted(text)} has no such day in the calendar`
  const offsetHour = Number(m[10] ?? 0)
  const offsetMinute = Number(m[11] ?? 0)
  if (hour > 23 || minute > 59 || second > 59 || offsetHour > 23 || offsetMinute > 59) return `${quoted(text)} has no such time of day`
  const ms = Number((m[7] ?? '').slice(0, 3).padEnd(3, '0'))
  const at = civilMs(year, month, day, hour, minute, second) + ms
  if (!isNaive) return at - (m[9] === '-' ? -1 : 1) * (offsetHour * 60 + offsetMinute) * 60_000
  return naive === 'wall' ? { wallMs: at } : at - (naive === 'refused' ? 0 : naive) * 60_000
}

/** ms since 1970 UTC of a date and time of day in UTC; a valid date is the caller's business. */
export function civilMs(year: number, month: number, day: number, hour: number, minute: number, second: number): number {
  return ((daysSince1970(year, month, day) * 24 + hour) * 60 + minute) * 60_000 + second * 1000
}

/** Only digits and the signs of a time are ever repeated; other text could be anything. */
const quoted = (text: string): string => (text.length <= 40 && /^[\dTtZz:+\-., ]*$/.test(text) ? `"${text}"` : `text of ${text.length} characters`)

const isLeap = (year: number): boolean => (year % 4 === 0 && year % 100 !== 0) || year % 400 === 0

const LENGTHS = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31] as const
const daysIn = (year: number, month: number): number => (month === 2 && isLeap(year) ? 29 : (LENGTHS[month - 1] ?? 0))

/** Days of the Gregorian calendar from 1970-01-01, counted in years that begin in March so that the leap day comes last. */
function daysSince1970(year: number, month: number, day: number): number {
  const y = month <= 2 ? year - 1 : year
  const dayOfYear = Math.floor((153 * (month + (month > 2 ? -3 : 9)) + 2) / 5) + day - 1
  return y * 365 + Math.floor(y / 4) - Math.floor(y / 100) + Math.floor(y / 400) + dayOfYear - 719_468
}
