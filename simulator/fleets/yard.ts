/**
 * Yards put together from a climate, a trade and a size. Dirt per litre lies within published strengths of vehicle-wash water: COD
 * 100 to 1500 mg/L, suspended solids 300 to 5000, oil and grease 10 to 300, surfactant 1 to 60 (Hashim & Zayadi 2016; Kurian & Natarajan
 * 1997 as quoted by Mazumder & Mukherjee 2011; Water Sci. Technol. 80(10) 1902, 2019). Climates are invented.
 */
import { referenceDirt, type YardFacts } from '../process/spec.ts'
import type { Climate } from '../process/weather.ts'

export const CLIMATES = {
  mildCoast: { meanC: 11, seasonC: 5, dayC: 2.5, warmestDay: 215, strayC: 1.8, rainMmPerYear: 1000, rainDaysPerYear: 170, humidity: 0.82, longitude: -4 },
  warmCoast: { meanC: 17, seasonC: 6, dayC: 4, warmestDay: 218, strayC: 1.8, rainMmPerYear: 600, rainDaysPerYear: 85, humidity: 0.7, longitude: -8 },
  inland: { meanC: 10, seasonC: 10, dayC: 4.5, warmestDay: 201, strayC: 2.6, rainMmPerYear: 580, rainDaysPerYear: 140, humidity: 0.75, longitude: 12 },
  north: { meanC: 4, seasonC: 10, dayC: 3, warmestDay: 205, strayC: 3.2, rainMmPerYear: 620, rainDaysPerYear: 160, humidity: 0.8, longitude: 20 },
  plains: { meanC: 11, seasonC: 14, dayC: 6, warmestDay: 200, strayC: 3.5, rainMmPerYear: 900, rainDaysPerYear: 105, humidity: 0.68, longitude: -93 },
  highDesert: { meanC: 13, seasonC: 12, dayC: 9, warmestDay: 200, strayC: 2.5, rainMmPerYear: 240, rainDaysPerYear: 50, humidity: 0.35, longitude: -106 },
  south: { meanC: 14, seasonC: 5.5, dayC: 5, warmestDay: 25, strayC: 2.2, rainMmPerYear: 700, rainDaysPerYear: 120, humidity: 0.68, longitude: 174 },
} as const satisfies Record<string, Climate>
export type ClimateName = keyof typeof CLIMATES

export const TRADES = {
  buses: { vehicleL: 340, perDay: 34, dirt: { ...referenceDirt, cod: 150, nitrogen: 5 } },
  lorries: { vehicleL: 450, perDay: 20, dirt: { ...referenceDirt, salt: 120 } },
  quarry: { vehicleL: 800, perDay: 10, dirt: { ...referenceDirt, cod: 110, oil: 90, solids: 1500 } },
  refuse: { vehicleL: 760, perDay: 12, dirt: { ...referenceDirt, cod: 260, solids: 650 } },
  boats: { vehicleL: 500, perDay: 8, dirt: { ...referenceDirt, cod: 120, salt: 480, solids: 200 } },
  food: { vehicleL: 380, perDay: 22, dirt: { cod: 300, inert: 90, oil: 120, surfactant: 18, solids: 150, alkalinity: 30, salt: 400, nitrogen: 22 } },
  farm: { vehicleL: 650, perDay: 7, dirt: { ...referenceDirt, cod: 220, solids: 1100, nitrogen: 12 } },
} as const
export type Trade = keyof typeof TRADES

const WORKING_DAY = [0, 0, 0, 0, 0, 1, 3, 4, 5, 5, 5, 4, 3, 4, 5, 5, 4, 3, 2, 2, 1, 1, 0, 0]

export interface YardShape {
  readonly climate: ClimateName
  readonly trade: Trade
  /** Against the usual number of vehicles. */
  readonly busy: number
  readonly tanks: number
  readonly dosed: boolean
  /** Alkalinity of the mains, mg CaCO3/L. */
  readonly hardness: number
  readonly indoorC: number | null
  readonly voltage: number
}

/** Air and biomass follow from the load a loop carries. */
export function yard(y: YardShape): YardFacts {
  const trade = TRADES[y.trade]
  const perDay = trade.perDay * y.busy
  const load = Math.max(0.5, Math.min(1.6, (trade.vehicleL * perDay * trade.dirt.cod) / (9000 * 170)))
  return {
    climate: CLIMATES[y.climate],
    wash: { vehicleL: trade.vehicleL, vehiclesPerDay: perDay, weekdays: [0.4, 1, 1, 1, 1, 1, 0.7], hours: WORKING_DAY, trigger: 0.8 },
    dirt: trade.dirt,
    makeUp: { flowLPerMin: 17, startPct: 42, stopPct: 60, alkalinity: y.hardness, salt: 1.9 * y.hardness, ph: 7.5 },
    kla: { treatment: 8 + 3 * load, bio: 3 },
    biomass: Array.from({ length: 1 + y.tanks }, (_, i) => Math.round([900, 250, 150, 100, 80][Math.min(i, 4)] ?? 80) * load),
    carryOff: 0.2,
    mist: y.climate === 'highDesert' ? 0.08 : 0.05,
    indoorC: y.indoorC,
    dosePh: y.dosed ? 7.75 : 99,
    ozoneGPerH: 7,
    voltage: y.voltage,
  }
}
