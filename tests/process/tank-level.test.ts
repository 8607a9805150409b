import fc from 'fast-check'
import { expect, test } from 'vitest'
import { levelOfPressureMm, pressureOfLevelMbar, waterDensityKgPerM3 } from '../../gateway/process/density.ts'
import { headroomL, levelOfVolumeMm, pctOfVolume, volumeOfLevelL, volumeOfPctL } from '../../gateway/process/tank-level.ts'
import { tankVolumeL } from '../../gateway/site/tank.ts'
import { real } from './noise.ts'

const shape = fc.record({
  diameterMm: real(200, 5000),
  heightMm: real(100, 5000),
  coneMm: fc.oneof(fc.constant(0), real(50, 2500)),
})

test('level to volume and back is the same level, for cylinders, cones and cut cones', () => {
  fc.assert(
    fc.property(shape, real(0, 1), real(0, 1.2), (s, taper, share) => {
      const bottomMm = taper * s.diameterMm
      const level = share * (s.heightMm + s.coneMm)
      return Math.abs(levelOfVolumeMm(s, volumeOfLevelL(s, level, bottomMm), bottomMm) - level) < 1e-3
    }),
  )
})

test('volume to level and back is the same volume, and more level is more volume', () => {
  fc.assert(
    fc.property(shape, real(0, 1.2), (s, share) => {
      const volume = share * tankVolumeL(s)
      const level = levelOfVolumeMm(s, volume)
      return Math.abs(volumeOfLevelL(s, level) - volume) < 1e-6 * (1 + volume) && volumeOfLevelL(s, level + 1) > volume
    }),
  )
})

test('a tank full to its overflow holds what the site says it holds', () => {
  fc.assert(fc.property(shape, (s) => Math.abs(volumeOfLevelL(s, s.heightMm + s.coneMm) / tankVolumeL(s) - 1) < 1e-12))
})

const cone = { diameterMm: 2286, heightMm: 1397, coneMm: 1143 }

test('percent of level is not percent of volume: the lowest fifth of a coned tank holds a fortieth of its water', () => {
  // Geometry: 22.5 in of 100 in is 22 % of level and 2.5 % of volume.
  expect((100 * volumeOfPctL(cone, 22.5)) / tankVolumeL(cone)).toBeCloseTo(2.6, 0)
  expect(pctOfVolume(cone, volumeOfPctL(cone, 63))).toBeCloseTo(63, 9)
})

test('10 mm in a tank of 90 inches is 41 L', () => {
  // Common practice, no source.
  expect(volumeOfLevelL({ ...cone, coneMm: 0 }, 10)).toBeCloseTo(41, 0)
  expect(volumeOfLevelL({ ...cone, coneMm: 0 }, 50)).toBeCloseTo(205, 0)
})

test('headroom ends at the overflow and is never below zero', () => {
  expect(headroomL(cone, 0)).toBeCloseTo(tankVolumeL(cone), 9)
  expect(headroomL(cone, cone.heightMm + cone.coneMm)).toBe(0)
  expect(headroomL(cone, cone.heightMm + cone.coneMm + 20)).toBe(0)
})

test.each([
  [() => volumeOfLevelL({ ...cone, diameterMm: 0 }, 10), 'diameter is 0 mm'],
  [() => volumeOfLevelL(cone, -1), 'level is -1 mm: it must be a finite number of zero or more'],
  [() => volumeOfLevelL(cone, 10, 3000), 'diameter of the bottom is 3000 mm: it must lie between 0 and 2286 mm'],
  [() => levelOfVolumeMm(cone, Number.NaN), 'volume is NaN L'],
  [() => volumeOfPctL(cone, 300), 'level is 300 %'],
  [() => levelOfPressureMm(100, 20, 0.9), 'share of gas is 0.9'],
])('a shape or level that cannot be is refused with its value (%#)', (call, message) => {
  expect(call).toThrow(RangeError)
  expect(call).toThrow(message)
})

test('pressure to level and back is the same, and five percent of gas reads five percent low', () => {
  fc.assert(fc.property(real(0, 5000), real(0, 100), real(0, 0.3), (mm, cel, gas) => Math.abs(levelOfPressureMm(pressureOfLevelMbar(mm, cel, gas), cel, gas) - mm) < 1e-8))
  expect(levelOfPressureMm(pressureOfLevelMbar(1000, 20, 0.05), 20)).toBeCloseTo(950, 6)
})

test('water is heaviest at 4 degrees', () => {
  expect(waterDensityKgPerM3(4)).toBeGreaterThan(waterDensityKgPerM3(0))
  expect(waterDensityKgPerM3(4)).toBeGreaterThan(waterDensityKgPerM3(8))
})
