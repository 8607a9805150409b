import { expect, test } from 'vitest'
import { BSM1 } from '../../simulator/process/asm1-parameters.ts'
import { petersen, tankDerivative } from '../../simulator/process/asm1.ts'
import { biomassAtRest, foodAtRest } from '../../simulator/process/chemostat.ts'
import { type Derivative, integrate } from '../../simulator/process/integrate.ts'
import { hasData, readRows, referenceValue } from './open-data.ts'

const at = (y: Float64Array, i = 0): number => y[i] ?? Number.NaN
const decay: Derivative = (_, y, out) => {
  out[0] = -0.7 * at(y)
}

test('first-order decay follows its exponential to nine figures', () => {
  const { y } = integrate(decay, [3], 0, 10, { relative: 1e-11, absolute: 1e-13 })
  expect(Math.abs(at(y) / (3 * Math.exp(-7)) - 1)).toBeLessThan(1e-9)
})

test('a tank that drains through a hole in its bottom follows the square of a straight line', () => {
  // Torricelli: dh/dt = -k sqrt(h), h = (sqrt(h0) - k t / 2)^2 while water is left.
  const drain: Derivative = (_, y, out) => {
    out[0] = -0.4 * Math.sqrt(Math.max(0, at(y)))
  }
  expect(at(integrate(drain, [2], 0, 5).y)).toBeCloseTo((Math.sqrt(2) - 1) ** 2, 8)
  expect(at(integrate(drain, [2], 0, 9).y)).toBeCloseTo(0, 6)
})

test('re-aeration under a constant uptake agrees with the exact answer and with an independent integrator', () => {
  // Exact and LSODA (scipy 1.10.1) values of `ode.reaeration_constant`: K 8 per d, Cs 9, uptake 30 mg/L/d, start 5.
  const f: Derivative = (_, y, out) => {
    out[0] = 8 * (9 - at(y)) - 30
  }
  for (const [t, exact] of [
    [1 / 12, 5.121645720241852],
    [0.5, 5.245421090277817],
    [1, 5.2499161343430245],
  ] as const)
    expect(Math.abs(at(integrate(f, [5], 0, t, { relative: 1e-10 }).y) - exact)).toBeLessThan(1e-8)
})

test('a mixed tank with Monod growth comes to rest where the closed form says', () => {
  // Without recycle the sludge stays as long as the water: age = dwell.
  const g = { muMax: 6, kS: 20, decay: 0.4, yieldShare: 0.6 }
  const dwell = 0.5
  const f: Derivative = (_, y, out) => {
    const growth = ((g.muMax * at(y)) / (g.kS + at(y))) * at(y, 1)
    out[0] = (300 - at(y)) / dwell - growth / g.yieldShare
    out[1] = growth - (g.decay + 1 / dwell) * at(y, 1)
  }
  const { y } = integrate(f, [300, 10], 0, 60)
  const food = foodAtRest(g, dwell)
  expect(at(y)).toBeCloseTo(food, 6)
  expect(at(y, 1)).toBeCloseTo(biomassAtRest(g, dwell, dwell, 300, food), 5)
  expect(() => foodAtRest(g, 0.1)).toThrow('the biomass is washed out')
})

test('a turning point comes back after a thousand turns, as energy says it must', () => {
  const turn: Derivative = (_, y, out) => {
    out[0] = at(y, 1)
    out[1] = -at(y)
  }
  const { y } = integrate(turn, [1, 0], 0, 2 * Math.PI * 1000, { relative: 1e-11, absolute: 1e-12 })
  expect(Math.abs(at(y) - 1)).toBeLessThan(1e-5)
  expect(at(y) ** 2 + at(y, 1) ** 2).toBeCloseTo(1, 6)
})

test('the error goes down with the tolerance asked, four orders over four orders', () => {
  const error = (relative: number): number => Math.abs(at(integrate(decay, [3], 0, 10, { relative, absolute: 1e-15 }).y) / (3 * Math.exp(-7)) - 1)
  expect(error(1e-9)).toBeLessThan(error(1e-5) / 500)
  expect(error(1e-4)).toBeLessThan(1e-3)
})

test('a pulse of ten seconds in a day is not stepped over when the longest step is shorter', () => {
  const pulse: Derivative = (t, _y, out) => {
    out[0] = t >= 0.5 && t < 0.5 + 10 / 86_400 ? 86_400 / 10 : 0
  }
  expect(at(integrate(pulse, [0], 0, 1, { longestStep: 5 / 86_400 }).y)).toBeCloseTo(1, 2)
})

test('a derivative that is no number, too few steps and a backward span each say so; the start is left alone', () => {
  expect(() =>
    integrate(
      (_t, _y, out) => {
        out[0] = Number.NaN
      },
      [1],
      0,
      1,
    ),
  ).toThrow('integration met NaN at t = 0')
  expect(() => integrate(decay, [1], 0, 1000, { mostSteps: 3 })).toThrow('3 steps were not enough')
  expect(() => integrate(decay, [1], 1, 0)).toThrow('cannot integrate from 1 to 0')
  expect(() => integrate(decay, [1], 0, 1, { relative: 0 })).toThrow('tolerances 0 (relative)')
  const start = Float64Array.of(1)
  expect(at(integrate(decay, start, 2, 2).y)).toBe(1)
  integrate(decay, start, 0, 1)
  expect(start).toEqual(Float64Array.of(1))
})

test('cutting a span in two changes nothing beyond the tolerance, also for the whole biology', () => {
  const tank = { volumeM3: 1333, flowM3PerD: 18_446, influent: [30, 69.5, 51.2, 202.32, 28.17, 0, 0, 0, 0, 31.56, 6.95, 10.59, 7], kLaPerD: 240, saturation: 8 }
  const f = tankDerivative(tank, BSM1, petersen(BSM1))
  const start = new Float64Array(13).fill(1)
  const whole = integrate(f, start, 0, 0.2).y
  const half = integrate(f, integrate(f, start, 0, 0.1).y, 0.1, 0.2).y
  whole.forEach((v, i) => expect(Math.abs(v - at(half, i))).toBeLessThan(1e-5 * (1 + Math.abs(v))))
})

const brandywine = 'stream-do/brandywine_2012.csv'
test.skipIf(!hasData(brandywine))(`three days of a stream's oxygen under measured light agree with two independent integrators (needs shared data: ${brandywine})`, () => {
  // ode.diel_do_brandywine: dC/dt = (GPP L/mean L + ER)/depth + K (Cs - C), rows 48-192 interpolated straight, time in days.
  const rows = readRows(brandywine).slice(48, 193)
  const series = (name: string): number[] => rows.map((r) => r[name] ?? Number.NaN)
  const [light, depth, cs] = [series('light_umol_m2_s'), series('depth_m'), series('do_sat_mgl')]
  const value = (a: readonly number[], t: number): number => {
    const i = Math.min(a.length - 2, Math.max(0, Math.floor(t * 48)))
    const [from = 0, to = 0] = [a[i], a[i + 1]]
    return from + (to - from) * (t * 48 - i)
  }
  const meanLight = light.slice(1).reduce((sum, l, i) => sum + (l + (light[i] ?? 0)) / 2, 0) / (light.length - 1)
  const expected = referenceValue('ode.diel_do_brandywine') as { DO_every_12th_row: number[]; mean_light: number }
  expect(meanLight).toBeCloseTo(expected.mean_light, 6)
  const f: Derivative = (t, y, out) => {
    out[0] = ((3 * value(light, t)) / meanLight - 4) / value(depth, t) + 12 * (value(cs, t) - at(y))
  }
  let y = Float64Array.of(10)
  expected.DO_every_12th_row.forEach((e, i) => {
    if (i > 0) y = Float64Array.from(integrate(f, y, (i - 1) / 4, i / 4, { longestStep: 1 / 96, relative: 1e-10 }).y)
    expect(Math.abs(at(y) - e)).toBeLessThan(1e-5)
  })
})
