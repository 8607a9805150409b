/**
 * When somebody washes, and what comes off the vehicle. Vehicles of a local calendar day are drawn from the seed and the
 * date in the yard's own zone; while one stands on the pad the motor of the washer runs and the trigger is pulled in bursts.
 */
import { wallMinute, within, type WeekSpan } from '../../gateway/site/site.ts'
import { draw, prng } from '../random.ts'

/** What one litre of wash water picks up, mg; alkalinity as mg CaCO3. */
export interface Dirt {
  readonly cod: number
  readonly inert: number
  readonly oil: number
  readonly surfactant: number
  readonly solids: number
  readonly alkalinity: number
  readonly salt: number
  readonly nitrogen: number
}

export interface Washing {
  readonly zone: string
  readonly open: readonly WeekSpan[]
  /** Litres of one vehicle, mean; half to twice that in practice. */
  readonly vehicleL: number
  /** Vehicles of a full weekday. */
  readonly vehiclesPerDay: number
  /** Share of a full day, Sunday to Saturday. */
  readonly weekdays: readonly number[]
  /** Weight of each hour of the local day, 24 numbers; only open hours count. */
  readonly hours: readonly number[]
  /** Share of the time on the pad with the trigger pulled. */
  readonly trigger: number
  readonly lanceLPerMin: number
}

export interface Vehicle {
  readonly fromMs: number
  readonly toMs: number
  /** Dirtier or cleaner than the yard's mean. */
  readonly dirt: number
}

/** What the yard does at a moment: is a vehicle on the pad, is the trigger pulled, how dirty is it. */
export interface Yard {
  onPad: boolean
  trigger: boolean
  dirt: number
}

const HOUR = 3_600_000

export function washing(w: Washing, seed: number): (atMs: number, rush: number) => Yard {
  const now: Yard = { onPad: false, trigger: false, dirt: 1 }
  let fromMs = Number.POSITIVE_INFINITY
  let untilMs = Number.NEGATIVE_INFINITY
  let list: readonly Vehicle[] = []
  const burstMs = 80_000
  return (atMs, rush) => {
    if (atMs >= untilMs || atMs < fromMs) {
      const start = dayStart(w.zone, atMs)
      list = [...vehiclesOf(w, seed, start - 12 * HOUR), ...vehiclesOf(w, seed, start + 12 * HOUR)]
      fromMs = start
      untilMs = start + 20 * HOUR > atMs ? Math.min(start + 20 * HOUR, dayStart(w.zone, start + 30 * HOUR)) : atMs + HOUR
    }
    const on = list.find((v) => atMs >= v.fromMs && atMs < v.toMs)
    // In a rush the next vehicle already waits: the pad is not empty between two.
    const busy = on ?? (rush > 0 && draw(seed, 'rush', Math.floor(atMs / 300_000)) < rush ? { fromMs: Math.floor(atMs / 300_000) * 300_000, toMs: 0, dirt: 1 } : undefined)
    now.onPad = busy !== undefined
    now.dirt = busy?.dirt ?? 1
    now.trigger = busy !== undefined && (atMs - busy.fromMs) % burstMs < burstMs * w.trigger
    return now
  }
}

/** UTC instant of the last local midnight at or before `atMs`, to the minute. */
export function dayStart(zone: string, atMs: number): number {
  const minute = Math.floor(atMs / 60_000) * 60_000
  let start = minute - wallMinute(zone, minute).minute * 60_000
  // The day the clocks change has 23 or 25 hours; one look back puts it right.
  const off = wallMinute(zone, start).minute
  if (off !== 0) start += off > 720 ? (1440 - off) * 60_000 : -off * 60_000
  return start
}

/** Vehicles of the local day that holds `atMs`, in order, never two at once. */
export function vehiclesOf(w: Washing, seed: number, atMs: number): readonly Vehicle[] {
  const start = dayStart(w.zone, atMs)
  const { day } = wallMinute(w.zone, start + 12 * HOUR)
  const next = prng(seed, `wash ${Math.floor((start + 12 * HOUR) / 86_400_000)}`)
  const weights = w.hours.map((h, i) => (within(w.open, w.zone, start + i * HOUR + HOUR / 2, true) ? h : 0))
  const total = weights.reduce((a, b) => a + b, 0)
  const mean = w.vehiclesPerDay * (w.weekdays[day] ?? 1)
  if (total <= 0 || mean <= 0) return []
  const out: Vehicle[] = []
  const count = Math.max(0, Math.round(mean * (0.75 + 0.5 * next())))
  const arrivals = Array.from({ length: count }, () => {
    let r = next() * total
    let h = 0
    while (h < 23 && r >= (weights[h] ?? 0)) r -= weights[h++] ?? 0
    return start + h * HOUR + next() * HOUR
  }).sort((a, b) => a - b)
  let free = start
  for (const a of arrivals) {
    const litres = w.vehicleL * (0.5 + 1.1 * next() ** 1.2)
    const fromMs = Math.round(Math.max(a, free) / 1000) * 1000
    const toMs = fromMs + Math.round((litres / (w.lanceLPerMin * w.trigger)) * 60) * 1000
    // A vehicle that could only begin after closing goes home dirty.
    if (within(w.open, w.zone, fromMs, true)) {
      out.push({ fromMs, toMs, dirt: 0.5 + next() })
      free = toMs + 60_000 + next() * 120_000
    }
  }
  return out
}
