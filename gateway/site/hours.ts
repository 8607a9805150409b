import type { WeekSpan } from './site.ts'

const NAMES = ['sun', 'mon', 'tue', 'wed', 'thu', 'fri', 'sat'] as const
const EVERY: readonly WeekSpan[] = NAMES.map((_, day) => ({ day, fromMin: 0, toMin: 1440 }))

/**
 * Opening hours as written in a site file: `always`, or days against times, `{ mon-fri: "06:00-20:00", sat: "08:00-12:00, 14:00-18:00" }`.
 * A span that ends before it begins runs past midnight into the next day.
 * Gives the spans of the week, or a sentence saying what is wrong.
 */
export function readHours(hours: 'always' | Readonly<Record<string, string>>): readonly WeekSpan[] | string {
  if (hours === 'always') return EVERY
  const out: WeekSpan[] = []
  for (const [days, times] of Object.entries(hours)) {
    const range = daysOf(days)
    if (!range) return `"${days}" is no day: write mon, mon-fri or sat-sun`
    for (const part of times.split(',')) {
      const m = /^\s*(\d{2}):(\d{2})\s*-\s*(\d{2}):(\d{2})\s*$/.exec(part)
      const from = m ? Number(m[1]) * 60 + Number(m[2]) : Number.NaN
      const to = m ? Number(m[3]) * 60 + Number(m[4]) : Number.NaN
      if (!(from < 1440 && to <= 1440 && from !== to)) return `"${part.trim()}" is no span of the day: write "06:00-20:00"`
      for (const day of range) {
        if (from < to) out.push({ day, fromMin: from, toMin: to })
        else {
          out.push({ day, fromMin: from, toMin: 1440 })
          if (to > 0) out.push({ day: (day + 1) % 7, fromMin: 0, toMin: to })
        }
      }
    }
  }
  return out
}

function daysOf(text: string): readonly number[] | null {
  const [a, b, ...rest] = text.toLowerCase().trim().split('-')
  const first = NAMES.findIndex((n) => n === a)
  const last = b === undefined ? first : NAMES.findIndex((n) => n === b)
  if (first < 0 || last < 0 || rest.length > 0) return null
  const out: number[] = []
  for (let d = first; ; d = (d + 1) % 7) {
    out.push(d)
    if (d === last) return out
  }
}
