/**
 * Health of a pH electrode from a two-point calibration: its slope against theory (Nernst) and its offset.
 * sources  definition of the Nernst slope; calibration note (studylib.net doc 25392327): offset within 30 mV and 85-105 % slope;
 *          the tighter bands are common practice, no source
 */
import { KELVIN_AT_ZERO_CEL } from './factors.ts'
import { type NotObservable, notObservable, within } from './range.ts'

const GAS_J_PER_MOL_K = 8.314462618
const FARADAY_C_PER_MOL = 96_485.33212

/** Millivolts a perfect electrode gives per pH; 0-100 degrees C. */
export const nernstMvPerPh = (temperatureCel: number): number =>
  (1000 * GAS_J_PER_MOL_K * (within('temperature', temperatureCel, 0, 100, 'Cel') + KELVIN_AT_ZERO_CEL) * Math.LN10) / FARADAY_C_PER_MOL

export const SLOPE_ACCEPTED_PCT = [85, 105] as const
export const OFFSET_ACCEPTED_MV = 30

export interface BufferReading {
  /** What the buffer is worth at its temperature. */
  readonly ph: number
  /** What the electrode gave in it. */
  readonly mv: number
}

export interface ElectrodeHealth {
  readonly kind: 'health'
  /** Share of the Nernst slope, %. */
  readonly slopePct: number
  /** Millivolts at pH 7. */
  readonly offsetMv: number
  /** good 95-102 %; clean: accepted but tired; replace: outside what a calibration may accept. */
  readonly state: 'good' | 'clean' | 'replace'
}

/**
 * neutral, acid  the two buffers, usually 7.01 and 4.01 (or 7 and 10): at least 1.5 pH apart, one of them within 0.5 of pH 7
 * gives          not-observable when the buffers do not tell slope and offset apart; throws RangeError for impossible millivolts
 */
export function electrodeHealth(neutral: BufferReading, other: BufferReading, temperatureCel: number): ElectrodeHealth | NotObservable {
  for (const b of [neutral, other]) {
    within('pH of the buffer', b.ph, 0, 14, '')
    within('electrode', b.mv, -1000, 1000, 'mV')
  }
  if (Math.abs(neutral.ph - 7) > 0.5) return notObservable(`the first buffer is pH ${neutral.ph}: the offset is read at pH 7`)
  if (Math.abs(other.ph - neutral.ph) < 1.5) return notObservable(`the buffers are only ${Math.abs(other.ph - neutral.ph).toFixed(2)} pH apart and 1.5 are needed`)
  const mvPerPh = (other.mv - neutral.mv) / (neutral.ph - other.ph)
  const slopePct = (100 * mvPerPh) / nernstMvPerPh(temperatureCel)
  const offsetMv = neutral.mv + mvPerPh * (neutral.ph - 7)
  return { kind: 'health', slopePct, offsetMv, state: stateOf(slopePct, offsetMv) }
}

/** Millivolts between two buffers that stand for a share of the Nernst slope. */
export const spanMv = (slopePct: number, phApart: number, temperatureCel: number): number =>
  (slopePct / 100) * nernstMvPerPh(temperatureCel) * within('pH between the buffers', phApart, 0, 14, '')

function stateOf(slopePct: number, offsetMv: number): ElectrodeHealth['state'] {
  if (slopePct < SLOPE_ACCEPTED_PCT[0] || slopePct > SLOPE_ACCEPTED_PCT[1] || Math.abs(offsetMv) > OFFSET_ACCEPTED_MV) return 'replace'
  return slopePct >= 95 && slopePct <= 102 && Math.abs(offsetMv) <= 15 ? 'good' : 'clean'
}
