import fc from 'fast-check'
import { expect, test } from 'vitest'
import { ATM_PA, MM_HG_PER_ATM } from '../../gateway/process/factors.ts'
import { percentOfSaturation, salinityFactor, salinityFromConductivity, saturationMgPerL, stationPressureAtm } from '../../gateway/process/oxygen.ts'
import { within } from '../../gateway/process/range.ts'
import { real } from './noise.ts'
import { hasData, readRows, referenceValue } from './open-data.ts'

test('saturation falls with heat and with salt, and rises with pressure, over the whole valid range', () => {
  const t = real(0, 39.9)
  const s = real(0, 39.9)
  const p = real(0.5, 1.09)
  fc.assert(
    fc.property(t, s, p, (cel, salt, atm) => {
      const here = saturationMgPerL(cel, salt, atm)
      return (
        here > 1 && here < 20 && saturationMgPerL(cel + 0.1, salt, atm) < here && saturationMgPerL(cel, salt + 0.1, atm) < here && saturationMgPerL(cel, salt, atm + 0.01) > here
      )
    }),
  )
})

test('in wash water of 2 g/kg the chord to sea water would correct a tenth too little', () => {
  // EN 25814 salt column is a chord: the slope at low salt is 0.0533 mg/L per g/kg at 20 degrees, the EN 25814 column 0.0475.
  const slope = (saturationMgPerL(20) - saturationMgPerL(20, 2)) / 2
  expect(0.0475 / slope).toBeCloseTo(0.89, 2)
  expect(salinityFactor(20, salinityFromConductivity(3500))).toBeGreaterThan(0.98)
})

test('a site at 1609 m has the air pressure of the standard atmosphere within a thousandth', () => {
  // Standard atmosphere: 0.8235 by this form, 0.8234 by the ISA formula.
  expect(stationPressureAtm(1609)).toBeCloseTo(0.8235, 4)
  expect(stationPressureAtm(0)).toBe(1)
})

test('100 % is saturation, and a probe in air-rich water may read above it', () => {
  expect(percentOfSaturation(saturationMgPerL(20), saturationMgPerL(20))).toBeCloseTo(100, 10)
  expect(percentOfSaturation(9.6, saturationMgPerL(20))).toBeCloseTo(105.6, 1)
})

test.each([
  [() => saturationMgPerL(41), 'water temperature is 41 Cel: it must lie between 0 and 40 Cel'],
  [() => saturationMgPerL(Number.NaN), 'water temperature is NaN Cel'],
  [() => saturationMgPerL(20, -1), 'salinity is -1 g/kg: it must lie between 0 and 40 g/kg'],
  [() => saturationMgPerL(20, 0, 760), 'air pressure is 760 atm: it must lie between 0.5 and 1.1 atm'],
  [() => stationPressureAtm(9000), 'altitude is 9000 m: it must lie between -500 and 5500 m'],
  [() => percentOfSaturation(-0.1, 9), 'oxygen is -0.1 mg/L'],
  [() => within('level', Number.POSITIVE_INFINITY, 0, 100, '%'), 'level is Infinity %: it must lie between 0 and 100 %'],
])('an argument outside its range is refused with its value and the range (%#)', (call, message) => {
  expect(call).toThrow(RangeError)
  expect(call).toThrow(message)
})

const spring = 'stream-do/spring_creek_2014_raw.csv'
test.skipIf(!hasData(spring))(`saturation of a mountain stream agrees with LakeMetabolizer within 0.03 % (needs shared data: ${spring})`, () => {
  const rows = readRows(spring)
  const expected = referenceValue('spring_creek.do_sat_595mmHg') as { first5: number[]; mean: number; n: number }
  const ours = rows.map((r) => saturationMgPerL(r.temp ?? Number.NaN, 0, 595 / MM_HG_PER_ATM))
  expect(ours).toHaveLength(expected.n)
  expected.first5.forEach((e, i) => expect(Math.abs((ours[i] ?? 0) / e - 1)).toBeLessThan(3e-4))
  expect(Math.abs(ours.reduce((a, b) => a + b) / ours.length / expected.mean - 1)).toBeLessThan(3e-4)
})

const brandywine = 'stream-do/brandywine_2012.csv'
test.skipIf(!hasData(brandywine))(`saturation stored with a season of stream data implies a believable air pressure at every row (needs shared data: ${brandywine})`, () => {
  // The data set's own saturation over ours at 1 atm is a pressure factor: 741-757 mmHg between its 1st and 99th percentile by an independent inversion.
  const mmHg = readRows(brandywine)
    .map((r) => ((r.do_sat_mgl ?? Number.NaN) / saturationMgPerL(r.temp_c ?? Number.NaN)) * MM_HG_PER_ATM)
    .sort((a, b) => a - b)
  expect(mmHg[Math.floor(mmHg.length * 0.01)]).toBeCloseTo(741, -1)
  expect(mmHg[Math.floor(mmHg.length * 0.99)]).toBeCloseTo(757, -1)
})

test('an atmosphere is 101325 Pa and 760 mmHg', () => {
  expect(ATM_PA / MM_HG_PER_ATM).toBeCloseTo(133.322, 3)
})
