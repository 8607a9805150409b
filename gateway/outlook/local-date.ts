/** Local dates as a person writes them, `2026-09-14`: they have no zone until a site gives them one. Gregorian arithmetic, March-based years. */
import { wallMinute } from '../site/site.ts'

const DAY_MS = 86_400_000

const partsOf = (date: string): readonly [number, number, number] => [Number(date.slice(0, 4)), Number(date.slice(5, 7)), Number(date.slice(8, 10))]
const two = (n: number): string => String(n).padStart(2, '0')

/** Days since 1970-01-01. */
function dayNumber(date: string): number {
  const [y, m, d] = partsOf(date)
  const year = m <= 2 ? y - 1 : y
  const era = Math.floor(year / 400)
  const inEra = year - era * 400
  const inYear = Math.floor((153 * (m > 2 ? m - 3 : m + 9) + 2) / 5) + d - 1
  return era * 146_097 + inEra * 365 + Math.floor(inEra / 4) - Math.floor(inEra / 100) + inYear - 719_468
}

/** Noon of that date on the wall clock of `zone`. */
export function noonOf(date: string, zone: string): number {
  const days = dayNumber(date)
  const utcNoon = days * DAY_MS + DAY_MS / 2
  const there = wallMinute(zone, utcNoon)
  // 1970-01-01 was a Thursday. East of UTC+12 it is the next day there already.
  const weekday = (((days + 4) % 7) + 7) % 7
  const ahead = ((there.day - weekday + 10) % 7) - 3
  return utcNoon - (ahead * 1440 + there.minute - 720) * 60_000
}

/** The 31st, a month on, is the last day of a shorter month. */
export function monthsLater(date: string, months: number): string {
  const [y, m, d] = partsOf(date)
  const at = y * 12 + (m - 1) + months
  const [year, month] = [Math.floor(at / 12), (at % 12) + 1]
  const most = month === 2 ? (year % 4 === 0 && (year % 100 !== 0 || year % 400 === 0) ? 29 : 28) : [4, 6, 9, 11].includes(month) ? 30 : 31
  return `${String(year).padStart(4, '0')}-${two(month)}-${two(Math.min(d, most))}`
}
