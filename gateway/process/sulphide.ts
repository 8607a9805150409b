/**
 * Share of dissolved sulphide that is hydrogen sulphide, the part that leaves as gas. At pH 6 it is nine tenths: acid into a
 * septic sump frees poison. The nose goes blind to it, so no smell is no warning. Never enter or lean over on a figure from here.
 * source  PHREEQC database, analytic line: pK1 = -11.17 + 0.02386 T + 3279/T (its log_k line, 6.994 at 25 Cel, is overruled by it)
 * valid   0-50 degrees C, dilute water
 */
import { KELVIN_AT_ZERO_CEL } from './factors.ts'
import { within } from './range.ts'

export function sulphidePK1(temperatureCel: number): number {
  const t = within('water temperature', temperatureCel, 0, 50, 'Cel') + KELVIN_AT_ZERO_CEL
  return -11.17 + 0.02386 * t + 3279 / t
}

/** 0-1; pH 0-14. */
export const sulphideGasShare = (ph: number, temperatureCel: number): number => 1 / (1 + 10 ** (within('pH', ph, 0, 14, '') - sulphidePK1(temperatureCel)))

export interface GasLimit {
  readonly ppm: number
  readonly what: string
  readonly source: string
}

/** Limits for hydrogen sulphide in air that a screen names beside its reading. One country's figures: the local rule decides. */
export const H2S_LIMITS: readonly GasLimit[] = [
  { ppm: 1, what: 'eight hours, recommended', source: 'ACGIH TLV-TWA' },
  { ppm: 5, what: 'short exposure, recommended', source: 'ACGIH STEL' },
  { ppm: 10, what: 'ceiling, ten minutes', source: 'NIOSH' },
  { ppm: 20, what: 'ceiling', source: '29 CFR 1910.1000 Table Z-2' },
  { ppm: 100, what: 'dangerous to life', source: 'NIOSH IDLH' },
]
