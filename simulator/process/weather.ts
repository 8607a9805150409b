/**
 * Weather of a place as a function of time alone: season and time of day, days that are warmer or colder than their
 * season, and rain that falls in events. Drawn per calendar day (UTC) from the seed, so any moment can be asked in any order.
 */
import { draw, drawNormal } from '../random.ts'

export interface Climate {
  readonly meanC: number
  /** Half the difference between the warmest and the coldest month. */
  readonly seasonC: number
  /** Half the difference between afternoon and dawn. */
  readonly dayC: number
  /** Day of the year with the warmest weather: about 200 in the north, 20 in the south. */
  readonly warmestDay: number
  /** How far a day strays from its season, standard deviation. */
  readonly strayC: number
  readonly rainMmPerYear: number
  readonly rainDaysPerYear: number
  /** Relative humidity, 0 to 1. */
  readonly humidity: number
  readonly longitude: number
}

export interface Sky {
  airC: number
  rainMmPerH: number
  /** Slow mean of air, for ground and mains water. */
  groundC: number
  humidity: number
}

const DAY = 86_400_000

interface RainEvent {
  readonly fromMs: number
  readonly toMs: number
  readonly mmPerH: number
}

export function weather(c: Climate, seed: number): (atMs: number) => Sky {
  const sky: Sky = { airC: c.meanC, rainMmPerH: 0, groundC: c.meanC, humidity: c.humidity }
  let cachedDay = Number.NaN
  let events: readonly RainEvent[] = []
  let strayA = 0
  let strayB = 0
  return (atMs) => {
    const day = Math.floor(atMs / DAY)
    if (day !== cachedDay) {
      cachedDay = day
      events = [...rainOf(c, seed, day - 1), ...rainOf(c, seed, day)]
      strayA = drawNormal(seed, 'stray', day) * c.strayC
      strayB = drawNormal(seed, 'stray', day + 1) * c.strayC
    }
    const share = (atMs - day * DAY) / DAY
    const year = (2 * Math.PI * (atMs / DAY - c.warmestDay)) / 365.2425
    const hour = share * 24 + c.longitude / 15
    const smooth = share * share * (3 - 2 * share)
    let rain = 0
    for (const e of events) if (atMs >= e.fromMs && atMs < e.toMs) rain += e.mmPerH * Math.sin((Math.PI * (atMs - e.fromMs)) / (e.toMs - e.fromMs)) * (Math.PI / 2)
    sky.rainMmPerH = rain
    // Cloud of a wet day flattens its warmth.
    sky.airC = c.meanC + c.seasonC * Math.cos(year) + c.dayC * Math.cos((2 * Math.PI * (hour - 15)) / 24) * (rain > 0 ? 0.4 : 1) + strayA + (strayB - strayA) * smooth
    sky.groundC = c.meanC + 0.5 * c.seasonC * Math.cos(year - 0.6)
    sky.humidity = rain > 0 ? 0.95 : c.humidity
    return sky
  }
}

/** Rain events that begin on a day. Durations and depths are exponential; the mean depth makes the year add up. */
function rainOf(c: Climate, seed: number, day: number): readonly RainEvent[] {
  const p = c.rainDaysPerYear / 365.2425
  if (draw(seed, 'wet', day) >= p) return []
  const depthMm = (c.rainMmPerYear / c.rainDaysPerYear) * -Math.log(1 - draw(seed, 'depth', day))
  const hours = 0.5 - 2.5 * Math.log(1 - draw(seed, 'length', day))
  const fromMs = day * DAY + draw(seed, 'start', day) * DAY
  return [{ fromMs, toMs: fromMs + hours * 3_600_000, mmPerH: depthMm / hours }]
}

/** Saturation vapour pressure over water, hPa (Magnus form; WMO coefficients, from memory). */
export const vapourHpa = (c: number): number => 6.112 * Math.exp((17.62 * c) / (243.12 + c))
