import fc from 'fast-check'
import { expect, test } from 'vitest'
import { cusumPlan, cusumSays, startCusum, stepCusum } from '../../gateway/trends/cusum.ts'
import { ewmaLimits, type EwmaPlan, ewmaSays, startEwma, stepEwma } from '../../gateway/trends/ewma.ts'
import { gridOf, pointsOf } from '../../gateway/trends/grid.ts'
import { individualsChart, type IndividualsPlan } from '../../gateway/trends/individuals.ts'
import { robustSd } from '../../gateway/trends/order.ts'
import { type Point, usable } from '../../gateway/trends/points.ts'
import { type SmoothState, stepSmooth } from '../../gateway/trends/smooth.ts'
import { because, real, seen } from '../process/noise.ts'

const points = (...values: readonly (number | null)[]): Point[] => values.map((value, atMs) => ({ atMs, value }))

test('points without a figure are left out and counted, the later of two at one time counts, and times that run backwards are an error', () => {
  const s = usable([...points(1, null, Number.NaN, Number.POSITIVE_INFINITY, 5), { atMs: 4, value: 6 }])
  expect([...s.value]).toEqual([1, 6])
  expect([...s.atMs]).toEqual([0, 4])
  expect(s.missing).toBe(3)
  expect(() => usable([points(1)[0] as Point, { atMs: -1, value: 2 }])).toThrow('points run backwards: -1 after 0')
  expect(() => usable([{ atMs: Number.NaN, value: 2 }])).toThrow('it must be a finite number of ms')
})

test('a step of the grid is the median of its readings; one with too few stays a hole', () => {
  const g = gridOf(
    [0, 10, 20, 100, 350, 360, 399].map((atMs, i) => ({ atMs, value: [1, 9, 2, 4, 3, 5, null][i] as number | null })),
    { fromMs: 0, stepMs: 100, steps: 4, leastPerStep: 2 },
  )
  expect([...g.value]).toEqual([2, Number.NaN, Number.NaN, 4])
  expect(g.holes).toBe(2)
  expect(pointsOf(g)).toEqual([
    { atMs: 50, value: 2 },
    { atMs: 350, value: 4 },
  ])
})

const EWMA: EwmaPlan = { lambda: 0.2, target: 7, sd: 0.1, width: 3 }

test('a missing reading leaves both charts as they were', () => {
  const e = stepEwma(startEwma(EWMA), 7.2, EWMA)
  for (const nothing of [null, Number.NaN, Number.POSITIVE_INFINITY]) expect(stepEwma(e, nothing, EWMA)).toBe(e)
  const plan = cusumPlan(7, 0.1, 10)
  const c = stepCusum(startCusum(plan), { atMs: 5, value: 7.3 }, plan)
  for (const value of [null, Number.NaN]) expect(stepCusum(c, { atMs: 6, value }, plan)).toBe(c)
})

test('the EWMA chart of a signal that stays on target never signals, and its limits only widen', () => {
  let s = startEwma(EWMA)
  for (let i = 0; i < 500; i += 1) {
    s = stepEwma(s, 7, EWMA)
    expect(ewmaSays(s, EWMA)).toBe('inside')
    expect(ewmaLimits(EWMA, i + 2).high).toBeGreaterThanOrEqual(ewmaLimits(EWMA, i + 1).high)
  }
  for (let i = 0; i < 20; i += 1) s = stepEwma(s, 6.85, EWMA)
  expect(ewmaSays(s, EWMA)).toBe('low')
})

test('the CUSUM tells when the change began, not when it was found', () => {
  const plan = cusumPlan(7, 0.1, 10)
  let s = startCusum(plan)
  let foundAt = -1
  for (let atMs = 0; foundAt < 0; atMs += 1) {
    s = stepCusum(s, { atMs, value: atMs < 50 ? 7 + (atMs % 2 ? 0.04 : -0.04) : 7.17 }, plan)
    if (cusumSays(s, plan) === 'high') foundAt = atMs
  }
  expect(foundAt).toBe(54)
  expect(s.high.sinceMs).toBe(50)
  expect(s.low).toEqual({ sum: 0, sinceMs: null })
})

test('after a gap the CUSUM starts at zero; a late reading changes nothing', () => {
  const plan = cusumPlan(7, 0.1, 10)
  const s = [0, 1, 2].reduce((was, atMs) => stepCusum(was, { atMs, value: 7.2 }, plan), startCusum(plan))
  expect(s.high.sum).toBeCloseTo(0.45, 12)
  expect(stepCusum(s, { atMs: 1, value: 9 }, plan)).toBe(s)
  expect(stepCusum(s, { atMs: 12, value: 7.2 }, plan).high.sum).toBeCloseTo(0.6, 12)
  expect(stepCusum(s, { atMs: 13, value: 7.2 }, plan).high).toEqual({ sum: expect.closeTo(0.15, 12), sinceMs: 13 })
})

test('plans outside their ranges are errors that name the value', () => {
  expect(() => startEwma({ ...EWMA, lambda: 0 })).toThrow('lambda is 0')
  expect(() => startEwma({ ...EWMA, lambda: 1.1 })).toThrow('lambda is 1.1')
  expect(() => startEwma({ ...EWMA, sd: 0 })).toThrow('standard deviation is 0')
  expect(() => cusumPlan(7, 0, 10)).toThrow('standard deviation is 0')
  expect(() => cusumPlan(Number.NaN, 1, 10)).toThrow('target is NaN')
  expect(() => cusumPlan(7, 1, -1)).toThrow('gap is -1 ms')
  expect(() => gridOf([], { fromMs: Number.NaN, stepMs: 1, steps: 1, leastPerStep: 1 })).toThrow('start of the grid is NaN')
  expect(() => stepSmooth(null, { atMs: 0, value: 1 }, { timeConstantMs: 0, gapMs: 1 })).toThrow('time constant is 0 ms')
})

test('mirrored readings give mirrored CUSUM sums', () => {
  const plan = cusumPlan(0, 1, 1e9)
  fc.assert(
    fc.property(fc.array(real(-4, 4), { maxLength: 60 }), (values) => {
      const run = (sign: number) => values.reduce((s, v, atMs) => stepCusum(s, { atMs, value: sign * v }, plan), startCusum(plan))
      expect(run(1).high).toEqual(run(-1).low)
    }),
  )
})

const SMOOTH = { timeConstantMs: 600_000, gapMs: 3_600_000 }

test('the smoothed value of irregular readings lies among them, and a burst counts no more than the time it took', () => {
  fc.assert(
    fc.property(fc.array(fc.tuple(fc.integer({ min: 1, max: 600_000 }), real(-5, 5)), { minLength: 1, maxLength: 80 }), (rows) => {
      let atMs = 0
      let s: SmoothState | null = null
      for (const [dt, value] of rows) s = stepSmooth(s, { atMs: (atMs += dt), value }, SMOOTH)
      const values = rows.map(([, v]) => v)
      expect(s?.average).toBeGreaterThanOrEqual(Math.min(...values) - 1e-9)
      expect(s?.average).toBeLessThanOrEqual(Math.max(...values) + 1e-9)
    }),
  )
  const start: SmoothState = { atMs: 0, average: 0, fromMs: 0 }
  const once = stepSmooth(start, { atMs: 60_000, value: 1 }, SMOOTH)
  let burst: SmoothState | null = start
  for (let atMs = 600; atMs <= 60_000; atMs += 600) burst = stepSmooth(burst, { atMs, value: 1 }, SMOOTH)
  expect(burst?.average).toBeCloseTo(once?.average ?? Number.NaN, 12)
})

test('smoothing starts anew behind a gap and passes over missing, late and repeated readings', () => {
  const s = stepSmooth(stepSmooth(null, { atMs: 0, value: 4 }, SMOOTH), { atMs: 60_000, value: 6 }, SMOOTH) as SmoothState
  for (const p of [
    { atMs: 120_000, value: null },
    { atMs: 60_000, value: 9 },
    { atMs: 10, value: 9 },
  ])
    expect(stepSmooth(s, p, SMOOTH)).toBe(s)
  expect(stepSmooth(s, { atMs: 60_000 + 3_600_001, value: 1 }, SMOOTH)).toEqual({ atMs: 3_660_001, average: 1, fromMs: 3_660_001 })
})

const PLAN: IndividualsPlan = { resolution: 0.1, gapMs: 1, width: 3, leastNeighbours: 3 }

test('no neighbour difference is taken across a hole or a gap', () => {
  const whole = seen(individualsChart(points(1, 2, 1, 2, 1, 2), PLAN))
  expect(whole.neighbours).toBe(5)
  const holed = seen(individualsChart([...points(1, 2, 1, null, 900, 901), { atMs: 50, value: 1 }, { atMs: 51, value: 2 }], PLAN))
  expect(holed.neighbours).toBe(4)
  expect(holed.meanRange).toBe(1)
  expect(because(individualsChart(points(1, null, 2, null, 3), PLAN))).toBe('only 0 pairs of neighbouring readings are there and 3 are needed')
})

test('a flat signal has its resolution for a deviation, so that its own next step is no signal', () => {
  const flat = seen(individualsChart(points(5, 5, 5, 5, 5), PLAN))
  expect(flat.sd).toBe(0.1)
  expect(flat.high).toBeCloseTo(5.3, 12)
  expect(robustSd([5, 5, 5, 5, 5.1], 0.1)).toBe(0.1)
  expect(() => robustSd([5, 5], 0)).toThrow('resolution is 0')
})
