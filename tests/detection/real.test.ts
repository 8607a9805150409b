/** Rules and checks on measured series: what a run may know, how it is counted, and a small part of the open data where it is there. */
import { expect, test } from 'vitest'
import { hasData } from '../process/open-data.ts'
import { prng } from '../../simulator/random.ts'
import { marks, type Series } from './real-data.ts'
import { controls, figures, onlyBy, points, ruleOf, signalMonths } from './real-figures.ts'
import { firstRows, runOf } from './real-run.ts'
import { SETS } from './real-sets.ts'

const QUARTER = 900_000
const FROM_MS = Date.UTC(2012, 4, 1)
const ROWS = 3000

/** A month of pH with a daily swing and noise; `change` is what happens to it. */
function invented(change: (v: number, row: number) => number, wrong: (row: number) => boolean | number): Series {
  const next = prng(1, 'measured series')
  const values = Float64Array.from({ length: ROWS }, (_, i) => Math.round(100 * change(7.4 + 0.1 * Math.sin((2 * Math.PI * i) / 96) + 0.04 * (next() - 0.5), i)) / 100)
  return {
    name: 'invented',
    everyMs: QUARTER,
    times: Float64Array.from({ length: ROWS }, (_, i) => FROM_MS + i * QUARTER),
    columns: [{ name: 'ph', kind: 'pH of water', values }],
    wrong: marks(ROWS, wrong),
  }
}
const within = (from: number, to: number) => (row: number) => row >= from && row < to

test('a series that stays as it was is told of by no rule and no check', () => {
  const r = runOf(
    invented(
      (v) => v,
      () => false,
    ),
  )
  expect(r.told).toEqual([])
  expect(r.doubted.some((d) => d === 1)).toBe(false)
  expect(r.doubted).toHaveLength(ROWS - firstRows(ROWS))
})

test('a step is told by limit, rate and deviation, a stand-still by the stuck rule, a slow slope by the drift rule, a spike by the checks', () => {
  const by = (change: (v: number, row: number) => number): readonly string[] => [...new Set(runOf(invented(change, () => false)).told.map(ruleOf))].sort()
  expect(by((v, i) => (i >= 1500 && i < 1700 ? v - 1.3 : v))).toEqual(expect.arrayContaining(['deviation', 'limit', 'rate']))
  expect(by((v, i) => (i >= 1500 && i < 1560 ? 7.42 : v))).toEqual(['stuck'])
  expect(by((v, i) => (i >= 900 ? v + (0.06 * (i - 900)) / 96 : v))).toContain('drift')
  expect(by((v, i) => (i === 2000 ? v + 0.45 : v))).toEqual(['checks'])
})

test('what is told up to a row does not depend on anything after it', () => {
  const change = (v: number, i: number): number => (i >= 1200 && i < 1300 ? v + 1.5 : i % 700 === 0 ? v + 0.6 : v)
  const whole = invented(change, within(1200, 1300))
  const end = 1750
  const other = {
    ...whole,
    times: whole.times.map((t, i) => (i < end ? t : t + 5 * QUARTER)),
    columns: whole.columns.map((c) => ({ ...c, values: c.values.map((v, i) => (i < end ? v : 2)) })),
  }
  const lastMs = whole.times[end - 1] ?? 0
  const before = (s: Series): unknown =>
    runOf(s)
      .told.filter((a) => a.toldMs <= lastMs)
      .map((a) => [a.alarm, a.toldMs, a.value])
  expect(before(other)).toEqual(before(whole))
  expect(before(whole)).not.toEqual([])
  expect(runOf(other).told).not.toEqual(runOf(whole).told)
})

test('rows are events run by run; what began before the scored part, or is not asked, is neither found nor missed and explains what is told of it', () => {
  const first = firstRows(ROWS)
  const wrong = (i: number): number => (within(first - 5, first + 5)(i) || within(1000, 1001)(i) || within(1002, 1004)(i) ? 1 : within(2000, 2100)(i) ? 2 : 0)
  const r = runOf(invented((v, i) => (within(2000, 2100)(i) || within(2500, 2600)(i) ? v - 1.3 : v), wrong))
  expect(r.labels.map((l) => l.seen)).toEqual(['no', 'yes', 'yes', 'no'])
  const f = figures([r], signalMonths([r]))
  // The dip that is not asked is no alarm in vain, the one nobody labelled is.
  expect(f).toMatchObject({ events: 2, bouts: 1, found: 0, boutsFound: 0, precision: 0, f1: 0 })
  expect(f.untrue).toBeGreaterThan(0)
  expect(f.untrue).toBeLessThan(f.told)
  expect(onlyBy([r], ['drift'])[0]?.told).toEqual([])
})

test('controls get what they must: never finds nothing, always finds all with the precision of the labelled share, and rows at random have that share too', () => {
  const r = runOf(invented((v, i) => (within(1500, 1700)(i) ? v - 1.3 : v), within(1500, 1700)))
  const all = controls([r], [60, 600], 20, 1)
  const labelled = 204 / (ROWS - firstRows(ROWS))
  expect(all['never']).toMatchObject({ found: 0, told: 0, precision: null, f1: 0 })
  const always = all['always (every row)']
  expect(always).toMatchObject({ found: 1, medianDelayMs: 0 })
  expect(always?.precision).toBeCloseTo(labelled, 2)
  const ours = figures([r], signalMonths([r]))
  expect(ours.found).toBe(1)
  for (const c of Object.values(all)) expect(ours.f1).toBeGreaterThan(c.f1)
  const p = points([r], (x) => [x.standing])
  expect(p).toMatchObject({ rows: ROWS - firstRows(ROWS), wrong: 200 })
  expect(p.both / p.wrong).toBeGreaterThan(0.9)
  expect(points([r], (x) => [x.wrong])).toMatchObject({ flagged: 200, both: 200 })
})

const MACHINE = 'nab/machine_temperature_system_failure.csv'
const machineSet = SETS.find((s) => s.needs.includes(MACHINE))
const BASIN = 'logan/franklinbasin_2020.csv'
const riverSet = SETS.find((s) => s.needs.includes(BASIN))

test.skipIf(!machineSet?.needs.every(hasData))(`all four failures of a measured machine are told, better than by any control (needs shared data: ${MACHINE})`, () => {
  const runs = machineSet?.series().map(runOf) ?? []
  const ours = figures(runs, signalMonths(runs))
  expect(ours).toMatchObject({ events: 4, found: 4 })
  for (const c of Object.values(controls(runs, machineSet?.tryMin ?? [], 10, 1))) expect(ours.f1).toBeGreaterThan(c.f1)
})

test.skipIf(!riverSet?.needs.every(hasData))(
  `the mountain river has the 42 coded turbidity events its description counts, and most stay untold at one step of 50 NTU (needs shared data: ${BASIN})`,
  () => {
    const series = riverSet?.series().find((s) => s.name === 'franklin-basin-turb')
    if (!series) throw new Error('the turbidity series is gone')
    const r = runOf(series)
    const f = figures([r], signalMonths([r]))
    expect(f.events).toBe(42)
    expect(f.found).toBeLessThan(21)
  },
)
