/**
 * Processor time of the review's two slow questions on 90 days of hours (2,160 points): where is the break, and how steep is the drift with
 * its interval. Baselines: the textbook forms in the same run (every split summed anew; every slope kept and sorted), and the slope also against a
 * package others wrote (ml-regression-theil-sen, which gives no interval). And
 * what a reading costs when EWMA, CUSUM, smoothing and the Hampel window follow it, beside the plain way (each worked out anew
 * from the last 60 readings).
 */
import { TheilSenRegression } from 'ml-regression-theil-sen'
import { CHANGE, changePoint } from '../../gateway/trends/change-point.ts'
import { cusumPlan, startCusum, stepCusum } from '../../gateway/trends/cusum.ts'
import { type EwmaPlan, startEwma, stepEwma } from '../../gateway/trends/ewma.ts'
import { type HampelPlan, startHampel, stepHampel } from '../../gateway/trends/hampel.ts'
import { normalQuantile } from '../../gateway/trends/normal.ts'
import type { Point } from '../../gateway/trends/points.ts'
import { type SmoothState, stepSmooth } from '../../gateway/trends/smooth.ts'
import { theilSen } from '../../gateway/trends/theil-sen.ts'
import { tieTerm } from '../../gateway/trends/ties.ts'
import { gaussian } from '../process/noise.ts'
import { median, printFigures } from './figure.ts'

const N = 2160
const ROUNDS = 15
const WARM = 5
const HOUR_MS = 3_600_000

const noise = gaussian(90)
/** A pH with a daily wave, a slow drift, a step after 60 days, read in steps of 0.01. */
const y = Float64Array.from({ length: N }, (_, h) => Math.round(100 * (7.2 - h / 20_000 + 0.1 * Math.sin((h * Math.PI) / 12) - (h > 1440 ? 0.15 : 0) + noise(0.05))) / 100)
const atMs = Float64Array.from({ length: N }, (_, h) => h * HOUR_MS)
const days = atMs.map((t) => t / (24 * HOUR_MS))

interface Line {
  readonly slope: number
  readonly low: number
  readonly high: number
}

function plainSlope(x: Float64Array, v: Float64Array): Line {
  const slopes: number[] = []
  for (let i = 0; i < v.length; i += 1) for (let j = i + 1; j < v.length; j += 1) slopes.push(((v[j] as number) - (v[i] as number)) / ((x[j] as number) - (x[i] as number)))
  const all = Float64Array.from(slopes).sort()
  const n = v.length
  const reach = normalQuantile(0.975) * Math.sqrt((n * (n - 1) * (2 * n + 5) - tieTerm(v)) / 18)
  const at = (rank: number): number => all[rank] as number
  const middle = all.length / 2
  return {
    slope: all.length % 2 === 0 ? (at(middle - 1) + at(middle)) / 2 : at(Math.floor(middle)),
    low: at(Math.round((all.length - reach) / 2) - 1),
    high: at(Math.round((all.length + reach) / 2)),
  }
}

function plainBreak(v: Float64Array): number {
  let best = Number.POSITIVE_INFINITY
  let split = 0
  const side = Math.floor(0.15 * v.length)
  const squares = (from: number, to: number): number => {
    let mean = 0
    for (let i = from; i < to; i += 1) mean += v[i] as number
    mean /= to - from
    let sum = 0
    for (let i = from; i < to; i += 1) sum += ((v[i] as number) - mean) ** 2
    return sum
  }
  for (let t = side; t <= v.length - side; t += 1) {
    const left = squares(0, t) + squares(t, v.length)
    if (left >= best) continue
    best = left
    split = t - 1
  }
  return split
}

function cpuMs(work: () => void): number {
  const from = process.cpuUsage()
  const fromNs = process.hrtime.bigint()
  work()
  const wall = Number(process.hrtime.bigint() - fromNs) / 1e6
  const { user, system } = process.cpuUsage(from)
  // Work under a few ms is below the grain of the processor clock.
  return wall < 5 ? wall : (user + system) / 1000
}

const breakMs: number[] = []
const breakPlainMs: number[] = []
const slopeMs: number[] = []
const slopePlainMs: number[] = []
const slopePackageMs: number[] = []
/** Plain lists, as the package is meant to be given them. */
const [dayList, yList] = [[...days], [...y]]
for (let round = 0; round < ROUNDS + WARM; round += 1) {
  let ours: Line | null = null
  let plain: Line | null = null
  let split = -1
  let splitPlain = -2
  const keep = round >= WARM
  const b = cpuMs(() => {
    const c = changePoint({ atMs, value: y, missing: 0 }, { ...CHANGE, resolution: 0.01 })
    if ('because' in c) throw new Error(c.because)
    split = c.lastBefore
  })
  const bp = cpuMs(() => {
    splitPlain = plainBreak(y)
  })
  const s = cpuMs(() => {
    ours = theilSen(days, y)
  })
  const sp = cpuMs(() => {
    plain = plainSlope(days, y)
  })
  let packaged = Number.NaN
  const pk = cpuMs(() => {
    packaged = new TheilSenRegression(dayList, yList).slope
  })
  const [o, p] = [ours, plain] as unknown as [Line, Line]
  if (split !== splitPlain || o.slope !== p.slope || o.low !== p.low || o.high !== p.high) throw new Error('the two forms do not agree: the bench measures nothing')
  // Of an even number of slopes the package takes the lower middle one, ours lies between the two.
  if (!(Math.abs(packaged - o.slope) < 1e-5 * Math.abs(o.slope))) throw new Error(`the package says ${packaged} and ours ${o.slope}: the bench measures nothing`)
  if (!keep) continue
  slopePackageMs.push(pk)
  breakMs.push(b)
  breakPlainMs.push(bp)
  slopeMs.push(s)
  slopePlainMs.push(sp)
}

const READINGS = 200_000
const WINDOW = 60
const readings: Point[] = Array.from({ length: READINGS }, (_, i) => ({ atMs: i * 10_000 + (i % 3) * 100, value: 7 + noise(0.05) }))
const EWMA: EwmaPlan = { lambda: 0.1, target: 7, sd: 0.05, width: 3 }
const CUSUM = cusumPlan(7, 0.05, 600_000)
const HAMPEL: HampelPlan = { reach: WINDOW, spanMs: 3_600_000, leastInWindow: 10, width: 3, resolution: 0.01 }
const SMOOTH = { timeConstantMs: 300_000, gapMs: 600_000 }

function stream(): number {
  let e = startEwma(EWMA)
  let c = startCusum(CUSUM)
  let s: SmoothState | null = null
  const w = startHampel(HAMPEL)
  let wild = 0
  for (const p of readings) {
    e = stepEwma(e, p.value, EWMA)
    c = stepCusum(c, p, CUSUM)
    s = stepSmooth(s, p, SMOOTH)
    if (stepHampel(w, p)?.says === 'wild') wild += 1
  }
  return wild + e.average + c.high.sum + (s?.average ?? 0)
}

function anew(upTo: number): number {
  let sum = 0
  for (let i = WINDOW; i < upTo; i += 1) {
    const window = readings.slice(i - WINDOW, i).map((p) => p.value as number)
    const ascending = [...window].sort((a, b) => a - b)
    const middle = ascending[WINDOW >> 1] as number
    const off = window.map((v) => Math.abs(v - middle)).sort((a, b) => a - b)
    let average = 7
    let high = 0
    let low = 0
    for (const v of window) {
      average += 0.1 * (v - average)
      high = Math.max(0, high + v - 7.025)
      low = Math.max(0, low + 6.975 - v)
    }
    sum += average + high + low + (off[WINDOW >> 1] as number)
  }
  return sum
}

const streamUs: number[] = []
const anewUs: number[] = []
const PART = 20_000
let used = 0
for (let round = 0; round < 9; round += 1) {
  const a = (1000 * cpuMs(() => (used += stream()))) / READINGS
  const b = (1000 * cpuMs(() => (used += anew(PART)))) / (PART - WINDOW)
  if (round < 2) continue
  streamUs.push(a)
  anewUs.push(b)
}
if (!Number.isFinite(used)) throw new Error('the streams gave no figures')

printFigures([
  { bench: 'process.changePoint90d', value: median(breakMs), unit: 'ms', baseline: median(breakPlainMs), target: 50, better: 'less', n: `${ROUNDS} rounds of ${N} points` },
  { bench: 'process.theilSen90d', value: median(slopeMs), unit: 'ms', baseline: median(slopePlainMs), target: 50, better: 'less', n: `${ROUNDS} rounds of ${N} points` },
  {
    bench: 'process.theilSenPackage90d',
    value: median(slopeMs),
    unit: 'ms',
    baseline: median(slopePackageMs),
    target: null,
    better: 'less',
    n: 'the same rounds, against ml-regression-theil-sen',
  },
  {
    bench: 'process.trendsPerReading',
    value: median(streamUs),
    unit: 'us',
    baseline: median(anewUs),
    target: null,
    better: 'less',
    n: `7 rounds of ${READINGS.toLocaleString('en-US')} readings`,
  },
])
