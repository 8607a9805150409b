/**
 * Trend statistics against other people's programs on open measured series, and against certified values. The data lie beside the
 * repository; where they are absent each test names itself skipped.
 */
import { readFileSync } from 'node:fs'
import { expect, test } from 'vitest'
import { CHANGE, changePoint } from '../../gateway/trends/change-point.ts'
import { mannKendall, mannKendallCorrected } from '../../gateway/trends/mann-kendall.ts'
import { autocorrelation, moments } from '../../gateway/trends/moments.ts'
import { median, medianDistance, quantile, robustSd } from '../../gateway/trends/order.ts'
import { pettitt } from '../../gateway/trends/pettitt.ts'
import { theilSen } from '../../gateway/trends/theil-sen.ts'
import { hasData, readRows, referenceValue } from '../process/open-data.ts'
import { seen } from '../process/noise.ts'

const column = (file: string, name: string): number[] => readRows(file).map((r) => r[name] ?? Number.NaN)
const close = (ours: number, theirs: number, relative: number): void =>
  expect(Math.abs(ours - theirs), `ours ${ours}, theirs ${theirs}`).toBeLessThanOrEqual(relative * Math.abs(theirs))
const figures = (id: string): Readonly<Record<string, number>> => referenceValue(id) as Readonly<Record<string, number>>
const pair = (id: string, field: string): readonly [number, number] => (referenceValue(id) as Readonly<Record<string, [number, number]>>)[field] as [number, number]

const NIST: readonly [string, number, number, number][] = [
  ['lew', -177.435, 277.332168044316, -0.307304800605679],
  ['lottery', 518.95871559633, 291.699727470969, -0.120948622967393],
  ['mavro', 2.001856, 0.000429123454003053, 0.937989183438248],
  ['michelso', 299.8524, 0.0790105478190518, 0.535199668621283],
  ['numacc1', 10_000_002, 1, -0.5],
  ['numacc2', 1.2, 0.1, -0.999],
  ['numacc3', 1_000_000.2, 0.1, -0.999],
  ['numacc4', 10_000_000.2, 0.1, -0.999],
]

for (const [name, mean, sd, r1] of NIST) {
  const file = `stats/nist_${name}.csv`
  // NIST Statistical Reference Datasets, univariate, certified to 15 figures; a double keeps 8 of the last two sets' distances.
  test.skipIf(!hasData(file))(`certified mean, deviation and lag-1 autocorrelation of NIST ${name}`, () => {
    const y = column(file, 'y')
    const digits = name === 'numacc4' ? 1e-7 : name === 'numacc3' ? 1e-8 : 1e-11
    close(moments(y).mean, mean, 1e-14)
    close(moments(y).sd, sd, digits)
    close(autocorrelation(y, 1)[1] as number, r1, digits)
  })
}

const quality = (i: number): string => `stats/quality_control_${i}.csv`
const broken = (file: string) => {
  const value = Float64Array.from(column(file, 'value'))
  return seen(changePoint({ atMs: value.map((_, k) => k), value, missing: 0 }, { ...CHANGE, resolution: 1e-6 }))
}

for (const i of [1, 2, 3, 4, 5])
  test.skipIf(!hasData(quality(i)) || !hasData('reference-values.json'))(`Pettitt on quality series ${i} as R trend has it`, () => {
    const theirs = figures(`quality_control_${i}.pettitt`)
    const ours = pettitt(column(quality(i), 'value'))
    expect([ours.k, ours.lastBefore]).toEqual([theirs.U, theirs.tau_index_1based])
    close(ours.p, theirs.p as number, 1e-9)
  })

for (const [i, lastBefore] of [
  [1, 144],
  [2, 97],
  [3, 179],
] as const)
  test.skipIf(!hasData(quality(i)))(`the one break of quality series ${i} is where R changepoint 2.3 has it`, () => {
    const c = broken(quality(i))
    expect(c.lastBefore + 1).toBe(lastBefore)
    expect(c.evidence).toBe('clear')
  })

test.skipIf(!hasData(quality(5)))('quality series 5, in which nobody marks a change, has no break', () => {
  expect(broken(quality(5)).evidence).toBe('none')
})

const STREAM = 'stream-do/brandywine_2012.csv'
test.skipIf(!hasData(STREAM) || !hasData('reference-values.json'))(
  'two weeks of stream temperature: slope, trend, its correction for memory, and spread as scipy, pymannkendall and numpy have them',
  () => {
    const y = column(STREAM, 'temp_c').slice(0, 672)
    const days = y.map((_, i) => i / 48)
    checkSlope('brandywine.temp.first14days', days, y)
    const corrected = seen(mannKendallCorrected(y))
    close(corrected.z, figures('brandywine.temp.first14days.mk_hamed_rao').z as number, 1e-6)
    close(corrected.p, figures('brandywine.temp.first14days.mk_hamed_rao').p as number, 1e-6)
  },
)

const WATER = 'nab/machine_temperature_system_failure.csv'
test.skipIf(!hasData(WATER) || !hasData('reference-values.json'))('a month of machine temperature by the hour: the trend test corrected for memory as pymannkendall has it', () => {
  const id = 'nab.machine_temperature.hourly_2013-12-20_2014-01-20'
  const y = machineHours()
  expect(y).toHaveLength(moments(y).n)
  checkSlope(
    id,
    y.map((_, i) => i / 24),
    y,
  )
  const all = referenceValue(`${id}.mk_autocorrelation_corrected`) as { hamed_rao: { z: number; p: number; varS: number } }
  const corrected = seen(mannKendallCorrected(y))
  close(corrected.variance, all.hamed_rao.varS, 1e-6)
  close(corrected.z, all.hamed_rao.z, 1e-6)
  close(corrected.p, all.hamed_rao.p, 1e-6)
})

/** Mean of each hour, 20 December to 20 January (both whole), which five-minute readings fill. */
function machineHours(): number[] {
  const sums = new Map<string, [number, number]>()
  for (const [stamp, value] of machineRows()) {
    const hour = stamp.slice(0, 13)
    if (hour < '2013-12-20' || hour >= '2014-01-21') continue
    const [sum, n] = sums.get(hour) ?? [0, 0]
    sums.set(hour, [sum + value, n + 1])
  }
  return [...sums.entries()].sort(([a], [b]) => (a < b ? -1 : 1)).map(([, [sum, n]]) => sum / n)
}

const text = (file: string): string[] =>
  readFileSync(new URL(`../../../shared/data/${file}`, import.meta.url), 'utf8')
    .trim()
    .split(/\r?\n/)
const machineRows = (): readonly (readonly [string, number])[] =>
  text(WATER)
    .slice(1)
    .map((line) => [line.slice(0, line.indexOf(',')), Number(line.slice(line.indexOf(',') + 1))] as const)

function checkSlope(id: string, x: readonly number[], y: readonly number[]): void {
  const line = theilSen(x, y)
  const slope = figures(`${id}.theil_sen`)
  close(line.slope, slope.slope as number, 1e-9)
  close(line.intercept, slope.intercept_median_y_minus_slope_median_x as number, 1e-9)
  const [low, high] = pair(`${id}.theil_sen`, 'ci95')
  close(line.low, low, 1e-9)
  close(line.high, high, 1e-9)
  const test = mannKendall(y)
  const mk = figures(`${id}.mann_kendall`)
  expect(test.s).toBe(mk.S)
  close(test.variance, mk.varS as number, 1e-12)
  close(test.z, mk.z as number, 1e-9)
  close(test.tauB, figures(`${id}.kendall`).tau_b as number, 1e-9)
  const place = figures(`${id}.location_scale`)
  close(median(y), place.median as number, 1e-12)
  close(medianDistance(y), place.mad_raw as number, 1e-9)
  close(moments(y).sd, place.sd_n_minus_1 as number, 1e-9)
  const [low4, high4] = pair(`${id}.location_scale`, 'q25_q75_type7')
  close(quantile(y, 0.25), low4, 1e-12)
  close(quantile(y, 0.75), high4, 1e-12)
}

for (const name of ['valve1_0', 'other_1']) {
  const file = `skab-sample/${name}.csv`
  // Flow and pressure of this loop are coarsely stepped: the median distance is exactly zero, most slopes are ties.
  test.skipIf(!hasData(file) || !hasData('reference-values.json'))(`a second-by-second water loop (${name}): slope, trend and spread of stepped signals as scipy has them`, () => {
    for (const [column, signal] of [
      ['Temperature', 'temperature'],
      ['Volume Flow RateRMS', 'volume'],
      ['Current', 'current'],
      ['Pressure', 'pressure'],
    ] as const) {
      const y = loopColumn(file, column).slice(0, 400)
      checkSlope(
        `skab.${name}.${signal}.first400`,
        y.map((_, i) => i),
        y,
      )
      expect(robustSd(y, 0.001)).toBeGreaterThanOrEqual(0.001)
    }
  })
}

function loopColumn(file: string, name: string): number[] {
  const [head = '', ...rows] = text(file)
  const at = head.split(';').indexOf(name)
  return rows.map((row) => Number(row.split(';')[at]))
}

const CARBON = 'stats/mauna_loa_co2_weekly.csv'
test.skipIf(!hasData(CARBON) || !hasData('reference-values.json'))('43 years of weeks (2,225 points): slope, trend and spread as scipy has them', () => {
  const rows = text(CARBON)
    .slice(1)
    .map((line) => line.split(','))
    .filter(([, value]) => value !== '')
  const days = (stamp = ''): number => Date.parse(stamp) / 86_400_000
  const first = days(rows[0]?.[0])
  checkSlope(
    'co2_weekly',
    rows.map(([stamp]) => (days(stamp) - first) / 365.25),
    rows.map(([, value]) => Number(value)),
  )
})
