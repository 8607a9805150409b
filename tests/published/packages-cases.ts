/**
 * Our statistics beside two packages that others wrote, asked in the same run on the same series: simple-statistics and
 * ml-regression-theil-sen. Here the expected figure is what the package says now, not one written down.
 *
 * They choose otherwise where the number of values is even or a quantile lies between two of them. So each series is cut to a length at
 * which all conventions agree: quartiles at 4k + 1 values, slopes at an odd number of pairs. Exact agreement is then due, but for rounding.
 */
import { readFileSync } from 'node:fs'
import { TheilSenRegression } from 'ml-regression-theil-sen'
import * as theirs from 'simple-statistics'
import { fitLine } from '../../gateway/process/line.ts'
import { CHANGE, changePoint } from '../../gateway/trends/change-point.ts'
import { moments } from '../../gateway/trends/moments.ts'
import { normalBelow } from '../../gateway/trends/normal.ts'
import { median, medianDistance, quantile } from '../../gateway/trends/order.ts'
import { pettitt } from '../../gateway/trends/pettitt.ts'
import { ROBUST_LINE, theilSen } from '../../gateway/trends/theil-sen.ts'
import { midRanks } from '../../gateway/trends/ties.ts'
import { gaussian } from '../process/noise.ts'
import type { PublishedCase } from './table.ts'

interface Series {
  readonly id: string
  readonly what: string
  readonly x: readonly number[]
  readonly y: readonly number[]
}
type Kept = Readonly<Record<string, { readonly x?: readonly number[]; readonly y: readonly number[] }>>
const data = JSON.parse(readFileSync(new URL('statistics-data.json', import.meta.url), 'utf8')) as Kept

/** Where the series of statistics-data.json come from, in short. */
const FROM: Readonly<Record<string, string>> = {
  nile: 'Nile at Aswan (Cobb 1978)',
  page: 'values of Page 1955',
  sulfate: 'sulfate of EPA 530/R-09-007, 17-6',
  sodium: 'sodium of EPA 530/R-09-007, 17-7',
  cusum: 'means of NIST/SEMATECH 6.3.2.3',
  ewma: 'readings of NIST/SEMATECH 6.3.2.4',
}
const kept = (id: string, name: string, n: number): Series => {
  const y = (data[name]?.y ?? []).slice(0, n)
  if (y.length !== n) throw new Error(`${name} has ${y.length} values and ${n} are wanted`)
  return { id, what: `${FROM[name]}, ${n} values`, x: data[name]?.x?.slice(0, n) ?? y.map((_, i) => i), y }
}
/** Hours of a pH in steps of 0.01: a daily wave, a slow drift, a step after two thirds. x in days. */
const hours = (id: string, n: number): Series => {
  const noise = gaussian(n)
  const y = Array.from({ length: n }, (_, h) => Math.round(100 * (7.2 - h / 20_000 + 0.1 * Math.sin((h * Math.PI) / 12) - (h > (2 * n) / 3 ? 0.15 : 0) + noise(0.05))) / 100)
  return { id, what: `${n} seeded hours of pH`, x: y.map((_, h) => h / 24), y }
}

const SPREADS = [kept('NI', 'nile', 97), kept('PA', 'page', 37), kept('SU', 'sulfate', 21), kept('CU', 'cusum', 17), kept('EW', 'ewma', 17), hours('PH', 2121)]
const LINES = [
  kept('NI', 'nile', 99),
  kept('PA', 'page', 39),
  kept('SU', 'sulfate', 23),
  kept('SO', 'sodium', 10),
  kept('CU', 'cusum', 19),
  kept('EW', 'ewma', 19),
  hours('PH', 2159),
]

const SIMPLE = 'simple-statistics 7.12.1'
const THEIL = 'ml-regression-theil-sen 3.0.0'

function same(id: string, what: string, source: string, ours: () => number, expected: number, tol = 1e-10 * Math.max(Math.abs(expected), 1e-3)): PublishedCase {
  // The last bits are rounding's.
  return { id: `PK-${id}`, what, expected: Number(expected.toPrecision(13)), tol, grade: 'T', source, ours }
}

const spreads = SPREADS.flatMap(({ id, what, y }) => {
  const said = theirs.linearRegression(y.map((v, i) => [i, v]))
  return [
    same(`${id}-median`, `${what}, median`, `${SIMPLE}, median`, () => median(y), theirs.median([...y])),
    same(`${id}-q25`, `${what}, lower quartile`, `${SIMPLE}, quantile`, () => quantile(y, 0.25), theirs.quantile([...y], 0.25)),
    same(`${id}-q75`, `${what}, upper quartile`, `${SIMPLE}, quantile`, () => quantile(y, 0.75), theirs.quantile([...y], 0.75)),
    same(`${id}-iqr`, `${what}, distance of the quartiles`, `${SIMPLE}, interquartileRange`, () => quantile(y, 0.75) - quantile(y, 0.25), theirs.interquartileRange([...y])),
    same(`${id}-mad`, `${what}, median distance`, `${SIMPLE}, medianAbsoluteDeviation`, () => medianDistance(y), theirs.medianAbsoluteDeviation([...y])),
    same(`${id}-mean`, `${what}, mean`, `${SIMPLE}, mean`, () => moments(y).mean, theirs.mean([...y])),
    same(`${id}-sd`, `${what}, standard deviation`, `${SIMPLE}, sampleStandardDeviation`, () => moments(y).sd, theirs.sampleStandardDeviation([...y])),
    same(`${id}-rank`, `${what}, ranks of the first eight summed`, `${SIMPLE}, wilcoxonRankSum`, () => ranksOf(y, 8), theirs.wilcoxonRankSum(y.slice(0, 8), y.slice(8))),
    same(`${id}-step`, `${what}, least squares by place, slope`, `${SIMPLE}, linearRegression`, () => fitLine([...y.keys()], y).slope, said.m),
  ]
})

// Quantiles further out lie on a value only where the length allows it: 2,121 = 20 x 106 + 1.
const tails = [0.05, 0.1, 0.45, 0.9, 0.95].map((share) => {
  const y = SPREADS.at(-1)?.y ?? []
  return same(
    `PH-q${Math.round(100 * share)}`,
    `2121 seeded hours of pH, ${Math.round(100 * share)} % quantile`,
    `${SIMPLE}, quantile`,
    () => quantile(y, share),
    theirs.quantile([...y], share),
  )
})

const lines = LINES.flatMap(({ id, what, x, y }) => {
  const line = theirs.linearRegression(x.map((v, i) => [v, y[i] as number]))
  const robust = new TheilSenRegression([...x], [...y])
  const ours = () => theilSen(x, y, ROBUST_LINE)
  const r = theirs.sampleCorrelation([...x], [...y])
  const error = Math.sqrt(theirs.sum(x.map((v, i) => ((y[i] as number) - line.m * v - line.b) ** 2)) / (x.length - 2))
  return [
    same(`${id}-slope`, `${what}, least squares, slope`, `${SIMPLE}, linearRegression`, () => fitLine(x, y).slope, line.m),
    same(`${id}-intercept`, `${what}, least squares, intercept`, `${SIMPLE}, linearRegression`, () => fitLine(x, y).intercept, line.b),
    same(`${id}-explained`, `${what}, share explained`, `${SIMPLE}, sampleCorrelation squared`, () => fitLine(x, y).explained, r * r),
    same(`${id}-residual`, `${what}, what the line leaves`, `${SIMPLE}, from linearRegression`, () => fitLine(x, y).residual, error),
    same(`${id}-ts`, `${what}, Theil-Sen slope`, `${THEIL}`, () => ours().slope, robust.slope),
    // The package takes the median of what each point leaves over (Sen); ours goes through the two medians (Conover). Each is held to the package by its own recipe.
    same(
      `${id}-tsi`,
      `${what}, Theil-Sen intercept, through the medians`,
      `slope of ${THEIL}, medians of ${SIMPLE}`,
      () => ours().intercept,
      theirs.median([...y]) - robust.slope * theirs.median([...x]),
    ),
    same(
      `${id}-tss`,
      `${what}, median of what our slope leaves over`,
      `${THEIL}, intercept`,
      () => {
        const { slope } = ours()
        return quantile(
          y.map((v, i) => v - slope * (x[i] as number)),
          y.length % 2 === 0 ? (y.length / 2 - 1) / (y.length - 1) : 0.5,
        )
      },
      robust.intercept,
    ),
  ]
})

const breaks = [LINES[0], LINES[1], LINES.at(-1)].flatMap((s) => {
  if (!s) return []
  const { id, what, y } = s
  const side = Math.floor(CHANGE.keptOff * y.length)
  const squares = (of: readonly number[]): number => theirs.sumNthPowerDeviations([...of], 2)
  let best = { left: Number.POSITIVE_INFINITY, split: 0 }
  for (let t = side; t <= y.length - side; t += 1) {
    const left = squares(y.slice(0, t)) + squares(y.slice(t))
    if (left < best.left) best = { left, split: t }
  }
  const ours = () => {
    const c = changePoint({ atMs: Float64Array.from(y.keys()), value: Float64Array.from(y), missing: 0 }, { ...CHANGE, resolution: 0.01 })
    if ('because' in c) throw new Error(c.because)
    return c
  }
  const source = `${SIMPLE}, sumNthPowerDeviations over all splits`
  return [
    same(`${id}-split`, `${what}, values before the break`, source, () => ours().lastBefore + 1, best.split, 0),
    same(`${id}-left`, `${what}, squares with the break`, source, () => ours().squaresWith, best.left),
    same(`${id}-before`, `${what}, level before`, `${SIMPLE}, mean`, () => ours().before, theirs.mean(y.slice(0, best.split))),
    same(`${id}-after`, `${what}, level after`, `${SIMPLE}, mean`, () => ours().after, theirs.mean(y.slice(best.split))),
  ]
})

const changes = LINES.slice(0, -1).map(({ id, what, y }) => {
  let k = 0
  for (let t = 1; t < y.length; t += 1) k = Math.max(k, Math.abs(2 * theirs.wilcoxonRankSum(y.slice(0, t), y.slice(t)) - t * (y.length + 1)))
  return same(`${id}-pettitt`, `${what}, Pettitt's K`, `${SIMPLE}, wilcoxonRankSum at all splits`, () => pettitt(y).k, k)
})

// A printed table to four places stands in the package.
const normals = [-2.5, -1, 0.5, 1.28, 1.96].map((z) =>
  same(`normal-${z}`, `standard normal below ${z}`, `${SIMPLE}, cumulativeStdNormalProbability`, () => normalBelow(z), theirs.cumulativeStdNormalProbability(z), 6e-5),
)

export const packagesCases: readonly PublishedCase[] = [...spreads, ...tails, ...lines, ...breaks, ...changes, ...normals]

function ranksOf(y: readonly number[], first: number): number {
  return midRanks(y)
    .slice(0, first)
    .reduce((sum, r) => sum + r, 0)
}
