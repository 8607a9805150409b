/**
 * Figures of Activated Sludge Model No. 1 (Henze et al. 1987/2000): rates per d, concentrations in g/m3 (= mg/L).
 * sources  typical values at 20 and 10 degrees C and the BSM1 set as coded in QSDsan (process_models/_asm1.py, cites Henze 2000 and
 *          Rieger 2012) and bsm2-python (asm1init_bsm1.py)
 */
export interface Asm1Parameters {
  /** Growth of heterotrophs, per d. */
  readonly muH: number
  readonly kS: number
  readonly kOH: number
  readonly kNO: number
  /** Decay of heterotrophs, per d. */
  readonly bH: number
  /** Share of anoxic growth and hydrolysis. */
  readonly etaG: number
  readonly etaH: number
  /** Hydrolysis, per d, and its half-saturation, g/g. */
  readonly kH: number
  readonly kX: number
  /** Growth and decay of nitrifiers, per d. */
  readonly muA: number
  readonly kNH: number
  readonly kOA: number
  readonly bA: number
  /** Ammonification, m3/(g COD d). */
  readonly kA: number
  readonly yH: number
  readonly yA: number
  readonly fP: number
  /** Nitrogen in biomass and in its debris, g N/g COD. */
  readonly iXB: number
  readonly iXP: number
}

const SHARED = { kS: 20, kOH: 0.2, kNO: 0.5, etaG: 0.8, etaH: 0.4, kNH: 1, kOA: 0.4, bA: 0.05, yH: 0.67, yA: 0.24, fP: 0.08, iXB: 0.086, iXP: 0.06 } as const

export const ASM1_20_CEL: Asm1Parameters = { ...SHARED, muH: 6, bH: 0.62, kH: 3, kX: 0.03, muA: 0.8, kA: 0.08 }
export const ASM1_10_CEL: Asm1Parameters = { ...SHARED, muH: 3, bH: 0.2, kH: 1, kX: 0.01, muA: 0.3, kA: 0.04 }

/** Benchmark Simulation Model No. 1, 15 degrees C. */
export const BSM1: Asm1Parameters = {
  muH: 4,
  kS: 10,
  kOH: 0.2,
  kNO: 0.5,
  bH: 0.3,
  etaG: 0.8,
  etaH: 0.8,
  kH: 3,
  kX: 0.1,
  muA: 0.5,
  kNH: 1,
  kOA: 0.4,
  bA: 0.05,
  kA: 0.05,
  yH: 0.67,
  yA: 0.24,
  fP: 0.08,
  iXB: 0.08,
  iXP: 0.06,
}

const WARMED = ['muH', 'bH', 'kH', 'kX', 'muA', 'kA'] as const
export type Warmed = (typeof WARMED)[number]

/** Factor per degree between the printed 10 and 20 degree values. */
export const theta = (name: Warmed): number => (ASM1_20_CEL[name] / ASM1_10_CEL[name]) ** (1 / 10)

/** The typical set at a water temperature, 2-40 degrees C, geometric between and beyond the two printed columns. throws RangeError outside. */
export function asm1At(temperatureCel: number): Asm1Parameters {
  if (!(temperatureCel >= 2 && temperatureCel <= 40)) throw new RangeError(`water temperature is ${temperatureCel} Cel: the biology is described between 2 and 40 Cel`)
  const warmed = Object.fromEntries(WARMED.map((name) => [name, ASM1_20_CEL[name] * theta(name) ** (temperatureCel - 20)]))
  return { ...ASM1_20_CEL, ...warmed }
}

/** Oxygen saturation as the benchmark model computes it, g/m3; 8.0 at 15 degrees C by design. Only for comparing with the benchmark. */
export function benchmarkSaturation(temperatureCel: number): number {
  const t = (temperatureCel + 273.15) / 100
  return ((0.9997743214 * 8) / 10.5) * 56.12 * 6791.5 * Math.exp(-66.7354 + 87.4755 / t + 24.4526 * Math.log(t))
}
