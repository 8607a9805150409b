import fc from 'fast-check'
import { expect, test } from 'vitest'
import { airLossClocks } from '../../gateway/process/oxygen-left.ts'
import { saturationMgPerL } from '../../gateway/process/oxygen.ts'
import { doAfterMgPerL, fieldShare, kLaAt, kLaFromTwoPoints, minutesToDo, restingDoMgPerL, supplyMgPerLPerH } from '../../gateway/process/transfer.ts'
import { because, real, seen } from './noise.ts'

const cs = saturationMgPerL(20)

test('time to an oxygen value and oxygen at a time are inverses, falling and rising', () => {
  fc.assert(
    fc.property(real(0.5, 20), real(0, 60), real(0.1, 12), real(0.01, 2), (kLaPerH, uptakeMgPerLPerH, start, hours) => {
      const b = { kLaPerH, uptakeMgPerLPerH, saturationMgPerL: cs }
      const then = doAfterMgPerL(start, hours, b)
      // Once at zero, or once at rest, the way back is not unique.
      if (then === 0 || Math.abs(then - restingDoMgPerL(b)) < 1e-6) return true
      return Math.abs(minutesToDo(start, then, b) / 60 - hours) < 1e-4
    }),
  )
})

test.each([
  ['treatment unit while washing', 4.7, 43, 6],
  ['treatment unit idle', 8.5, 6.4, 79],
  ['bio 1 idle', 8.5, 1.8, 6 * 60],
  ['bio 2', 8.5, 1.1, 15 * 60],
])('after air loss the %s falls to 1 mg/L in about the time of the reference loop', (_tank, start, uptake, minutes) => {
  // Common practice, no source, computed there with uptake that slows as oxygen gets short; hence 20 %.
  const ours = minutesToDo(start, 1, { kLaPerH: 0.1, saturationMgPerL: cs, uptakeMgPerLPerH: uptake })
  expect(Math.abs(ours / minutes - 1)).toBeLessThan(0.2)
})

test('where the surface alone keeps up with the uptake, oxygen never falls to the target', () => {
  expect(minutesToDo(8.5, 1, { kLaPerH: 0.3, saturationMgPerL: cs, uptakeMgPerLPerH: 1 })).toBe(Number.POSITIVE_INFINITY)
  expect(minutesToDo(8.5, 9, { kLaPerH: 0, saturationMgPerL: cs, uptakeMgPerLPerH: 5 })).toBe(Number.POSITIVE_INFINITY)
  expect(minutesToDo(8.5, 1, { kLaPerH: 0, saturationMgPerL: cs, uptakeMgPerLPerH: 0 })).toBe(Number.POSITIVE_INFINITY)
  // Falling to a rest of 5 mg/L, it will not pass 9 on the way.
  expect(minutesToDo(8.5, 9, { kLaPerH: 2, saturationMgPerL: cs, uptakeMgPerLPerH: 8 })).toBe(Number.POSITIVE_INFINITY)
  expect(minutesToDo(3, 3, { kLaPerH: 5, saturationMgPerL: cs, uptakeMgPerLPerH: 5 })).toBe(0)
})

test('halved alpha looks like an overload to the balance: 80 where the truth is 42', () => {
  // Common practice, no source: treatment unit, KLa 10 per h in good order, oxygen at 1.1 mg/L.
  expect(supplyMgPerLPerH(10, cs, 1.1)).toBeCloseTo(80, 0)
  expect(supplyMgPerLPerH(5, cs, 1.1)).toBeCloseTo(40, 0)
})

test('KLa carried to another temperature and back is the same, and two exact points give it', () => {
  expect(kLaAt(kLaAt(9, 12, 28), 28, 12)).toBeCloseTo(9, 10)
  const at = (h: number) => doAfterMgPerL(1, h, { kLaPerH: 7, saturationMgPerL: cs, uptakeMgPerLPerH: 20 })
  expect(kLaFromTwoPoints(cs - 20 / 7, { at: 0.05, value: at(0.05) }, { at: 0.2, value: at(0.2) })).toBeCloseTo(7, 6)
})

test('a field share is refused for an alpha that no aerator has', () => {
  expect(() => fieldShare({ alpha: 5, beta: 0.95, saturationMgPerL: 9, doMgPerL: 2, temperatureCel: 20 })).toThrow('alpha is 5: it must lie between 0.05 and 1.2')
  expect(() => minutesToDo(99, 1, { kLaPerH: 0, saturationMgPerL: 9, uptakeMgPerLPerH: 1 })).toThrow('oxygen is 99 mg/L')
})

const idle = { doMgPerL: 8.5, saturationMgPerL: cs, temperatureCel: 25, uptakeMgPerLPerH: { low: 5.5, best: 6.4, high: 7.2 } }

test('the clocks of an air loss bracket the reference loop: 79 min to 1 mg/L, odour 8 h later at 25 degrees and 16 h at 15', () => {
  const c = seen(airLossClocks(idle))
  expect(c.toShortMin.low).toBeLessThan(79)
  expect(c.toShortMin.high).toBeGreaterThan(79)
  expect(c.toOdourH.best).toBeCloseTo(8, 6)
  expect(seen(airLossClocks({ ...idle, temperatureCel: 15 })).toOdourH.best).toBeCloseTo(16, 6)
})

test('at 20 degrees a tenth of the activity is gone after 72 h without air and a third some 25 h later', () => {
  // Common practice, no source: 0.0015 per h to 72 h, then 0.01 per h; F1: a 0.9 at 72 h.
  const h = seen(airLossClocks({ ...idle, temperatureCel: 20 })).toHarmH.best
  expect(Math.exp(-0.0015 * 72 - 0.01 * (h - 72))).toBeCloseTo(0.7, 10)
})

test('a loop whose uptake was never measured gets no time, but the range such tanks have', () => {
  expect(because(airLossClocks({ ...idle, uptakeMgPerLPerH: null }))).toBe('uptake was never measured on this loop; such tanks range from 5 min to 15 h')
  expect(() => airLossClocks({ ...idle, uptakeMgPerLPerH: { low: 3, best: 2, high: 4 } })).toThrow('low, best and high must ascend')
  expect(seen(airLossClocks({ ...idle, doMgPerL: 0.4 })).toShortMin).toEqual({ low: 0, best: 0, high: 0 })
})
