import { expect, test } from 'vitest'
import { unionisedAmmoniaN, unionisedShare } from '../../gateway/process/ammonia.ts'
import { electrodeHealth } from '../../gateway/process/electrode.ts'
import { contactCt, logCredit, ozoneHalfLifeMin, ozoneLeft, ozoneMgPerM3, ratePerMin } from '../../gateway/process/ozone.ts'
import { H2S_LIMITS, sulphideGasShare } from '../../gateway/process/sulphide.ts'
import { because, seen } from './noise.ts'

test('a fresh electrode is good, a tired one wants cleaning, a spent one replacing', () => {
  const health = (neutralMv: number, acidMv: number) => seen(electrodeHealth({ ph: 7, mv: neutralMv }, { ph: 4, mv: acidMv }, 25))
  expect(health(-3, 172).state).toBe('good')
  expect(health(5, 167).state).toBe('clean')
  expect(health(15, 160).state).toBe('replace')
  // Slope in order, offset beyond 30 mV.
  expect(health(35, 210)).toMatchObject({ state: 'replace', offsetMv: 35 })
})

test('offset is read at pH 7 also when the neutral buffer is 7.01 or the other is alkaline', () => {
  const h = seen(electrodeHealth({ ph: 7.01, mv: -0.59 }, { ph: 10.01, mv: -178.06 }, 25))
  expect(h.offsetMv).toBeCloseTo(0, 1)
  expect(h.slopePct).toBeCloseTo(100, 0)
})

test('buffers that cannot tell slope from offset give no health', () => {
  expect(because(electrodeHealth({ ph: 4, mv: 170 }, { ph: 7, mv: 0 }, 25))).toContain('the offset is read at pH 7')
  expect(because(electrodeHealth({ ph: 7, mv: 0 }, { ph: 6.86, mv: 8 }, 25))).toContain('the buffers are only 0.14 pH apart')
  expect(() => electrodeHealth({ ph: 7, mv: 5000 }, { ph: 4, mv: 170 }, 25)).toThrow('electrode is 5000 mV')
})

test('at pH 6 nine tenths of the sulphide is gas-forming, at pH 9 a hundredth', () => {
  // PHREEQC analytic line, 15 and 25 degrees.
  for (const [ph, at25, at15] of [
    [5, 0.989, 0.992],
    [6, 0.897, 0.924],
    [6.5, 0.734, 0.794],
    [7, 0.466, 0.549],
    [7.5, 0.217, 0.278],
    [8, 0.08, 0.108],
    [9, 0.009, 0.012],
  ] as const) {
    expect(Math.abs(sulphideGasShare(ph, 25) - at25)).toBeLessThan(0.001)
    expect(Math.abs(sulphideGasShare(ph, 15) - at15)).toBeLessThan(0.001)
  }
})

test('the limits of hydrogen sulphide in air stand in order, each with its source', () => {
  expect(H2S_LIMITS.map((l) => l.ppm)).toEqual([1, 5, 10, 20, 100])
  expect(H2S_LIMITS.every((l) => l.source.length > 3)).toBe(true)
})

test('ammonia goes un-ionised tenfold per pH, and never all of it', () => {
  expect(unionisedShare(8, 20) / unionisedShare(7, 20)).toBeGreaterThan(9.5)
  expect(unionisedAmmoniaN(10, 14, 20)).toBeLessThanOrEqual(10)
  expect(() => unionisedShare(7, 60)).toThrow('water temperature is 60 Cel')
})

test('half of the ozone is left after a half-life, at every temperature of the table and between', () => {
  for (const cel of [15, 17.5, 20, 25, 30, 33, 35]) expect(ozoneLeft(1, ratePerMin(ozoneHalfLifeMin(cel)), ozoneHalfLifeMin(cel))).toBeCloseTo(0.5, 12)
  expect(ozoneHalfLifeMin(17.5)).toBeCloseTo(Math.sqrt(30 * 20), 10)
  expect(() => ozoneHalfLifeMin(10)).toThrow('water temperature is 10 Cel: it must lie between 15 and 35 Cel')
})

test('dose times time grows with contact and is nothing when all of it is left out', () => {
  const c = { doseMgPerL: 2, decayPerMin: 0.2, contactMin: 10, skipMin: 1, baffle: 0.3 }
  expect(contactCt({ ...c, contactMin: 20 })).toBeGreaterThan(contactCt(c))
  expect(contactCt({ ...c, skipMin: 10 })).toBe(0)
  expect(() => contactCt({ ...c, baffle: 3 })).toThrow('baffle factor is 3')
  expect(() => logCredit('virus', 1, 40)).toThrow('water temperature is 40 Cel')
})

test('a tenth of a ppm of ozone in air is two tenths of a milligram per cubic metre', () => {
  // OSHA prints 0.1 ppm as 0.2 mg/m3.
  expect(ozoneMgPerM3(0.1)).toBeCloseTo(0.2, 2)
  expect(ozoneMgPerM3(0.1, 0)).toBeGreaterThan(ozoneMgPerM3(0.1, 30))
})
