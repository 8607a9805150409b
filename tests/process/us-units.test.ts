/** A site described in gallons, inches, psi and Fahrenheit gets the same answer: what comes in is converted once, and the textbook formula in its own units agrees. */
import fc from 'fast-check'
import { expect, test } from 'vitest'
import { pressureOfLevelMbar, waterDensityKgPerM3 } from '../../gateway/process/density.ts'
import { HORSEPOWER_W, INCH_MM, loadKgPerD, POUND_KG, PSI_PA, US_GALLON_L } from '../../gateway/process/factors.ts'
import { paperPerM3 } from '../../gateway/process/filter.ts'
import { dwellH, hydraulicKw, rainLPerH } from '../../gateway/process/hydraulics.ts'
import { saturationMgPerL } from '../../gateway/process/oxygen.ts'
import { volumeOfLevelL } from '../../gateway/process/tank-level.ts'
import { convert } from '../../gateway/site/convert.ts'
import { real } from './noise.ts'

const si = (value: number, from: string, to: string): number => convert(value, from, to) ?? Number.NaN
const near = (a: number, b: number, share = 1e-9): boolean => Math.abs(a - b) <= share * Math.abs(b)

test('the factors a site file is read with and those of the arithmetic are the same', () => {
  expect(si(1, '[gal_us]', 'L')).toBeCloseTo(US_GALLON_L, 12)
  expect(si(1, '[psi]', 'mbar')).toBeCloseTo(PSI_PA / 100, 9)
  expect(si(1, '[in_i]/h', 'mm/h')).toBe(INCH_MM)
  expect(si(68, '[degF]', 'Cel')).toBeCloseTo(20, 12)
})

test('pump power: gallons a minute and psi over 1714 are horsepower', () => {
  // hp = gpm x psi / 1714 as every pump text has it; the exact divisor is 1714.29.
  fc.assert(
    fc.property(real(0.5, 50), real(50, 5000), (gpm, psi) =>
      near((hydraulicKw(si(gpm, '[gal_us]/min', 'L/min'), si(psi, '[psi]', 'bar')) * 1000) / HORSEPOWER_W, (gpm * psi) / 1714, 2e-4),
    ),
  )
})

test('tanks: inches and cubic inches over 231 are gallons, cylinder and cone', () => {
  fc.assert(
    fc.property(real(10, 150), real(0, 100), real(0, 60), (diameterIn, straightIn, coneIn) => {
      const shape = { diameterMm: diameterIn * INCH_MM, heightMm: straightIn * INCH_MM, coneMm: coneIn * INCH_MM }
      const gallons = volumeOfLevelL(shape, (straightIn + coneIn) * INCH_MM) / si(1, '[gal_us]', 'L')
      return near(gallons + 1, (Math.PI * diameterIn ** 2 * (straightIn + coneIn / 3)) / 4 / 231 + 1)
    }),
  )
})

test('dwell: gallons over gallons a minute are minutes', () => {
  fc.assert(fc.property(real(10, 5000), real(0.5, 50), (gallons, gpm) => near(60 * dwellH([si(gallons, '[gal_us]', 'L')], si(gpm, '[gal_us]/min', 'L/min')), gallons / gpm)))
})

test('loads: million gallons a day times mg/L times 8.34 are pounds a day', () => {
  // The operator's 8.34 is 8.3454 exactly.
  fc.assert(fc.property(real(0.01, 5), real(1, 500), (mgd, mgPerL) => near(loadKgPerD(si(mgd * 1e6, '[gal_us]', 'm3'), mgPerL) / POUND_KG, mgd * mgPerL * 8.34, 7e-4)))
})

test('a column of water: feet times 62.3 over 144 are psi', () => {
  // 62.3 lb/ft3 at 70 Fahrenheit, as the tables of fluid mechanics have it.
  fc.assert(
    fc.property(real(0.5, 20), (feet) => near(pressureOfLevelMbar(si(feet, '[ft_i]', 'm') * 1000, si(70, '[degF]', 'Cel')) / si(1, '[psi]', 'mbar'), (feet * 62.3) / 144, 5e-4)),
  )
  expect(waterDensityKgPerM3(si(70, '[degF]', 'Cel')) * (0.3048 ** 3 / POUND_KG)).toBeCloseTo(62.3, 1)
})

test('oxygen: Fahrenheit and psi of air give what Celsius and atmospheres give', () => {
  fc.assert(
    fc.property(real(33, 103), real(8, 15.5), (fahrenheit, psi) => {
      const cel = si(fahrenheit, '[degF]', 'Cel')
      return near(saturationMgPerL(cel, 0, si(psi, '[psi]', 'mbar') / 1013.25), saturationMgPerL((fahrenheit - 32) / 1.8, 0, psi / 14.695_948_775_5), 1e-9)
    }),
  )
})

test('rain: an inch an hour on a square foot is 0.623 gallons an hour; paper: feet per thousand gallons are feet per m3 times 3.785', () => {
  fc.assert(
    fc.property(real(0.1, 5), real(10, 5000), (inPerH, ft2) =>
      near(rainLPerH(si(inPerH, '[in_i]/h', 'mm/h'), ft2 * 0.3048 ** 2) / si(1, '[gal_us]', 'L'), (inPerH * ft2 * 144) / 231),
    ),
  )
  fc.assert(
    fc.property(real(0.1, 100), real(100, 10_000), (feet, gallons) => near(paperPerM3(feet, si(gallons, '[gal_us]', 'm3')), ((1000 * feet) / gallons / 3.785411784) as number)),
  )
})
