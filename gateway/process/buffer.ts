/**
 * How much acid the water can still take, read from its own dosing.
 *
 * Every acid dose is a titration: the same dose that moves pH by 0.12 at an alkalinity of 85 mg/L moves it by 0.24 at 40 and 0.43
 * at 20. The size of the step, dose by dose, warns weeks before alkalinity is gone, and needs no reagent. What it cannot do is
 * give alkalinity in mg/L: for that stroke, strength and mixed volume must be known and the carbon dioxide in the water guessed.
 * The word is alkalinity left; nobody has a reserve of acid.
 * source  common practice, no source
 */
import { alkalinityMgPerL, CO2_IN_AIR_ATM, carbonateMmolPerL, openAlkalinityMgPerL, phClosed } from './carbonate.ts'
import { type Estimate, type NotObservable, notObservable, positive, within } from './range.ts'

export interface PhPoint {
  readonly atMs: number
  readonly ph: number
}

/** One acid dose; `amount` in any unit that is the same for all (strokes, s of pump run, mL). */
export interface AcidDose {
  readonly fromMs: number
  readonly toMs: number
  readonly amount: number
}

export interface DoseStep {
  readonly atMs: number
  readonly before: number
  readonly after: number
  readonly amount: number
}

export interface BufferSettings {
  /** How long mixing takes before the lowest pH is read. */
  readonly mixMs: number
  /** Smallest step of the pH signal. */
  readonly resolution: number
  readonly leastDoses: number
}

export const BUFFER_DEFAULTS: BufferSettings = { mixMs: 10 * 60_000, resolution: 0.01, leastDoses: 5 }

export interface BufferStrength {
  readonly kind: 'buffer'
  /** Dose that moves pH by one unit, in the unit of the doses. Falls as alkalinity is used up: trend it against its own past. */
  readonly amountPerPh: Estimate
  /** Median pH before a dose: the value to trend, since the mean follows the rhythm of dosing. */
  readonly phBefore: number
  readonly doses: number
}

/**
 * Steps of pH caused by doses. A dose is left out when pH was not read within `mixMs` before it and after it, or when the next
 * one began before the water was mixed.
 * points, doses  ascending by time; throws RangeError when a dose ends before it begins or its amount is not above zero
 */
export function doseSteps(points: readonly PhPoint[], doses: readonly AcidDose[], s: BufferSettings = BUFFER_DEFAULTS): readonly DoseStep[] {
  const out: DoseStep[] = []
  doses.forEach((d, i) => {
    if (d.toMs < d.fromMs) throw new RangeError(`a dose ends at ${d.toMs}, before it begins at ${d.fromMs}`)
    positive('dose', d.amount, 'units')
    const endMs = d.toMs + s.mixMs
    const next = doses[i + 1]
    if (next && next.fromMs < endMs) return
    const before = points.findLast((p) => p.atMs <= d.fromMs && p.atMs >= d.fromMs - s.mixMs)
    const after = points.filter((p) => p.atMs > d.fromMs && p.atMs <= endMs)
    const settled = after.at(-1)
    // The last value of the mixing time, not the lowest: a probe beside the dosing point dips far below what the tank becomes.
    if (!before || !settled || settled.atMs <= d.toMs) return
    out.push({ atMs: d.fromMs, before: before.ph, after: settled.ph, amount: d.amount })
  })
  return out
}

/** Dose per unit of pH over several doses: from the summed fall, with an interval from how the doses differ among themselves. */
export function bufferStrength(steps: readonly DoseStep[], s: BufferSettings = BUFFER_DEFAULTS): BufferStrength | NotObservable {
  within('least doses', s.leastDoses, 2, 1000, '')
  if (steps.length < s.leastDoses) return notObservable(`only ${steps.length} clean doses were seen and ${s.leastDoses} are needed`)
  const n = steps.length
  const fall = steps.reduce((sum, d) => sum + (d.before - d.after), 0)
  if (fall < 5 * s.resolution)
    return notObservable(`${n} doses together moved pH by ${fall.toFixed(2)}, too little for a signal that shows ${s.resolution}: strong buffer, no dose arriving, or a dead probe`)
  const amounts = steps.reduce((sum, d) => sum + d.amount, 0)
  const perAmount = fall / amounts
  const sd = Math.sqrt(steps.reduce((sum, d) => sum + ((d.before - d.after) / d.amount - perAmount) ** 2, 0) / (n - 1))
  const reach = (2 * Math.hypot(sd, s.resolution / Math.sqrt(6) / (amounts / n))) / Math.sqrt(n)
  if (perAmount - reach <= 0) return notObservable(`the doses disagree too much: pH moved by ${perAmount.toPrecision(2)} per unit, give or take ${reach.toPrecision(2)}`)
  const before = steps.map((d) => d.before).sort((a, b) => a - b)
  return {
    kind: 'buffer',
    amountPerPh: { low: 1 / (perAmount + reach), best: 1 / perAmount, high: 1 / (perAmount - reach) },
    phBefore: before[Math.floor(n / 2)] ?? 0,
    doses: n,
  }
}

/** Fall of pH an acid dose (mg/L as CaCO3) causes before any gas is lost. throws RangeError beyond pH 4.5-11 or when the dose exceeds what the water has. */
export const fallOfDose = (ph: number, alkalinity: number, doseMgPerL: number, temperatureCel: number): number =>
  ph - phClosed(alkalinity - positive('dose', doseMgPerL, 'mg/L', true), carbonateMmolPerL(ph, alkalinity, temperatureCel), temperatureCel)

/**
 * Alkalinity that explains a fall of pH after a known dose, mg/L as CaCO3: inverse of fallOfDose for 1-2000 mg/L.
 * doseMgPerL  as CaCO3, in the whole mixed volume
 * gives       not-observable for a fall no water of pH 5-9 in that range shows; throws RangeError for a dose of none
 */
export function alkalinityFromFall(ph: number, fall: number, doseMgPerL: number, temperatureCel: number): number | NotObservable {
  positive('dose', doseMgPerL, 'mg/L')
  if (ph < 5 || ph > 9) return notObservable(`pH before the dose was ${ph.toFixed(2)}: carbonate does not set the fall outside 5 to 9`)
  if (fall < 0.001 || fall > 3) return notObservable(`pH fell by ${fall.toFixed(3)}: no fall that can be read lies outside 0.001 to 3`)
  const dropped = ph - fall
  // Both pH are known, so the dose is linear in carbonate: dose = CT (f(ph) - f(ph - fall)) + water part.
  const perMmol = alkalinityMgPerL(ph, 1, temperatureCel) - alkalinityMgPerL(dropped, 1, temperatureCel)
  const water = alkalinityMgPerL(ph, 0, temperatureCel) - alkalinityMgPerL(dropped, 0, temperatureCel)
  const carbonate = (doseMgPerL - water) / (perMmol - water)
  const alkalinity = carbonate < 0 ? 0 : alkalinityMgPerL(ph, carbonate, temperatureCel)
  return alkalinity < 1 || alkalinity > 2000
    ? notObservable(`no alkalinity from 1 to 2000 mg/L lets ${doseMgPerL.toFixed(1)} mg/L of acid move pH by ${fall.toFixed(2)}`)
    : alkalinity
}

/**
 * Alkalinity from the pH at rest, after 12 h or more of aeration without feed: within about a factor of 2, because the water may
 * hold up to twice the carbon dioxide of air. ph 6.5-9.5; outside it the pH at rest is not set by carbonate.
 */
export function alkalinityFromIdlePh(ph: number, temperatureCel: number): Estimate | NotObservable {
  within('pH', ph, 0, 14, '')
  if (ph < 6.5 || ph > 9.5) return notObservable(`a pH at rest of ${ph.toFixed(2)} is not set by carbonate and air`)
  const low = openAlkalinityMgPerL(ph, temperatureCel, CO2_IN_AIR_ATM)
  return { low, best: low * Math.SQRT2, high: openAlkalinityMgPerL(ph, temperatureCel, 2 * CO2_IN_AIR_ATM) }
}
