import fc from 'fast-check'
import { expect, test } from 'vitest'
import { ASM1_10_CEL, ASM1_20_CEL, asm1At, BSM1 } from '../../simulator/process/asm1-parameters.ts'
import { AT, imbalance, oxygenUptake, petersen, PROCESSES, rates, STATES, suspendedSolids, tankDerivative } from '../../simulator/process/asm1.ts'
import { integrate } from '../../simulator/process/integrate.ts'
import { real } from './noise.ts'

test.each([
  ['BSM1', BSM1],
  ['20 degrees', ASM1_20_CEL],
  ['10 degrees', ASM1_10_CEL],
  ['27 degrees', asm1At(27)],
])('every process keeps COD, nitrogen and charge (%s)', (_name, p) => {
  const books = imbalance(petersen(p), p)
  expect(books).toHaveLength(3 * PROCESSES.length)
  expect(books.filter((b) => Math.abs(b.off) > 1e-12)).toEqual([])
})

test('the typical figures come out at the two temperatures they are printed for', () => {
  expect(asm1At(20)).toEqual(ASM1_20_CEL)
  for (const [name, value] of Object.entries(ASM1_10_CEL)) expect(asm1At(10)[name as keyof typeof ASM1_10_CEL], name).toBeCloseTo(value, 10)
  expect(() => asm1At(55)).toThrow('water temperature is 55 Cel: the biology is described between 2 and 40 Cel')
})

/** A treatment unit on its own, 2.3 m3, holding 900 mg COD/L of biomass. */
const fed = (food: number, oxygen = 8): Float64Array => {
  const y = new Float64Array(STATES.length)
  y[AT.SS] = food
  y[AT.XBH] = 900
  y[AT.SO] = oxygen
  y[AT.SNH] = 5
  y[AT.SALK] = 3
  return y
}

test('uptake of a fed tank is many times that of an empty one, and none of it is left without oxygen', () => {
  const p = asm1At(20)
  expect(oxygenUptake(fed(50), p)).toBeGreaterThan(10 * oxygenUptake(fed(0.1), p))
  expect(oxygenUptake(fed(50, 0), p)).toBeLessThan(1e-6)
})

test('a closed tank under air loses no more nitrogen than goes off as gas', () => {
  const p = asm1At(20)
  const table = petersen(p)
  const water = tankDerivative({ volumeM3: 2.3, flowM3PerD: 0, influent: new Float64Array(13), kLaPerD: 240, saturation: 9.09 }, p)
  const start = new Float64Array(14)
  start.set(fed(300))
  start[AT.XBA] = 20
  const nitrogen = (y: Float64Array): number => {
    const n = (name: (typeof STATES)[number]): number => y[AT[name]] ?? 0
    return n('SNO') + n('SNH') + n('SND') + n('XND') + p.iXB * (n('XBH') + n('XBA')) + p.iXP * n('XP') + (y[13] ?? 0)
  }
  const { y } = integrate(
    (t, state, out) => {
      water(t, state, out)
      out[13] = rates(state, p).reduce((sum, r, j) => sum + r * (table[j]?.N2 ?? 0), 0)
    },
    start,
    0,
    2,
  )
  expect(Math.abs(nitrogen(y) / nitrogen(start) - 1)).toBeLessThan(1e-6)
  expect(y[13]).toBeGreaterThan(0.1)
  expect(y.every((v) => v > -1e-6)).toBe(true)
})

test('growth held back and cells killed change the course, which the model alone cannot', () => {
  const p = asm1At(20)
  const tank = {
    volumeM3: 2.3,
    flowM3PerD: 9,
    influent: Float64Array.from(STATES, (s) => (s === 'SS' ? 200 : s === 'SNH' ? 5 : s === 'SALK' ? 3 : 0)),
    kLaPerD: 240,
    saturation: 9.09,
  }
  const biomass = (c: Parameters<typeof tankDerivative>[3]): number => integrate(tankDerivative(tank, p, petersen(p), c), fed(5), 0, 0.5).y[AT.XBH] ?? 0
  const plain = biomass({})
  expect(biomass({ killHPerD: 12 })).toBeLessThan(0.05 * plain)
  expect(biomass({ growth: 0 })).toBeLessThan(plain)
  const killed = rates(
    Float64Array.from(STATES, () => 10),
    p,
    { killAPerD: 2 },
  )
  expect(killed[4]).toBeCloseTo((p.bA + 2) * 10, 10)
  const paused = rates(fed(50), p, { growth: 0 })
  expect(paused.slice(0, 3)).toEqual([0, 0, 0])
  expect(paused[3]).toBeGreaterThan(0)
})

test('rates are finite and not below zero for any mixture, empty and slightly negative ones included', () => {
  fc.assert(
    fc.property(fc.array(fc.oneof(fc.constantFrom(-1e-9, 0), real(0, 5000)), { minLength: 13, maxLength: 13 }), (y) => rates(y, BSM1).every((r) => Number.isFinite(r) && r >= 0)),
  )
  expect(rates(new Float64Array(13), BSM1).every(Number.isFinite)).toBe(true)
})

test('suspended solids are three quarters of the particulate COD', () => {
  // The influent of the reference tank: 211.2675 g/m3.
  expect(suspendedSolids([30, 69.5, 51.2, 202.32, 28.17, 0, 0, 0, 0, 31.56, 6.95, 10.59, 7])).toBeCloseTo(211.2675, 10)
})
