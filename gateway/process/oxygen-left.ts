/**
 * Time left after the air is lost: until oxygen is short, until it smells, until the biology is harmed. Three clocks with
 * intervals, never one bare number, and always of the tank whose probe and uptake were used.
 */
import { type Estimate, type NotObservable, notObservable, positive, within } from './range.ts'
import { minutesToDo } from './transfer.ts'

/** Below this uptake is limited by oxygen itself and the tank counts as without air, mg/L. */
const SHORT_MG_PER_L = 1

export interface AirLoss {
  readonly doMgPerL: number
  readonly saturationMgPerL: number
  readonly temperatureCel: number
  /** Of this tank, from its own tests; null: never measured here. */
  readonly uptakeMgPerLPerH: Estimate | null
}

export interface AirLossClocks {
  /** Minutes until oxygen falls to 1 mg/L; `high` may be Infinity when the surface alone may keep up. */
  readonly toShortMin: Estimate
  /** Hours from then until odour is likely: 8 h at 25 Cel, 16 h at 15 Cel. Reference loop, common practice; ours, not measured. */
  readonly toOdourH: Estimate
  /** Hours from then until a third of the fed activity is gone. Rates are ours, not measured. */
  readonly toHarmH: Estimate
}

/** Surface transfer, per h: none to brisk. Common practice, no source. */
const SURFACE = { low: 0, best: 0.1, high: 0.3 }

/** gives the clocks, or why not; throws RangeError for figures no tank can have */
export function airLossClocks(a: AirLoss): AirLossClocks | NotObservable {
  within('water temperature', a.temperatureCel, 0, 40, 'Cel')
  const u = a.uptakeMgPerLPerH
  if (!u) return notObservable('uptake was never measured on this loop; such tanks range from 5 min to 15 h')
  if (!(u.low <= u.best && u.best <= u.high)) throw new RangeError(`uptake runs ${u.low}, ${u.best}, ${u.high}: low, best and high must ascend`)
  const min = (uptakeMgPerLPerH: number, kLaPerH: number): number =>
    a.doMgPerL <= SHORT_MG_PER_L ? 0 : minutesToDo(a.doMgPerL, SHORT_MG_PER_L, { kLaPerH, saturationMgPerL: a.saturationMgPerL, uptakeMgPerLPerH })
  return {
    toShortMin: { low: min(u.high, SURFACE.low), best: min(u.best, SURFACE.best), high: min(u.low, SURFACE.high) },
    toOdourH: spread(odourH(a.temperatureCel), 1.5),
    toHarmH: spread(harmH(a.temperatureCel), 2),
  }
}

/** 8 h at 25 Cel, doubling for every 10 Cel less. */
const odourH = (temperatureCel: number): number => 8 * 2 ** ((25 - temperatureCel) / 10)

/** Without oxygen: 0.0015 per h for 72 h at 20 Cel, then 0.01 per h, doubling per 10 Cel; harmed is 0.7 of the activity left. */
function harmH(temperatureCel: number): number {
  const faster = 2 ** ((temperatureCel - 20) / 10)
  const early = 0.0015 * faster
  const late = 0.01 * faster
  const whole = -Math.log(0.7)
  return whole <= early * 72 ? whole / early : 72 + (whole - early * 72) / late
}

const spread = (best: number, factor: number): Estimate => ({ low: best / factor, best, high: positive('time', best, 'h') * factor })
