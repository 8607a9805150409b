/** pH that fell in a real plant, and probes whose drift a technician measured. */
import { expect, test } from 'vitest'
import { fitLine } from '../../gateway/process/line.ts'
import { CHANGE, changePoint } from '../../gateway/trends/change-point.ts'
import { driftPerDay } from '../../gateway/trends/drift.ts'
import { mannKendallCorrected } from '../../gateway/trends/mann-kendall.ts'
import { theilSen } from '../../gateway/trends/theil-sen.ts'
import { hasData, readRows, readTexts, readTimes, referenceValue } from './open-data.ts'
import { HOUR_MS, hourly, outlookAt, SLUDGE, sludgePh } from './ph-data.ts'

const DAY_MS = 24 * HOUR_MS
const nan = Number.NaN

test.skipIf(!hasData(SLUDGE))(`nine days of pH of a membrane plant: slope and interval as scipy has them (needs shared data: ${SLUDGE})`, () => {
  const hours = hourly(sludgePh())
  const from = sludgePh()[0]?.atMs ?? 0
  const days = hours.map((p) => (p.atMs - from) / DAY_MS)
  const line = theilSen(
    days,
    hours.map((p) => p.value),
  )
  // scipy 1.17.1, theilslopes(y, x, 0.95) on the same 216 medians.
  expect(hours).toHaveLength(216)
  expect(line.slope).toBeCloseTo(-0.0244607252973131, 12)
  expect(line.low).toBeCloseTo(-0.0383841059602648, 12)
  expect(line.high).toBeCloseTo(-0.013186813186813138, 12)
  // Hours remember the hours before: with that counted, nine days of one fall are no trend yet.
  const corrected = mannKendallCorrected(Float64Array.from(hours, (p) => p.value))
  if ('because' in corrected) throw new Error(corrected.because)
  expect(corrected.inflation).toBeGreaterThan(3)
  const wide = theilSen(
    days,
    hours.map((p) => p.value),
    { level: 0.95, ranks: 'rounded', inflation: corrected.inflation },
  )
  expect(wide.high - wide.low).toBeGreaterThan(1.5 * (line.high - line.low))
})

test.skipIf(!hasData(SLUDGE))(`the fall of 17 April is one clear break, told to within a day, and not a slope (needs shared data: ${SLUDGE})`, () => {
  const hours = hourly(sludgePh())
  const c = changePoint({ atMs: Float64Array.from(hours, (p) => p.atMs), value: Float64Array.from(hours, (p) => p.value), missing: 0 }, { ...CHANGE, resolution: 0.1 })
  if ('because' in c) throw new Error(c.because)
  expect(c.evidence).toBe('clear')
  const firstUnder7 = sludgePh().find((p) => p.value < 7)?.atMs ?? nan
  expect(c.earliestMs ?? nan).toBeLessThan(firstUnder7)
  expect(Math.abs(c.lastBeforeMs - firstUnder7)).toBeLessThan(4 * HOUR_MS)
  expect((c.latestMs ?? nan) - (c.earliestMs ?? nan)).toBeLessThan(DAY_MS)
  expect(c.before).toBeCloseTo(7.31, 2)
  expect(c.after).toBeCloseTo(6.73, 2)
})

test.skipIf(!hasData(SLUDGE))(
  `no forecast cries wolf in the week before the fall; on the way down two days of hours hold the truth and one day does not (needs shared data: ${SLUDGE})`,
  () => {
    const points = sludgePh()
    const hours = hourly(points)
    const passed = points.find((p) => p.value <= 6.5)?.atMs ?? nan
    expect(new Date(passed).toISOString()).toBe('2010-04-18T14:00:00.000Z')
    const from = points[0]?.atMs ?? nan
    const reasons = new Set<string>()
    const toldOf = (backMs: number): readonly { readonly atMs: number; readonly lowMs: number; readonly medianMs: number; readonly highMs: number }[] => {
      const told = []
      for (let nowMs = from + 48 * HOUR_MS; nowMs < passed; nowMs += HOUR_MS) {
        const o = outlookAt(hours, nowMs, backMs)
        if ('because' in o) reasons.add(o.because.replace(/\d+/g, 'n'))
        else if (o.kind === 'forecast') told.push({ atMs: nowMs, ...o })
      }
      return told
    }
    const told = toldOf(48 * HOUR_MS)
    // pH begins to leave 7.2 at noon of the 17th; nothing is foretold before, and most hours say why not.
    expect(told.filter((o) => o.atMs < Date.parse('2010-04-17T06:00:00Z'))).toEqual([])
    expect(reasons).toContain('the signal did not move by more than its smallest step')
    expect([...reasons].some((r) => r.startsWith('the course stepped or bent'))).toBe(true)
    expect(told.length).toBeGreaterThanOrEqual(5)
    const held = (of: readonly { readonly lowMs: number; readonly highMs: number }[]): number => of.filter((o) => o.lowMs <= passed && passed <= o.highMs).length
    expect(held(told) / told.length).toBeGreaterThanOrEqual(0.8)
    // A single day of hours sees the first fall, which paused, as the whole course: its intervals are far too narrow here.
    const day = toldOf(24 * HOUR_MS)
    expect([held(day), day.length]).toEqual([0, 5])
  },
)

const river = 'logan/mainstreet_2019_drift.csv'
interface Measured {
  readonly n: number
  readonly drift_raw_minus_corrected_per_day_ols: number
  readonly theil_sen_every_8th: number
  readonly final_drift: number
}

/** Rows the reference was computed on, by their clock, and how far from the drift the difference of two slopes may lie: conductivity moves a hundred times more than it drifts. */
const SPANS = [
  ['ph', '2019-04-25', '2019-04-25T17:45:00', '2019-06-28T13:00:00', 0.05],
  ['ph', '2019-06-28', '2019-06-28T13:45:00', '2019-07-31T12:45:00', 0.05],
  ['do', '2019-08-20', '2019-08-20T14:30:00', '2019-09-23T12:15:00', 0.05],
  ['cond', '2019-05-30', '2019-05-30T14:45:00', '2019-06-28T13:00:00', 0.6],
] as const
test.skipIf(!hasData(river) || !hasData('reference-values.json')).each(SPANS)(
  `a drift a technician measured is found, and told apart from the river only with his help: %s from %s (needs shared data: ${river})`,
  (signal, date, from, to, apart) => {
    const expected = referenceValue(`logan.mainstreet_2019.${signal}.${date}`) as Measured
    const clock = readTexts(river, 'datetime')
    const times = readTimes(river, 'datetime')
    const codes = readTexts(river, `${signal}_qual`)
    const rows = readRows(river)
      .map((r, i) => ({ atMs: times[i] ?? nan, code: codes[i], clock: clock[i] ?? '', raw: r[signal] ?? nan, corrected: r[`${signal}_cor`] ?? nan }))
      .filter((r) => r.clock >= from && r.clock <= to && r.code === '' && r.raw > -100 && r.corrected > -100)
    const first = rows[0]?.atMs ?? nan
    const days = rows.map((r) => (r.atMs - first) / DAY_MS)
    const drift = rows.map((r) => r.raw - r.corrected)
    expect(Math.abs(rows.length - expected.n)).toBeLessThanOrEqual(6)
    expect(fitLine(days, drift).slope / expected.drift_raw_minus_corrected_per_day_ols).toBeCloseTo(1, 2)
    const eighth = (v: readonly number[]): readonly number[] => v.filter((_, i) => i % 8 === 0)
    expect(theilSen(eighth(days), eighth(drift)).slope / expected.theil_sen_every_8th).toBeCloseTo(1, 2)

    // The tool sees medians of days. Raw less corrected slope is the technician's drift; alone, the raw signal's interval is far wider than it.
    const plan = { fromMs: Math.ceil(first / DAY_MS) * DAY_MS, days: Math.floor(days.at(-1) ?? 0) - 1, leastPerDay: 48, level: 0.95, chance: 0.05 }
    const toolOn = (of: 'raw' | 'corrected') => {
      const d = driftPerDay(
        rows.map((r) => ({ atMs: r.atMs, value: r[of] })),
        plan,
      )
      if ('because' in d) throw new Error(d.because)
      return d
    }
    const [raw, corrected] = [toolOn('raw'), toolOn('corrected')]
    const perDay = expected.drift_raw_minus_corrected_per_day_ols
    expect(Math.abs((raw.perDay.best - corrected.perDay.best) / perDay - 1)).toBeLessThan(apart)
    expect(raw.says).toBe('none told')
    expect(raw.perDay.low).toBeLessThan(perDay)
    expect(raw.perDay.high).toBeGreaterThan(perDay)
    expect(raw.perDay.high - raw.perDay.low).toBeGreaterThan(4 * Math.abs(perDay))
  },
)
