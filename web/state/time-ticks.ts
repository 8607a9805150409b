/** Ticks of a time axis in the loop's own zone: round hours of its wall clock, also on the days its clock changes. */
import { clock, day, offset } from '../words/times.ts'

const HOUR = 3_600_000
const STEPS = [
  60_000,
  5 * 60_000,
  10 * 60_000,
  15 * 60_000,
  30 * 60_000,
  HOUR,
  2 * HOUR,
  3 * HOUR,
  6 * HOUR,
  12 * HOUR,
  24 * HOUR,
  2 * 24 * HOUR,
  7 * 24 * HOUR,
  14 * 24 * HOUR,
  30 * 24 * HOUR,
  91 * 24 * HOUR,
  182 * 24 * HOUR,
  365 * 24 * HOUR,
  3650 * 24 * HOUR,
]

export interface Tick {
  readonly ms: number
  readonly text: string
}

/** Minutes the wall clock of `zone` stands ahead of UTC at `ms`. */
export function offsetMin(ms: number, zone: string): number {
  const p = new Map(
    wall(zone)
      .formatToParts(ms)
      .map((x) => [x.type, Number(x.value)]),
  )
  const asUtc = Date.UTC(p.get('year') ?? 0, (p.get('month') ?? 1) - 1, p.get('day') ?? 1, p.get('hour') ?? 0, p.get('minute') ?? 0)
  return Math.round((asUtc - Math.floor(ms / 60_000) * 60_000) / 60_000)
}

const walls = new Map<string, Intl.DateTimeFormat>()
function wall(zone: string): Intl.DateTimeFormat {
  let f = walls.get(zone)
  if (!f) {
    f = new Intl.DateTimeFormat('en-GB', { timeZone: zone, hourCycle: 'h23', year: 'numeric', month: '2-digit', day: '2-digit', hour: '2-digit', minute: '2-digit' })
    walls.set(zone, f)
  }
  return f
}

const QUARTER = 15 * 60_000

/** At most one tick per 76 px of `room`. Steps of a day and more stand on local midnight. */
export function timeTicks(fromMs: number, toMs: number, room: number, zone: string): readonly Tick[] {
  const most = Math.max(2, Math.floor(room / 76))
  const step = STEPS.find((s) => (toMs - fromMs) / s <= most) ?? STEPS[STEPS.length - 1]!
  return step < 24 * HOUR ? withinDays(fromMs, toMs, step, zone) : onDays(fromMs, toMs, step, zone)
}

/** Walks real time and takes what the clock shows as round: an hour it shows twice has a tick each time, one it leaves out has none. Where its offset changed, the tick says the new one. */
function withinDays(fromMs: number, toMs: number, step: number, zone: string): readonly Tick[] {
  const stride = Math.min(step, QUARTER)
  const out: Tick[] = []
  let before = offsetMin(fromMs, zone)
  for (let ms = Math.ceil(fromMs / stride) * stride; ms <= toMs; ms += stride) {
    const ahead = offsetMin(ms, zone)
    if ((ms + ahead * 60_000) % step !== 0) continue
    const time = clock(ms, zone)
    const under = out.length === 0 || time === '00:00' ? day(ms, zone) : ahead === before ? '' : offset(ms, zone)
    out.push({ ms, text: under === '' ? time : `${time}\n${under}` })
    before = ahead
  }
  return out
}

/** Walks local time: each midnight's offset is looked up where it stands, so a day of 23 or 25 hours keeps its own. */
function onDays(fromMs: number, toMs: number, step: number, zone: string): readonly Tick[] {
  const out: Tick[] = []
  const start = Math.floor((fromMs + offsetMin(fromMs, zone) * 60_000) / step) * step
  for (let local = start, n = 0; n < 400; local += step, n++) {
    let ms = local - offsetMin(local - offsetMin(fromMs, zone) * 60_000, zone) * 60_000
    ms = local - offsetMin(ms, zone) * 60_000
    if (ms > toMs) break
    if (ms < fromMs || (out.length > 0 && ms <= out[out.length - 1]!.ms)) continue
    out.push({ ms, text: day(ms, zone) })
  }
  return out
}
