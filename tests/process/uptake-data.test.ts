/** Air-off intervals and uptake on measured data: what a treatment plant lets us tell, what it does not, and a stream at night against a program nobody here wrote. */
import { expect, test } from 'vitest'
import { airOffSpans, type AirState } from '../../gateway/process/air-off.ts'
import { saturationMgPerL } from '../../gateway/process/oxygen.ts'
import { kLaOfRise } from '../../gateway/process/rise.ts'
import { type DoPoint, UPTAKE_DEFAULTS, uptakeOf } from '../../gateway/process/uptake.ts'
import { because, seen } from './noise.ts'
import { hasData, readRows, readTimes, referenceValue } from './open-data.ts'

const nan = Number.NaN
const MIN = 60_000
const settings = { ...UPTAKE_DEFAULTS, saturationMgPerL: saturationMgPerL(17), resolutionMgPerL: 0.1 }

const plant = 'sbmbr/mines_sbmbr_2010_1min_apr13_15.csv'
test.skipIf(!hasData(plant)).each([
  // Runs of air flow under 30, their rows, and the runs of 9 rows and more, counted by a few lines in another language.
  ['1', { runs: 170, rows: 2021, long: 168 }],
  ['2', { runs: 171, rows: 2061, long: 167 }],
] as const)(`the pauses of a real blower are found one for one, tank %s (needs shared data: ${plant})`, (tank, counted) => {
  const times = readTimes(plant, 'datetime')
  const states = readRows(plant).map((r, i): AirState => ({ atMs: times[i] ?? nan, on: (r[`bio_${tank}_blow_flow`] ?? nan) >= 30 }))
  const spans = airOffSpans(states, times.at(-1) ?? nan)
  expect(spans).toHaveLength(counted.runs)
  // A plain count of rows takes every report for one minute; three holes in the record make the times a little longer.
  const lengths = spans.map((s) => (s.toMs - s.fromMs) / MIN + 1)
  const minutes = lengths.reduce((a, b) => a + b, 0)
  expect(minutes).toBeGreaterThanOrEqual(counted.rows)
  expect(minutes).toBeLessThan(counted.rows + 30)
  expect(Math.abs(lengths.filter((m) => m >= 9).length - counted.long)).toBeLessThanOrEqual(2)
})

test.skipIf(!hasData(plant))(
  `sludge that eats 1.9 mg/L in three minutes is too quick for one reading a minute: no figure, even with the floor let down (needs shared data: ${plant})`,
  () => {
    const times = readTimes(plant, 'datetime')
    const points = readRows(plant).map((r, i): DoPoint => ({ atMs: times[i] ?? nan, doMgPerL: Math.max(0, r.bio_1_do ?? 0) }))
    const from = Date.parse('2010-04-14T13:15:00Z')
    const off = { fromMs: from, toMs: from + 9 * MIN }
    expect(points.filter((p) => p.atMs >= off.fromMs && p.atMs <= off.toMs).map((p) => p.doMgPerL)).toEqual([1.9, 1.7, 1, 0.1, 0.1, 0.1, 0.1, 0, 0, 0])
    const low = { ...settings, dropMs: 0, floorMgPerL: 0.3, leastSamples: 4 }
    expect(because(uptakeOf(points, off, null, low))).toBe('only 3 samples were taken without air before oxygen reached 0.3 mg/L (the first 0 min do not count) and 4 are needed')
  },
)

const basin = 'aeration/boulder_ab3_2019_jan.csv'
test.skipIf(!hasData(basin))(
  `in a month of a large aeration basin the air of a zone stops once, for two readings: found, and too short for an uptake (needs shared data: ${basin})`,
  () => {
    const times = readTimes(basin, 'datetime')
    const rows = readRows(basin)
    const spansOf = (zone: number) =>
      airOffSpans(
        rows.map((r, i): AirState => ({ atMs: times[i] ?? nan, on: (r[`ab3_z${zone}_header_flow_scfm`] ?? nan) >= 40 })),
        times.at(-1) ?? nan,
        5 * MIN,
      )
    expect([6, 7, 8].map((zone) => spansOf(zone).length)).toEqual([0, 0, 1])
    const [off] = spansOf(8)
    expect(new Date(off?.fromMs ?? 0).toISOString()).toBe('2019-01-22T14:05:00.000Z')
    expect(((off?.backMs ?? 0) - (off?.fromMs ?? 0)) / MIN).toBe(10)
    const points = rows.map((r, i): DoPoint => ({ atMs: times[i] ?? nan, doMgPerL: r.ab3_z8_do_mg_l ?? nan }))
    expect(because(uptakeOf(points, off ?? { fromMs: 0, toMs: 0 }, null, { ...settings, resolutionMgPerL: 0.01, dropMs: 0 }))).toContain(
      'only 0 samples were taken without air before oxygen reached 1 mg/L',
    )
  },
)

const stream = 'stream-do/brandywine_2012.csv'
test.skipIf(!hasData(stream) || !hasData('reference-values.json')).each(['2012-05-03', '2012-05-20', '2012-06-10'])(
  `a stream at night is a tank without air whose surface gives much: its uptake as LakeMetabolizer has it, %s (needs shared data: ${stream})`,
  (date) => {
    const expected = referenceValue(`brandywine.metabolism.${date}`) as {
      readonly rows_0based: readonly [number, number]
      readonly K_per_d: number
      readonly bookkeep: { readonly R: number }
      readonly ols: { readonly R: number }
    }
    const [first, last] = expected.rows_0based
    const rows = readRows(stream).slice(first, last + 1)
    const times = readTimes(stream, 'solar_time').slice(first, last + 1)
    const k = expected.K_per_d / 24
    const nights = airOffSpans(
      rows.map((r, i): AirState => ({ atMs: times[i] ?? nan, on: (r.light_umol_m2_s ?? nan) > 0 })),
      times.at(-1) ?? nan,
    )
    expect(nights).toHaveLength(2)
    const points = rows.map((r, i): DoPoint => ({ atMs: times[i] ?? nan, doMgPerL: r.do_obs_mgl ?? nan }))
    let sum = 0
    let weight = 0
    for (const night of nights) {
      const inside = rows.filter((_, i) => (times[i] ?? nan) >= night.fromMs && (times[i] ?? nan) <= night.toMs)
      const saturationMean = inside.reduce((a, r) => a + (r.do_sat_mgl ?? nan), 0) / inside.length
      const u = seen(uptakeOf(points, night, null, { ...settings, saturationMgPerL: saturationMean, dropMs: 0, surfacePerH: { low: k, best: k, high: k } }))
      const hours = (night.toMs - night.fromMs) / (60 * MIN)
      sum += u.uptakeMgPerLPerH * 24 * hours
      weight += hours
    }
    // Theirs steps from reading to reading, ours is a line through the night: the two of theirs differ by up to 6 %.
    expect(Math.abs(sum / weight / -expected.bookkeep.R - 1)).toBeLessThan(0.04)
    expect(Math.abs(sum / weight / -expected.ols.R - 1)).toBeLessThan(0.1)
  },
)

test.skipIf(!hasData(plant)).each(['1', '2'])(
  `after none of its pauses does the plant show what its air can do: oxygen rises by too little, does not come to rest, or begins to rise long after the air, tank %s (needs shared data: ${plant})`,
  (tank) => {
    const times = readTimes(plant, 'datetime')
    const rows = readRows(plant)
    const endMs = times.at(-1) ?? nan
    const spans = airOffSpans(
      rows.map((r, i): AirState => ({ atMs: times[i] ?? nan, on: (r[`bio_${tank}_blow_flow`] ?? nan) >= 30 })),
      endMs,
    )
    const points = rows.map((r, i): DoPoint => ({ atMs: times[i] ?? nan, doMgPerL: Math.max(0, r[`bio_${tank}_do`] ?? nan) }))
    const told = spans.flatMap((s, i) => {
      const untilMs = spans[i + 1]?.fromMs ?? endMs
      return s.backMs === null
        ? []
        : [
            kLaOfRise(
              points.filter((p) => p.atMs < untilMs),
              s.backMs,
            ),
          ]
    })
    expect(told.length).toBeGreaterThan(165)
    expect(told.filter((r) => r.kind !== 'not-observable')).toEqual([])
    // One rise looks like the curve of an aerator and is not: it begins when a load ended, minutes after the air.
    const late = told.map((r) => because(r)).filter((b) => b.includes('min after the air returned: not the air alone lifted it'))
    expect(late.length).toBe(tank === '1' ? 1 : 0)
  },
)
