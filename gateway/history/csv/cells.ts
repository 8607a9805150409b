/** How readings are written in CSV (RFC 4180): cells, figures, times. */

/** In quotes where it has to be. */
export const cell = (text: string): string => (/[",\r\n]/.test(text) || text !== text.trim() ? `"${text.replaceAll('"', '""')}"` : text)

/** The shortest text that gives the same double back; empty: no figure. */
export const figure = (value: number | null): string => (value === null ? '' : Object.is(value, -0) ? '-0' : String(value))

const DAY_MS = 86_400_000
const two = (n: number): string => (n < 10 ? `0${n}` : `${n}`)
const days = new Map<number, string>()

/** RFC 3339 in UTC with ms, `2026-01-15T03:00:00.000Z`; times from 1970 on. */
export function timeText(ms: number): string {
  const day = Math.floor(ms / DAY_MS)
  let date = days.get(day)
  if (date === undefined) {
    if (days.size > 400) days.clear()
    days.set(day, (date = dateOf(day)))
  }
  const rest = ms - day * DAY_MS
  const s = Math.floor(rest / 1000)
  return `${date}T${two(Math.floor(s / 3600))}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}.${String(rest % 1000).padStart(3, '0')}Z`
}

/** Gregorian date of a day since 1970, in years that begin in March so that the leap day comes last. */
function dateOf(day: number): string {
  const d = day + 719_468
  const era = Math.floor(d / 146_097)
  const inEra = d - era * 146_097
  const year = Math.floor((inEra - Math.floor(inEra / 1460) + Math.floor(inEra / 36_524) - Math.floor(inEra / 146_096)) / 365)
  const inYear = inEra - (365 * year + Math.floor(year / 4) - Math.floor(year / 100))
  const m = Math.floor((5 * inYear + 2) / 153)
  const month = m < 10 ? m + 3 : m - 9
  return `${String(year + era * 400 + (month <= 2 ? 1 : 0)).padStart(4, '0')}-${two(month)}-${two(inYear - Math.floor((153 * m + 2) / 5) + 1)}`
}
