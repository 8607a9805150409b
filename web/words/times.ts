/** Times in the site's zone and lengths of time, in the forms of the look: `03:11`, `Mon 22:40`, `12 Nov 08:31`; `4 s`, `6 min`, `2 h 10`, `3 d`. */
const NBSP = '\u00a0'
const formats = new Map<string, Intl.DateTimeFormat>()

function format(zone: string, key: string, options: Intl.DateTimeFormatOptions): Intl.DateTimeFormat {
  const id = `${zone}|${key}`
  let f = formats.get(id)
  if (!f) {
    f = new Intl.DateTimeFormat('en-GB', { timeZone: zone, hourCycle: 'h23', ...options })
    formats.set(id, f)
  }
  return f
}

export const clock = (ms: number, zone: string): string => format(zone, 'clock', { hour: '2-digit', minute: '2-digit' }).format(ms)
export const clockSeconds = (ms: number, zone: string): string => format(zone, 'seconds', { hour: '2-digit', minute: '2-digit', second: '2-digit' }).format(ms)
export const day = (ms: number, zone: string): string => format(zone, 'day', { weekday: 'short', day: 'numeric', month: 'short' }).format(ms).replace(',', '')
const dayKey = (ms: number, zone: string): string => format(zone, 'key', { year: 'numeric', month: '2-digit', day: '2-digit' }).format(ms)

/** A moment as short as it can be said from `nowMs`. */
export function moment(ms: number, zone: string, nowMs: number): string {
  if (dayKey(ms, zone) === dayKey(nowMs, zone)) return clock(ms, zone)
  if (ms < nowMs && nowMs - ms < 6 * 86_400_000) return `${format(zone, 'weekday', { weekday: 'short' }).format(ms)} ${clock(ms, zone)}`
  const sameYear = dayKey(ms, zone).slice(6) === dayKey(nowMs, zone).slice(6)
  const date = format(zone, sameYear ? 'date' : 'dateYear', sameYear ? { day: 'numeric', month: 'short' } : { day: 'numeric', month: 'short', year: 'numeric' }).format(ms)
  return `${date} ${clock(ms, zone)}`
}

/** A moment said in full, for what is read away from the page: `Tue 17 Nov 2026 03:16`. */
export const dated = (ms: number, zone: string): string =>
  `${format(zone, 'full', { weekday: 'short', day: 'numeric', month: 'short', year: 'numeric' }).format(ms).replace(',', '')} ${clock(ms, zone)}`

/** A moment at a site, with its offset when the reader's clock shows another: two zones may stand side by side. */
export function momentThere(ms: number, zone: string, nowMs: number, readerZone: string): string {
  const said = moment(ms, zone, nowMs)
  return zone === readerZone || offset(ms, zone) === offset(ms, readerZone) ? said : `${said}${NBSP}${offset(ms, zone)}`
}

/** `UTC+1`, `UTC−3:30`, `UTC`. */
export function offset(ms: number, zone: string): string {
  const part =
    format(zone, 'offset', { timeZoneName: 'longOffset' })
      .formatToParts(ms)
      .find((p) => p.type === 'timeZoneName')?.value ?? 'GMT'
  const m = /GMT([+-])(\d{2}):(\d{2})/.exec(part)
  if (!m) return 'UTC'
  return `UTC${m[1] === '-' ? '\u2212' : '+'}${Number(m[2])}${m[3] === '00' ? '' : `:${m[3]}`}`
}

/** An age or a length of time, rounded down. */
export function age(ms: number): string {
  const s = Math.max(0, Math.floor(ms / 1000))
  if (s < 60) return `${s}${NBSP}s`
  const min = Math.floor(s / 60)
  if (min < 60) return `${min}${NBSP}min`
  const h = Math.floor(min / 60)
  if (h < 48) return min % 60 === 0 || h >= 12 ? `${h}${NBSP}h` : `${h}${NBSP}h${NBSP}${String(min % 60).padStart(2, '0')}`
  return `${Math.floor(h / 24)}${NBSP}d`
}

/** For the middle of a dotted ring: `6m`, `47m`, `3h`, `2d`. */
export function ageMark(ms: number): string {
  const min = Math.floor(ms / 60_000)
  return min < 60 ? `${min}m` : min < 2880 ? `${Math.floor(min / 60)}h` : `${Math.floor(min / 1440)}d`
}

/** Time left rounds down: to the minute under an hour, then to 5 min, over 12 h to the hour. */
export function timeLeft(minutes: number): string {
  const m = Math.max(0, Math.floor(minutes))
  if (m < 60) return `${m}${NBSP}min`
  if (m >= 720) return `${Math.floor(m / 60)}${NBSP}h`
  const five = Math.floor(m / 5) * 5
  return five % 60 === 0 ? `${five / 60}${NBSP}h` : `${Math.floor(five / 60)}${NBSP}h${NBSP}${String(five % 60).padStart(2, '0')}`
}

/** A local date, `2026-10-29`, as `29 Oct 2026`. It has no zone and gets none. */
export function date(iso: string): string {
  return format('UTC', 'isoDate', { day: 'numeric', month: 'short', year: 'numeric' }).format(Date.parse(`${iso}T00:00:00Z`))
}

/** The zone the browser itself stands in. */
const own = new Intl.DateTimeFormat().resolvedOptions().timeZone
export const ownZone = (): string => own

/** A day as `5 Dec`, with its year where it is another one than that of `nowMs`. */
export function dayOfYear(ms: number, zone: string, nowMs: number): string {
  const sameYear = dayKey(ms, zone).slice(6) === dayKey(nowMs, zone).slice(6)
  return format(zone, sameYear ? 'date' : 'dateYear', sameYear ? { day: 'numeric', month: 'short' } : { day: 'numeric', month: 'short', year: 'numeric' }).format(ms)
}
