import fc from 'fast-check'
import { expect, test } from 'vitest'
import { driftPerDay, type DriftPlan } from '../../gateway/trends/drift.ts'
import { mannKendall, mannKendallCorrected } from '../../gateway/trends/mann-kendall.ts'
import { autocorrelation, moments } from '../../gateway/trends/moments.ts'
import { median, quantile, select } from '../../gateway/trends/order.ts'
import { DAY_MS } from '../../gateway/trends/points.ts'
import { ROBUST_LINE, theilSen } from '../../gateway/trends/theil-sen.ts'
import { because, gaussian, real, seen } from '../process/noise.ts'

const values = fc.array(real(-10, 10), { minLength: 4, maxLength: 60 })
const stepped = fc.array(fc.integer({ min: -3, max: 3 }), { minLength: 4, maxLength: 60 })

test('selection finds what sorting finds, with and without ties', () => {
  fc.assert(
    fc.property(fc.oneof(values, stepped), fc.nat(), (v, k) => {
      const sorted = Float64Array.from(v).sort()
      expect(select(Float64Array.from(v), k % v.length)).toBe(sorted[k % v.length])
      expect(quantile(v, 0)).toBe(sorted[0])
      expect(quantile(v, 1)).toBe(sorted.at(-1))
    }),
  )
})

function plainSlopes(x: readonly number[], y: readonly number[]): Float64Array {
  const out: number[] = []
  for (let i = 0; i < x.length; i += 1)
    for (let j = i + 1; j < x.length; j += 1) if (x[i] !== x[j]) out.push(((y[j] as number) - (y[i] as number)) / ((x[j] as number) - (x[i] as number)))
  return Float64Array.from(out).sort()
}

test('the slope is the median of all slopes and the interval two of them, with ties in x, in y and in both', () => {
  fc.assert(
    fc.property(
      fc.array(fc.tuple(fc.oneof(real(0, 30), fc.integer({ min: 0, max: 9 })), fc.oneof(real(-5, 5), fc.integer({ min: -2, max: 2 }))), { minLength: 3, maxLength: 40 }),
      (rows) => {
        const x = rows.map((r) => r[0])
        const y = rows.map((r) => r[1])
        fc.pre(new Set(x).size > 1)
        const slopes = plainSlopes(x, y)
        const t = theilSen(x, y)
        expect(t.pairs).toBe(slopes.length)
        expect(t.slope).toBeCloseTo(median(slopes), 9)
        expect(slopes.includes(t.low)).toBe(true)
        expect(slopes.includes(t.high)).toBe(true)
        expect(t.low).toBeLessThanOrEqual(t.slope)
        expect(t.high).toBeGreaterThanOrEqual(t.slope)
      },
    ),
  )
})

test.each([
  ['smooth', 0],
  ['in steps of 0.5, most slopes tied', 0.5],
  ['in steps of 3, more than half of the slopes zero', 3],
])('a thousand points, too many to keep all slopes, give exactly what keeping them gives: %s', (_name, step) => {
  const noise = gaussian(11)
  const x = Array.from({ length: 1000 }, (_, i) => i / 24)
  const y = x.map((t) => {
    const v = 7 + 0.02 * t + noise(0.4)
    return step === 0 ? v : step * Math.round(v / step)
  })
  const slopes = plainSlopes(x, y)
  const t = theilSen(x, y)
  expect(t.slope).toBe(median(slopes))
  const wide = theilSen(x, y, { ...ROBUST_LINE, inflation: 50 })
  expect(slopes.includes(wide.low)).toBe(true)
  expect(wide.low).toBeLessThanOrEqual(t.low)
  expect(wide.high).toBeGreaterThanOrEqual(t.high)
})

test('a quarter of wild readings does not move the slope, and a missing one is refused by name', () => {
  const x = Array.from({ length: 60 }, (_, i) => i)
  const y = x.map((v) => (v % 4 === 1 ? 500 * ((v % 3) - 1) : 3 - 0.1 * v))
  expect(theilSen(x, y).slope).toBeCloseTo(-0.1, 9)
  expect(() => theilSen([1, 2, 3], [1, Number.NaN, 2])).toThrow('y holds NaN: leave out points without a figure first')
  expect(() => theilSen([2, 2], [1, 3])).toThrow('all 2 are 2')
  expect(() => theilSen([1], [1])).toThrow('points is 1')
  expect(() => theilSen([1, 2], [1])).toThrow('2 x and 1 y found')
})

test('Mann-Kendall counts rising and falling pairs, ties as neither; reversed in time the sign turns', () => {
  fc.assert(
    fc.property(fc.oneof(values, stepped), (v) => {
      let s = 0
      v.forEach((b, j) => {
        for (const a of v.slice(0, j)) s += Math.sign(b - a)
      })
      const test = mannKendall(v)
      expect(test.s).toBe(s)
      expect(mannKendall([...v].reverse()).s).toBe(0 - s)
      expect(mannKendall(v.map((b) => 2 * b + 5)).p).toBe(test.p)
    }),
  )
})

test('a flat series has no trend: z 0, p 1, tau 0', () => {
  expect(mannKendall([4, 4, 4, 4, 4])).toMatchObject({ s: 0, variance: 0, z: 0, p: 1, tauA: 0, tauB: 0 })
  expect(mannKendallCorrected(Array.from({ length: 20 }, () => 4))).toMatchObject({ s: 0, p: 1, inflation: 1, slopePerStep: 0 })
  expect(() => mannKendall([1, 2, 3])).toThrow('values of a trend test is 3')
})

test('holes keep their place: the corrected test of a rising series with holes still rises at the true pace', () => {
  const v = Array.from({ length: 60 }, (_, i) => (i % 5 === 2 ? Number.NaN : 0.2 * i + (i % 3)))
  const t = seen(mannKendallCorrected(v))
  expect(t.n).toBe(48)
  expect(t.slopePerStep).toBeCloseTo(0.2, 2)
  expect(t.p).toBeLessThan(0.001)
  expect(because(mannKendallCorrected(v.slice(0, 11)))).toBe('only 9 values are there and 10 are needed to tell a trend')
})

test('mean and deviation keep their figures on a counter at ten million, and autocorrelation passes over holes', () => {
  const m = moments(Array.from({ length: 1001 }, (_, i) => 10_000_000.2 + (i === 0 ? 0 : i % 2 ? -0.1 : 0.1)))
  expect(m.mean).toBeCloseTo(10_000_000.2, 9)
  expect(m.sd).toBeCloseTo(0.1, 8)
  expect(moments([1, Number.NaN, 3])).toMatchObject({ n: 2, mean: 2 })
  expect([...autocorrelation([2, 2, 2, 2], 2)]).toEqual([1, 0, 0])
  expect(autocorrelation([1, -1, Number.NaN, -1, 1, -1, 1], 1)[1]).toBeCloseTo(-4 / 6, 12)
  expect(() => moments([Number.NaN])).toThrow('none of 1 values is a figure')
})

const PLAN: DriftPlan = { fromMs: 0, days: 40, leastPerDay: 6, level: 0.9, chance: 0.05 }
const hourly = (of: (hour: number) => number | null) => Array.from({ length: 40 * 24 }, (_, h) => ({ atMs: (h * DAY_MS) / 24, value: of(h) }))

test('a drift is told from daily medians, whatever the day swings', () => {
  const noise = gaussian(5)
  const d = seen(
    driftPerDay(
      hourly((h) => 7 - (0.02 * h) / 24 + 0.3 * Math.sin((h * Math.PI) / 12) + noise(0.05)),
      PLAN,
    ),
  )
  expect(d.says).toBe('falling')
  expect(d.perDay.low).toBeLessThan(-0.02 + 1e-3)
  expect(d.perDay.high).toBeGreaterThan(-0.02 - 1e-3)
  const still = seen(
    driftPerDay(
      hourly((h) => 7 + 0.3 * Math.sin((h * Math.PI) / 12) + noise(0.05)),
      PLAN,
    ),
  )
  expect(still.says).toBe('none told')
  expect(still.perDay.low).toBeLessThan(0)
  expect(still.perDay.high).toBeGreaterThan(0)
})

test('days with too few readings are holes, and ten days are needed', () => {
  const d = seen(
    driftPerDay(
      hourly((h) => (h >= 48 && h < 96 ? null : 7 - h / 1000)),
      PLAN,
    ),
  )
  expect(d).toMatchObject({ days: 38, holes: 2, says: 'falling' })
  expect(
    because(
      driftPerDay(
        hourly((h) => (h < 200 ? 7 : null)),
        PLAN,
      ),
    ),
  ).toBe('only 9 of 40 days have 6 readings or more and 10 are needed')
})
