/**
 * Water on its way: dwell, what is left of a slug, pump power, nozzle wear, rain on the pad.
 * sources  definitions and exact arithmetic; nozzle law: flow ~ area x square root of pressure
 */
import { positive, within } from './range.ts'

/** Hours water spends in tanks one after another. */
export const dwellH = (volumesL: readonly number[], flowLPerMin: number): number =>
  volumesL.reduce((sum, v) => sum + positive('volume', v, 'L'), 0) / positive('flow', flowLPerMin, 'L/min') / 60

/**
 * Where a slug is that entered the first tank of a train at once: share of it in each tank after `hours`, mixed tanks in series.
 * The sum is what is still in the train. One tank holds 36.8 % after one dwell time and 13.5 % after two.
 * volumesL  1-16 tanks in the order the water meets them
 */
export function slugShares(volumesL: readonly number[], flowLPerMin: number, hours: number): readonly number[] {
  within('number of tanks', volumesL.length, 1, 16, '')
  positive('time', hours, 'h', true)
  const rates = volumesL.map((v) => (60 * positive('flow', flowLPerMin, 'L/min', true)) / positive('volume', v, 'L'))
  const fastest = Math.max(...rates)
  if (fastest * hours === 0) return rates.map((_, i) => (i === 0 ? 1 : 0))
  // Uniformisation: the chain moves at the beats of one Poisson clock, a tank passing its share on with rate/fastest per beat.
  // Every term is positive, so nothing cancels, and equal volumes need no special case. Long spans go in pieces, since
  // exp(-beats) must not vanish.
  const pieces = Math.ceil((fastest * hours) / 50)
  const beats = (fastest * hours) / pieces
  let share: readonly number[] = rates.map((_, i) => (i === 0 ? 1 : 0))
  for (let p = 0; p < pieces; p += 1) share = advance(share, rates, fastest, beats)
  return share
}

function advance(start: readonly number[], rates: readonly number[], fastest: number, beats: number): number[] {
  let state = [...start]
  let weight = Math.exp(-beats)
  let seen = weight
  const sum = state.map((s) => s * weight)
  for (let n = 1; seen < 1 - 1e-15 && n < 400; n += 1) {
    let passed = 0
    state = state.map((s, i) => {
      const goes = (s * (rates[i] ?? 0)) / fastest
      const stays = s - goes + passed
      passed = goes
      return stays
    })
    weight *= beats / n
    seen += weight
    for (let i = 0; i < sum.length; i += 1) sum[i] = (sum[i] ?? 0) + weight * (state[i] ?? 0)
  }
  return sum
}

/** Power in the water, kW: flow x pressure. */
export const hydraulicKw = (flowLPerMin: number, bar: number): number => (positive('flow', flowLPerMin, 'L/min', true) * positive('pressure', bar, 'bar', true)) / 600

/** Power the motor must give at the shaft, kW; efficiency of the pump 0.1-1. */
export const shaftKw = (hydraulic: number, efficiency: number): number => positive('hydraulic power', hydraulic, 'kW', true) / within('pump efficiency', efficiency, 0.1, 1, '')

/** Centrifugal pump at another speed: flow, head and power as shares of before. Not for plunger pumps (flow ~ speed, power ~ speed at one pressure). */
export function affinity(speedShare: number): { flow: number; head: number; power: number } {
  const n = within('speed', speedShare, 0, 2, 'of before')
  return { flow: n, head: n ** 2, power: n ** 3 }
}

/** Pressure before a worn nozzle, share of when it was new, at the fixed flow of a plunger pump: area +10 % gives -17 %. */
export const nozzlePressureShare = (areaShare: number): number => 1 / within('nozzle area', areaShare, 0.2, 5, 'of new') ** 2

/** Rain that a pad sends into the sump, L/h; 25 mm/h on 60 m2 is as much as a whole loop can move. */
export const rainLPerH = (mmPerH: number, areaM2: number): number => within('rain', mmPerH, 0, 500, 'mm/h') * positive('area', areaM2, 'm2', true)

/** Minutes until a headroom is filled; Infinity when nothing flows in on balance. */
export const minutesToFill = (headroomL: number, inflowLPerMin: number): number =>
  inflowLPerMin <= 0 ? Number.POSITIVE_INFINITY : positive('headroom', headroomL, 'L', true) / inflowLPerMin
