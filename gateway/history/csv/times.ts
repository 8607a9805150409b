/**
 * Times as CSV files hold them. What cannot be known from the file is asked for, never guessed: the zone of a time that has none, which
 * of 03/04/2026 is the month, whether a bare number counts seconds or milliseconds.
 */
import { readTime, type WallTime } from '../../intake/payload-time.ts'

export type DateOrder = 'ymd' | 'dmy' | 'mdy'

export interface TimeForm {
  /** null: not said. */
  readonly dates: DateOrder | null
  readonly numbers: 's' | 'ms' | null
  /** What a time without a zone means: minutes east of UTC, a wall clock, or not said. */
  readonly naive: number | 'wall' | 'refused'
}

/** `ask`: no line of this file can be read until a person says more. */
export type TimeRead = number | WallTime | { readonly fault: string; readonly ask: boolean }

const ISO = /^(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[Tt ]+(.+))?$/
const OTHER = /^(\d{1,2})[-/.](\d{1,2})[-/.](\d{4})(?:[Tt, ]+(.+))?$/
const CLOCK = /^(\d{1,2}):(\d{2})(?::(\d{2})([.,]\d+)?)? ?([AaPp][Mm])? ?(Z|z|UTC|[+-]\d{2}:?\d{2})?$/

/** Reads a time: ms since 1970 UTC, a wall time, or what is wrong with it and what would help. */
export function timeOfCell(text: string, form: TimeForm): TimeRead {
  if (text === '') return fault('no time')
  if (/^-?\d+(\.\d+)?$/.test(text)) {
    if (form.numbers === null) return ask(`"${text}" is a bare number: say what it counts since 1970 with --times-in s or --times-in ms`)
    return Math.floor(Number(text) * (form.numbers === 's' ? 1000 : 1))
  }
  const iso = ISO.exec(text)
  const other = iso ? null : OTHER.exec(text)
  const clock = CLOCK.exec(iso?.[4] ?? other?.[4] ?? '00:00')
  if ((!iso && !other) || !clock) return fault(`"${text.slice(0, 40)}" is no time such as 2026-03-01T10:00:00Z or 01.03.2026 10:00`)
  if (other && form.dates !== 'dmy' && form.dates !== 'mdy') return ask(`"${text}" can be read in two ways: say --dates dmy (day first) or --dates mdy (month first)`)
  const [year, month, day] = iso ? [iso[1], iso[2], iso[3]] : form.dates === 'dmy' ? [other?.[3], other?.[2], other?.[1]] : [other?.[3], other?.[1], other?.[2]]
  const hour = hourOf(Number(clock[1]), clock[5])
  if (hour === null) return fault(`"${text}" has no such time of day`)
  const zone = zoneOf(clock[6])
  if (zone === '' && form.naive === 'refused')
    return ask(
      `"${text}" has no zone: say what the times mean with --zone Europe/Lisbon (the wall clock there, with its summer time), --zone +01:00 (the same all year) or --zone UTC`,
    )
  const read = readTime(`${year}-${two(month)}-${two(day)}T${two(hour)}:${clock[2]}:${clock[3] ?? '00'}${(clock[4] ?? '').replace(',', '.')}${zone}`, form.naive)
  return typeof read === 'string' ? fault(read) : read
}

const fault = (what: string): TimeRead => ({ fault: what, ask: false })
const ask = (what: string): TimeRead => ({ fault: what, ask: true })
const two = (n: string | number | undefined): string => String(n ?? '').padStart(2, '0')

function hourOf(hour: number, half: string | undefined): number | null {
  if (half === undefined) return hour
  if (hour < 1 || hour > 12) return null
  return (hour % 12) + (half.toLowerCase() === 'pm' ? 12 : 0)
}

function zoneOf(text: string | undefined): string {
  if (text === undefined) return ''
  if (/^(Z|z|UTC)$/.test(text)) return 'Z'
  return text.includes(':') ? text : `${text.slice(0, 3)}:${text.slice(3)}`
}

/** `UTC`, `+01:00`, or the name of a zone. null: none of them. */
export function zoneOption(text: string): { readonly naive: number | 'wall'; readonly zone: string } | null {
  if (/^(UTC|Z)$/i.test(text)) return { naive: 0, zone: 'UTC' }
  const m = /^([+-])(\d{2}):(\d{2})$/.exec(text)
  if (m) return Number(m[2]) < 15 && Number(m[3]) < 60 ? { naive: (m[1] === '-' ? -1 : 1) * (Number(m[2]) * 60 + Number(m[3])), zone: text } : null
  try {
    return { naive: 'wall', zone: new Intl.DateTimeFormat('en', { timeZone: text }).resolvedOptions().timeZone }
  } catch {
    return null
  }
}
