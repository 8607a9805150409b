/** Trend statistics: control charts, robust slope, trend test, change point and order statistics against printed examples and other people's programs. */
import { readFileSync } from 'node:fs'
import { fitLine, type Line } from '../../gateway/process/line.ts'
import { highestQuantile } from '../../gateway/trends/break-interval.ts'
import { CHANGE, type ChangePoint, changePoint } from '../../gateway/trends/change-point.ts'
import { type CusumPlan, type CusumState, cusumPlan, cusumSays, startCusum, stepCusum } from '../../gateway/trends/cusum.ts'
import { type EwmaPlan, ewmaLimits, startEwma, stepEwma } from '../../gateway/trends/ewma.ts'
import { individualsChart } from '../../gateway/trends/individuals.ts'
import { type MannKendall, mannKendall } from '../../gateway/trends/mann-kendall.ts'
import { moments } from '../../gateway/trends/moments.ts'
import { normalBelow, normalQuantile, studentQuantile } from '../../gateway/trends/normal.ts'
import { MAD_TO_SD, median, medianDistance, quantile, robustSd } from '../../gateway/trends/order.ts'
import { pettitt } from '../../gateway/trends/pettitt.ts'
import { stepSmooth, type SmoothState } from '../../gateway/trends/smooth.ts'
import { ROBUST_LINE, type RobustLine, theilSen } from '../../gateway/trends/theil-sen.ts'
import { join, type Ours } from './table.ts'

interface DataSet {
  readonly y: readonly number[]
  readonly x?: readonly number[]
}
type SetName = 'nile' | 'page' | 'ewma' | 'cusum' | 'individuals' | 'sulfate' | 'sodium'
const data = JSON.parse(readFileSync(new URL('statistics-data.json', import.meta.url), 'utf8')) as Readonly<Record<SetName, DataSet>>
const nile = data.nile.y
const years = nile.map((_, i) => 1871 + i)

const EWMA: EwmaPlan = { lambda: 0.3, target: 50, sd: 2.0539, width: 3 }
const averageAfter = (n: number): number => data.ewma.y.slice(0, n).reduce((s, v) => stepEwma(s, v, EWMA), startEwma(EWMA)).average

const CUSUM: CusumPlan = { target: 325, slack: 0.3175, limit: 4.1959, gapMs: 1.5 }
const cusumStates = (): readonly CusumState[] => {
  let s = startCusum(CUSUM)
  return data.cusum.y.map((value, atMs) => (s = stepCusum(s, { atMs, value }, CUSUM)))
}

/** Readings until a chart signals, on average over seeded runs, from the moment the shift is there. `chart` gives a fresh one, told reading by reading. */
function meanRun(shift: number, chart: () => (value: number, atMs: number) => boolean): number {
  let state = 0x2545_f491
  const next = (): number => {
    state = (state + 0x6d2b_79f5) | 0
    let t = Math.imul(state ^ (state >>> 15), 1 | state)
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t
    return (((t ^ (t >>> 14)) >>> 0) + 0.5) / 4_294_967_296
  }
  let readings = 0
  for (let run = 0; run < 8000; run += 1) {
    const signals = chart()
    for (let atMs = 0, out = false; !out; atMs += 1) {
      out = signals(shift + Math.sqrt(-2 * Math.log(next())) * Math.cos(2 * Math.PI * next()), atMs)
      readings += 1
    }
  }
  return readings / 8000
}

const cusumChart = (limitSd: number) => () => {
  const plan = cusumPlan(0, 1, 2, 0.5, limitSd)
  let s = startCusum(plan)
  return (value: number, atMs: number): boolean => cusumSays((s = stepCusum(s, { atMs, value }, plan)), plan) !== 'inside'
}

/** With the limits it widens to, as the source has it. */
const ewmaChart = (lambda: number, width: number) => () => {
  const plan: EwmaPlan = { lambda, target: 0, sd: 1, width }
  const { high } = ewmaLimits(plan)
  let s = startEwma(plan)
  return (value: number): boolean => Math.abs((s = stepEwma(s, value, plan)).average) > high
}

const figures = (points: readonly number[]) => points.map((value, atMs) => ({ atMs, value }))
const chart = () => {
  const c = individualsChart(figures(data.individuals.y), { resolution: 0.1, gapMs: 1, width: 3, leastNeighbours: 5 })
  if ('because' in c) throw new Error(c.because)
  return c
}

const SETS: Readonly<Record<string, { readonly x: readonly number[]; readonly y: readonly number[]; readonly ranks: 'rounded' | 'between' }>> = {
  SU: { x: data.sulfate.x ?? [], y: data.sulfate.y, ranks: 'between' },
  SO: { x: data.sodium.x ?? [], y: data.sodium.y, ranks: 'between' },
  NI: { x: years, y: nile, ranks: 'rounded' },
}
const setOf = (name = '') => {
  const set = SETS[name]
  if (!set) throw new Error(`no data set ${name}`)
  return set
}

const broken = (): ChangePoint => {
  const c = changePoint({ atMs: Float64Array.from(years), value: Float64Array.from(nile), missing: 0 }, { ...CHANGE, resolution: 1 })
  if ('because' in c) throw new Error(c.because)
  return c
}
/** Observations are counted from 1 in the sources. */
const COUNTED = ['earliest', 'latest']

/** Rows 1-7 sulfate, 8-14 sodium: trend test and slope as they are printed together; 15-18 the Nile. */
function mannKendallRow(row: number): number {
  const name = row < 8 ? 'SU' : row < 15 ? 'SO' : 'NI'
  const { x, y, ranks } = setOf(name)
  const test = mannKendall(y)
  const line = theilSen(x, y, { ...ROBUST_LINE, ranks })
  if (name === 'NI') return [test.s, test.variance, test.z, line.slope][row - 15] ?? Number.NaN
  return [test.s, test.variance, test.z, test.p, line.slope, line.intercept, test.tauA][(row - 1) % 7] ?? Number.NaN
}

function nileBreak(row: number): number {
  const c = broken()
  return [c.squaresWithout, c.lastBefore + 1, c.squaresWith, c.largestF, c.before, c.after][row - 1] ?? Number.NaN
}

const smoothed = (n: number): number => {
  let s: SmoothState | null = null
  for (const p of figures(nile.slice(0, n))) s = stepSmooth(s, p, { timeConstantMs: -1 / Math.log(0.8), gapMs: 10 })
  return s?.average ?? Number.NaN
}

const ours: Ours = [
  [/^ST-EWU$|^ST-EWRU$/, () => ewmaLimits(EWMA).high],
  [/^ST-EWL$|^ST-EWRL$/, () => ewmaLimits(EWMA).low],
  [/^ST-EWR?(\d+)$/, (_, [n]) => averageAfter(Number(n))],
  [/^ST-CUR?(\d+)h$/, (_, [n]) => cusumStates()[Number(n) - 1]?.high.sum ?? Number.NaN],
  [/^ST-CUR?(\d+)l$/, (_, [n]) => cusumStates()[Number(n) - 1]?.low.sum ?? Number.NaN],
  [/^ST-CUS$/, () => 1 + cusumStates().findIndex((s) => cusumSays(s, CUSUM) !== 'inside')],
  [/^ST-CUARL-(\d)-([\d.]+)$/, (_, [h, shift]) => meanRun(Number(shift), cusumChart(Number(h)))],
  [/^ST-EWARL-([\d.]+)-([\d.]+)-([\d.]+)$/, (_, [lambda, width, shift]) => meanRun(Number(shift), ewmaChart(Number(lambda), Number(width)))],
  [/^ST-I1$/, () => chart().mean],
  [/^ST-I2$/, () => chart().meanRange],
  [/^ST-I3$/, () => chart().high],
  [/^ST-I4$/, () => chart().low],
  [/^ST-MK(\d+)$/, (_, [row]) => mannKendallRow(Number(row))],
  [/^ST-OLS-(\w+)$/, (_, [field]) => fitLine(years, nile)[field as keyof Line]],
  [/^ST-NI0$/, () => nile.length],
  [/^ST-NI([1-6])$/, (_, [row]) => nileBreak(Number(row))],
  [/^ST-MK-(\w+)-(\w+)$/, (_, [set, field]) => mannKendall(setOf(set).y)[field as keyof MannKendall]],
  [/^ST-TS-(\w+)-(\w+)$/, (_, [set, field]) => theilSen(setOf(set).x, setOf(set).y, { ...ROBUST_LINE, ranks: setOf(set).ranks })[field as keyof RobustLine]],
  [/^ST-CP-year$/, () => broken().lastBeforeMs],
  [/^ST-CP-(\w+)$/, (_, [field = '']) => Number(broken()[field as keyof ChangePoint]) + (COUNTED.includes(field) ? 1 : 0)],
  [/^ST-BI-90$/, () => highestQuantile(0.95)],
  [/^ST-BI-90l$/, () => -highestQuantile(0.05)],
  [/^ST-BI-95l$/, () => -highestQuantile(0.025)],
  [/^ST-BI-95$/, () => highestQuantile(0.975)],
  [/^ST-P1$/, () => pettitt(data.page.y).k],
  [/^ST-P2$/, () => pettitt(data.page.y).lastBefore],
  [/^ST-P3$/, () => pettitt(data.page.y).p],
  [/^ST-P4$/, () => pettitt(nile).lastBefore],
  [/^ST-P5$/, () => pettitt(nile).k],
  [/^ST-P6$/, () => pettitt(nile).p],
  [/^ST-R-mad$/, () => medianDistance(nile)],
  [/^ST-R-sd$/, () => robustSd(nile, 1)],
  [/^ST-R-median$/, () => median(nile)],
  [/^ST-R-q(\d+)$/, (_, [share]) => quantile(nile, Number(share) / 100)],
  [/^ST-R-mean$/, () => moments(nile).mean],
  [/^ST-R-deviation$/, () => moments(nile).sd],
  [/^ST-H1$/, () => MAD_TO_SD],
  [/^ST-H2$/, () => robustSd([1, 2, 3, 4, 5, 6, 7, 8, 9], 0.1)],
  [/^ST-SM(\d+)$/, (_, [n]) => smoothed(Number(n))],
  [/^ST-N-975$/, () => normalQuantile(0.975)],
  [/^ST-N-90$/, () => normalQuantile(0.9)],
  [/^ST-N-(\d)$/, (_, [z]) => normalBelow(-Number(z))],
  [/^ST-T-5$/, () => studentQuantile(0.9, 5)],
  [/^ST-T-10$/, () => studentQuantile(0.975, 10)],
  [/^ST-T-30$/, () => studentQuantile(0.9, 30)],
]

export const statisticsCases = join('statistics-values.json', ours)
