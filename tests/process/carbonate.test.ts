import fc from 'fast-check'
import { expect, test } from 'vitest'
import { alkalinityMgPerL, bufferMgPerLPerPh, carbonateConstants, carbonateMmolPerL, openAlkalinityMgPerL, phClosed, phOpen } from '../../gateway/process/carbonate.ts'
import { afterDose, alkalinityAfter, alkalinityPerMg, doseForPh, equivalentsPerL, PRODUCTS, type ProductName, tankDoseKg } from '../../gateway/process/dose.ts'
import { real } from './noise.ts'

const water = fc.record({
  ph: real(6, 9),
  alkalinityMgPerL: real(20, 400),
  temperatureCel: real(2, 40),
})

test('pH to alkalinity and back, closed and open to air, are inverses', () => {
  fc.assert(
    fc.property(real(4.6, 10.5), real(0.1, 10), real(0, 50), (ph, carbonate, cel) => {
      const closed = phClosed(alkalinityMgPerL(ph, carbonate, cel), carbonate, cel)
      const open = phOpen(openAlkalinityMgPerL(ph, cel), cel)
      return Math.abs(closed - ph) < 1e-8 && Math.abs(open - ph) < 1e-8
    }),
  )
})

test('carbonate found from pH and alkalinity gives the same alkalinity again', () => {
  fc.assert(
    fc.property(water, (w) => Math.abs(alkalinityMgPerL(w.ph, carbonateMmolPerL(w.ph, w.alkalinityMgPerL, w.temperatureCel), w.temperatureCel) - w.alkalinityMgPerL) < 1e-9),
  )
})

test('the dose that carries a water to a pH carries it there, for every acid and base', () => {
  const products = Object.keys(PRODUCTS).filter((p) => p !== 'bicarbonate') as ProductName[]
  fc.assert(
    fc.property(water, fc.constantFrom(...products), real(0.05, 1), (w, product, shift) => {
      const target = w.ph + (PRODUCTS[product].equivalents > 0 ? shift : -shift)
      const reached = afterDose(w, { [product]: doseForPh(w, product, target) })
      return Math.abs(reached.ph - target) < 1e-6
    }),
  )
})

test('doses commute: alum and acid leave the same water in either order', () => {
  fc.assert(
    fc.property(water, real(0, 20), real(0, 5), (w, alum14, sulphuricAcid) => {
      const once = afterDose(w, { alum14, sulphuricAcid })
      if (once.ph < 4.6) return true
      const twice = afterDose(afterDose(w, { sulphuricAcid }), { alum14 })
      return Math.abs(once.ph - twice.ph) < 1e-7
    }),
  )
})

test.each([
  [110, 8.5],
  [200, 8.75],
])('water of alkalinity %i mg/L aerated to rest sits at pH %f, no alarm', (alkalinity, ph) => {
  // Common practice, no source.
  expect(phOpen(alkalinity, 20)).toBeCloseTo(ph, 2)
})

test('after the dose the pH falls to the closed figure and then climbs as air strips carbon dioxide', () => {
  // Plummer and Busenberg 1982 constants: 30 mg/L of alum in pH 7.5, alkalinity 100 at 20 degrees: 6.96, then 8.39.
  const w = afterDose({ ph: 7.5, alkalinityMgPerL: 100, temperatureCel: 20 }, { alum14: 30 })
  expect(w.ph).toBeCloseTo(6.96, 2)
  expect(w.alkalinityMgPerL).toBeCloseTo(84.8, 1)
  expect(phOpen(w.alkalinityMgPerL, 20)).toBeCloseTo(8.39, 2)
})

test('the alkalinity of a treatment unit is 192 g of sulphuric acid away from nothing', () => {
  // Common practice, no source: alkalinity 85 mg/L in 2.3 m3.
  expect(1000 * tankDoseKg(85, 2300, 'sulphuricAcid')).toBeCloseTo(192, 0)
  expect(afterDose({ ph: 7.4, alkalinityMgPerL: 85, temperatureCel: 20 }, { sulphuricAcid: 192 / 2.3 }).ph).toBeLessThan(4.6)
})

test('a water buffers most at its first pK and least where nothing is half-dissociated', () => {
  const { pK1 } = carbonateConstants(20)
  expect(bufferMgPerLPerPh(pK1, 2, 20)).toBeGreaterThan(3 * bufferMgPerLPerPh(8.4, 2, 20))
  // ln(10)/4 of the carbonate at the pK: the textbook maximum.
  expect(equivalentsPerL(bufferMgPerLPerPh(pK1, 2, 20)) * 1000).toBeCloseTo((2 * Math.LN10) / 4, 2)
})

test('alkalinity keeps its books: a base undoes an acid of the same equivalents', () => {
  const acid = 10
  const soda = (acid * alkalinityPerMg('sulphuricAcid')) / -alkalinityPerMg('soda')
  expect(alkalinityAfter(80, { sulphuricAcid: acid, soda })).toBeCloseTo(80, 10)
})

test.each([
  [() => carbonateMmolPerL(3, 50, 20), 'pH is 3: it must lie between 4.5 and 11'],
  [() => carbonateMmolPerL(10.9, 1, 20), 'alkalinity 1 mg/L cannot be at pH 10.9'],
  [() => carbonateConstants(60), 'water temperature is 60 Cel'],
  [() => phClosed(5000, 2, 20), 'no pH from 2 to 12.5 has an alkalinity of 5000 mg/L'],
  [() => phOpen(100, 20, 2), 'carbon dioxide is 2 atm'],
  [() => afterDose({ ph: 7, alkalinityMgPerL: 50, temperatureCel: 20 }, { alum14: -3 }), 'dose of alum, 14 crystal waters is -3 mg/L'],
  [() => doseForPh({ ph: 7, alkalinityMgPerL: 50, temperatureCel: 20 }, 'sulphuricAcid', 8), 'sulphuric acid cannot carry pH from 7 to 8: it moves it down'],
  [() => doseForPh({ ph: 7, alkalinityMgPerL: 50, temperatureCel: 20 }, 'bicarbonate', 11), 'sodium bicarbonate does not reach pH 11 from 7 within 5000 mg/L'],
])('what no water can be is refused with the value (%#)', (call, message) => {
  expect(call).toThrow(RangeError)
  expect(call).toThrow(message)
})
