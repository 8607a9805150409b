/** The simulator's own chemistry against figures that others printed. */
import { expect, test } from 'vitest'
import { carbonAt, carbonInAir, carbonate, hydrogen, type Carbonate } from '../../simulator/process/chemistry.ts'
import { killPerH, pHKill } from '../../simulator/process/inactivation.ts'
import { ozoneDecayPerH, redox } from '../../simulator/process/ozone.ts'
import { airPressure, alpha, oxygenStep, saturation } from '../../simulator/process/oxygen.ts'
import { vapourHpa } from '../../simulator/process/weather.ts'

const at = (c: number): Carbonate => {
  const k = { k1: 0, k2: 0, kh: 0, kw: 0 }
  carbonate(k, c)
  return k
}
const alkOf = (mgPerL: number): number => mgPerL / 1000 / 50.0435
const ph = (h: number): number => -Math.log10(h)

// 3-decimal values of the classic table, in a public copy (8-degree steps of a teaching copy).
test.each([
  [0, 14.621],
  [8, 11.843],
  [16, 9.87],
  [24, 8.418],
  [32, 7.305],
  [40, 6.413],
])('oxygen saturation of fresh water at %d C is the printed %d mg/L', (c, printed) => {
  expect(Math.abs(saturation(c, 0, 1) - printed)).toBeLessThan(0.0015)
})

// Table of EN 25814.
test.each([
  [17, 9.66],
  [20, 9.09],
  [25, 8.26],
  [30, 7.56],
])('oxygen saturation at %d C is within 0.01 of the %d mg/L of EN 25814', (c, printed) => {
  expect(Math.abs(saturation(c, 0, 1) - printed)).toBeLessThan(0.01)
})

test('thin air and salt lower saturation as in the worked line 20 C, 0.700 atm: 6.30 mg/L (Standard Methods, from memory)', () => {
  expect(Math.abs(saturation(20, 0, 0.7) - 6.3)).toBeLessThan(0.005)
  expect(Math.abs(saturation(20, 1, 1) - 9.0389)).toBeLessThan(0.0005)
  expect(Math.abs(airPressure(1609) - 0.8235)).toBeLessThan(0.0005)
})

// Constants at 25 C from the USGS PHREEQC database (phreeqc.dat).
test('carbonate constants at 25 C are those of PHREEQC', () => {
  const k = at(25)
  expect(Math.abs(ph(k.k1) - 6.352)).toBeLessThan(0.001)
  expect(Math.abs(ph(k.k2) - 10.329)).toBeLessThan(0.001)
  expect(Math.abs(ph(k.kh) - 1.468)).toBeLessThan(0.001)
  expect(Math.abs(ph(k.kw) - 14)).toBeLessThan(0.01)
})

// Dose checks: unit tests of tidywater 0.8.2, spot-checked against the EPA treatment plant model.
test.each([
  [7.5, 100, 30, 0, 6.9, 85],
  [6.7, 20, 30, 0, 5.7, 5],
  [7.5, 100, 50, 20, 6.4, 55],
  [8.0, 20, 50, 0, 4.0, -5],
])('water of pH %d and alkalinity %d with %d mg/L alum and %d mg/L sulfuric acid ends at pH %d', (ph0, alk0, alum, acid, phEnd, alkEnd) => {
  const k = at(20)
  const ct = carbonAt(ph0, alkOf(alk0), k)
  const alk = alk0 - 0.5052 * alum - 1.0205 * acid
  expect(Math.abs(alk - alkEnd)).toBeLessThan(1)
  expect(Math.abs(ph(hydrogen(ct, alkOf(alk), k, 1e-7)) - phEnd)).toBeLessThan(0.1)
})

test('aerated to the end, water of alkalinity 110 stands at pH 8.50 and of 200 at 8.75 (exact arithmetic on the same constants)', () => {
  const k = at(20)
  for (const [alk, wanted] of [
    [110, 8.5],
    [200, 8.75],
  ] as const)
    expect(Math.abs(ph(hydrogen(carbonInAir(alkOf(alk), k, 1), alkOf(alk), k, 1e-8)) - wanted)).toBeLessThan(0.02)
})

test('the same dose from pH 7.0 drops pH by 0.12 at alkalinity 85, 0.24 at 40 and 0.43 at 20 (common practice, no source)', () => {
  const k = at(20)
  const drop = (alk: number): number => 7 - ph(hydrogen(carbonAt(7, alkOf(alk), k), alkOf(alk - 4.95), k, 1e-7))
  expect(drop(85)).toBeCloseTo(0.12, 1)
  expect(drop(40)).toBeCloseTo(0.24, 1)
  expect(Math.abs(drop(20) - 0.43)).toBeLessThan(0.05)
})

test('hydrogen is found from any first guess, in strong acid and in strong alkali', () => {
  const k = at(15)
  for (const alk of [-500, -5, 0, 5, 100, 1000]) {
    const from = [1e-1, 1e-4, 1e-7, 1e-10, 1e-13].map((g) => ph(hydrogen(0.002, alkOf(alk), k, g)))
    for (const p of from) expect(Math.abs(p - (from[0] ?? 0))).toBeLessThan(1e-3)
  }
})

test('a step of oxygen follows the closed form when nothing breathes: KLa 6, C* 9.09, C 2.0, 0.25 h (analytic solution)', () => {
  const out = { next: 0, share: 0 }
  let c = 2
  for (let i = 0; i < 90; i++) {
    oxygenStep(out, c, 6, 9.09, 0, 10 / 3600)
    c = out.next
  }
  expect(Math.abs(c - (9.09 - 7.09 * Math.exp(-1.5)))).toBeLessThan(0.02)
})

test('a step of oxygen never goes below zero, however hungry the tank', () => {
  const out = { next: 0, share: 0 }
  for (const wanted of [10, 100, 1e4, 1e6]) {
    oxygenStep(out, 0.3, 0.1, 9, wanted, 10 / 3600)
    expect(out.next).toBeGreaterThan(0)
    expect(out.share).toBeLessThan(1)
  }
})

test('alpha runs from 1 in clean water to the 0.33 to 0.54 of surfactant-laden first stages (Schwarz et al. 2021)', () => {
  expect(alpha(0)).toBe(1)
  expect(alpha(60)).toBeGreaterThan(0.33)
  expect(alpha(60)).toBeLessThan(0.54)
})

test('ozone halves in 20 min at 20 C and in about 30, 15 and 12 at 15, 25 and 30 C (ozone data sheet in public circulation)', () => {
  for (const [c, min] of [
    [15, 30],
    [20, 20],
    [25, 15],
    [30, 12],
  ] as const)
    expect(Math.abs((Math.LN2 / ozoneDecayPerH(c)) * 60 - min) / min).toBeLessThan(0.12)
})

test('redox falls with oxygen, falls further with sulfide, and stands at 600 to 750 mV over a clear ozone residual (common practice, no source)', () => {
  expect(redox(8, 0, 0, 7.5) - redox(0, 0, 0, 7.5)).toBeGreaterThan(120)
  expect(redox(0, 2, 0, 7.5)).toBeLessThan(-50)
  expect(redox(8, 0, 0.3, 7.5)).toBeGreaterThan(600)
  expect(redox(8, 0, 0.3, 7.5)).toBeLessThan(750)
})

test('rates of inactivation are the table we set (ours, no source)', () => {
  for (const [p, k] of [
    [5.5, 0.02],
    [5, 0.1],
    [4.5, 0.5],
    [4, 1.5],
    [10, 0.05],
    [11, 0.5],
  ] as const)
    expect(pHKill(p)).toBeCloseTo(k, 6)
  expect(pHKill(7)).toBe(0)
  expect(pHKill(2)).toBe(1.5)
  expect(killPerH(7, 2, 0, 20, 0, false)).toBeCloseTo(1, 6)
  expect(killPerH(7, 0, 0, 41, 0, false)).toBeCloseTo(0.2, 6)
  expect(killPerH(7, 0, 0, 20, 10, false)).toBeCloseTo(0.0015, 6)
  expect(killPerH(7, 0, 0, 30, 80, false)).toBeCloseTo(0.02, 6)
  expect(killPerH(7, 2, 0, 20, 0, true)).toBeCloseTo(0.5, 6)
})

test('air holds 23.4 hPa of vapour at 20 C and 12.3 at 10 C (steam tables, from memory)', () => {
  expect(Math.abs(vapourHpa(20) - 23.4)).toBeLessThan(0.1)
  expect(Math.abs(vapourHpa(10) - 12.3)).toBeLessThan(0.1)
})
