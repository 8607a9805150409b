/** Oxygen in water, its transfer and uptake, and the straight line under every uptake test. */
import { ATM_PA, MM_HG_PER_ATM } from '../../gateway/process/factors.ts'
import { fitLine, type Line, student80, student95 } from '../../gateway/process/line.ts'
import { pressureFactor, salinityFromChloride, salinityFromConductivity, saturationMgPerL, stationPressureAtm, vapourPressureAtm } from '../../gateway/process/oxygen.ts'
import {
  alphaFactor,
  doAfterMgPerL,
  fieldShare,
  kLaAt20,
  kLaFromTwoPoints,
  midDepthSaturationMgPerL,
  minutesToDo,
  pressureAtDepthAtm,
  supplyMgPerLPerH,
} from '../../gateway/process/transfer.ts'
import { specificUptake, tankUptakeKgPerH, UPTAKE_DEFAULTS, uptakeAt20, uptakeOf } from '../../gateway/process/uptake.ts'
import { join, type Ours } from './table.ts'

const n = (s: string | undefined): number => Number(s)

/** Practical salinity and temperature of the six rows on the TEOS-10 page. */
const SEA: readonly (readonly [number, number])[] = [
  [34.7118, 28.8099],
  [34.8915, 28.4392],
  [35.0256, 22.7862],
  [34.8472, 10.2262],
  [34.7366, 6.8272],
  [34.7324, 4.3236],
]

/** Density of sea water at 1 atm, kg/L (UNESCO EOS-80): only to turn our mg/L into the page's umol/kg. */
function seaKgPerL(t: number, s: number): number {
  const fresh = 999.842594 + 6.793952e-2 * t - 9.09529e-3 * t ** 2 + 1.001685e-4 * t ** 3 - 1.120083e-6 * t ** 4 + 6.536332e-9 * t ** 5
  const a = 8.24493e-1 - 4.0899e-3 * t + 7.6438e-5 * t ** 2 - 8.2467e-7 * t ** 3 + 5.3875e-9 * t ** 4
  const b = -5.72466e-3 + 1.0227e-4 * t - 1.6546e-6 * t ** 2
  return (fresh + a * s + b * s ** 1.5 + 4.8314e-4 * s ** 2) / 1000
}

function seaOxygenUmolPerKg(row: number): number {
  const [s, t] = SEA[row - 1] ?? [Number.NaN, Number.NaN]
  return saturationMgPerL(t, s) / 31.9988e-3 / seaKgPerL(t, s)
}

/** Air pressure at 750 m as the sheet has it (ISA standard atmosphere); the field formula is what is checked with it. */
const ISA_750_M = (1 - 2.25577e-5 * 750) ** 5.25588

/** Constructed air-off test: one reading a minute, no surface transfer, nothing left out. */
const FALL = [7.9, 7.46, 7.05, 6.62, 6.2, 5.79, 5.36, 4.95, 4.52, 4.11, 3.68]
function fallUptake(): number {
  const points = FALL.map((doMgPerL, i) => ({ atMs: i * 60_000, doMgPerL }))
  const result = uptakeOf(points, { fromMs: 0, toMs: 600_000 }, null, {
    ...UPTAKE_DEFAULTS,
    saturationMgPerL: 9,
    resolutionMgPerL: 0.01,
    dropMs: 0,
    surfacePerH: { low: 0, best: 0, high: 0 },
  })
  if (result.kind === 'not-observable') throw new Error(result.because)
  return result.uptakeMgPerLPerH
}

/** NIST StRD Norris. */
const NORRIS_X = [
  0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777, 558.2, 0.4, 0.6, 775.5, 666.9, 338, 447.5, 11.6, 556, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2,
  999, 779, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
]
const NORRIS_Y = [
  0.1, 338.8, 118.1, 888, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888,
  998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
]
const NORRIS = ['slope', 'intercept', 'slopeError', 'interceptError', 'explained', 'residual'] as const satisfies readonly (keyof Line)[]

const ours: Ours = [
  [/^DO-(?:T|SM|EN|GG)(\d+)$/, (_, [t]) => saturationMgPerL(n(t))],
  [/^DO-SAL(\d+)$/, (_, [t]) => (saturationMgPerL(n(t)) - saturationMgPerL(n(t), 35)) / 35],
  [/^DO-SLO(\d+)$/, (_, [t]) => (saturationMgPerL(n(t)) - saturationMgPerL(n(t), 2)) / 2],
  [/^DO-CL(10|20)-(\d+)$/, (_, [chloride, t]) => saturationMgPerL(n(t), salinityFromChloride(n(chloride)))],
  [/^DO-SW(\d)$/, (_, [row]) => seaOxygenUmolPerKg(n(row))],
  [/^DO-P1$/, () => pressureFactor(20, 0.7) / 0.7],
  [/^DO-P2$/, () => saturationMgPerL(20, 0, 0.7)],
  [/^DO-PX(\d+)$/, (_, [t]) => pressureFactor(n(t), ({ 5: 700, 15: 640, 25: 720, 35: 600 }[n(t)] ?? Number.NaN) / MM_HG_PER_ATM)],
  [/^DO-V1$/, () => vapourPressureAtm(20)],
  [/^DO-H(\d+)$/, (_, [h]) => stationPressureAtm(n(h))],
  [/^DO-SC$/, () => salinityFromConductivity(2000)],
  [/^DO-REG-(\d+)-(\d+)-([\d.]+)$/, (_, [t, s, p]) => saturationMgPerL(n(t), n(s), n(p))],
  [/^RV-(?:APHA|GSW)-(\d+)$/, (_, [t]) => saturationMgPerL(n(t))],
  [/^RV-GSW35-(\d+)$/, (_, [t]) => saturationMgPerL(n(t), 35)],
  [/^RV-LM10-(\d+)$/, (_, [t]) => saturationMgPerL(n(t), 10)],
  [/^RV-LM850-(\d+)$/, (_, [t]) => saturationMgPerL(n(t), 0, 85_000 / ATM_PA)],
  [/^OT-1$/, () => alphaFactor(2.25, 2.46)],
  // The example goes on with its own rounded pressure.
  [/^OT-2$/, () => midDepthSaturationMgPerL(8.34, 1.44, 0.189)],
  [/^OT-3$/, () => pressureAtDepthAtm(15 * 0.3048)],
  [/^OT-4$/, () => 100 * fieldShare({ alpha: 0.5, beta: 0.95, saturationMgPerL: 9.092, doMgPerL: 2, temperatureCel: 20 })],
  [/^OT-5$/, () => 8.4 / fieldShare({ alpha: 0.6, beta: 0.98, saturationMgPerL: ISA_750_M * saturationMgPerL(12), doMgPerL: 2, temperatureCel: 12, theta: 1.012 })],
  [/^OT-6$/, () => kLaAt20(12, 12)],
  [/^OT-7$/, () => tankUptakeKgPerH(22, 7_200_000)],
  [/^OT-8$/, () => kLaFromTwoPoints(78, { at: 5, value: 50 }, { at: 15, value: 66 })],
  [/^OT-9$/, fallUptake],
  [/^OT-10$/, () => specificUptake(fallUptake(), 2500)],
  [/^OT-11$/, () => uptakeAt20(1.2, 25)],
  [/^OT-12$/, () => uptakeAt20(1.2, 15)],
  [/^OT-13$/, () => supplyMgPerLPerH(6, 9.09, 2)],
  [/^OT-14$/, () => doAfterMgPerL(4, 10 / 60, { kLaPerH: 0, saturationMgPerL: 9, uptakeMgPerLPerH: 30 })],
  [/^OT-15$/, () => doAfterMgPerL(2, 0.25, { kLaPerH: 6, saturationMgPerL: 9.09, uptakeMgPerLPerH: 10 })],
  [/^RV-ODE-(\d+)$/, (_, [i]) => doAfterMgPerL(5, 2 * n(i), { kLaPerH: 8 / 24, saturationMgPerL: 9, uptakeMgPerLPerH: 30 / 24 })],
  [/^BK-O1$/, () => minutesToDo(4, 0, { kLaPerH: 0, saturationMgPerL: 9, uptakeMgPerLPerH: 10 })],
  [/^BK-O2$/, () => minutesToDo(4, 0, { kLaPerH: 0, saturationMgPerL: 9, uptakeMgPerLPerH: 30 })],
  [/^ST-T95-(\d+)$/, (_, [degrees]) => student95(n(degrees))],
  [/^ST-T80-(\d+)$/, (_, [degrees]) => student80(n(degrees))],
  [/^ST-N(\d)$/, (_, [i]) => fitLine(NORRIS_X, NORRIS_Y)[NORRIS[n(i) - 1] ?? 'n']],
]

export const oxygenCases = join('oxygen-values.json', ours)
