import fc from 'fast-check'
import { expect, test } from 'vitest'
import { type AcidDose, alkalinityFromFall, alkalinityFromIdlePh, bufferStrength, doseSteps, fallOfDose, type PhPoint } from '../../gateway/process/buffer.ts'
import { phOpen } from '../../gateway/process/carbonate.ts'
import { because, gaussian, real, seen } from './noise.ts'

const MIN = 60_000

test('one dose of 5 mg/L moves pH by 0.12 at alkalinity 85, 0.24 at 40 and 0.43 at 20', () => {
  // Common practice, no source, from pH 7.0 at 20 degrees.
  for (const [alkalinity, fall] of [
    [85, 0.12],
    [40, 0.24],
    [20, 0.43],
  ] as const)
    expect(fallOfDose(7, alkalinity, 5, 20)).toBeCloseTo(fall, 2)
})

test('alkalinity from the fall of pH is the inverse of the fall', () => {
  fc.assert(
    fc.property(real(6, 8.5), real(15, 400), real(0.5, 8), real(2, 40), (ph, alkalinity, dose, cel) => {
      const fall = fallOfDose(ph, alkalinity, dose, cel)
      const found = alkalinityFromFall(ph, fall, dose, cel)
      if (fall < 0.001) return because(found).includes('no fall that can be read')
      return typeof found === 'number' && Math.abs(found / alkalinity - 1) < 1e-6
    }),
  )
})

test('a fall that no water explains is said, and a dose of nothing is a mistake', () => {
  expect(because(alkalinityFromFall(7, 2.9, 0.001, 20))).toContain('no alkalinity from 1 to 2000 mg/L lets 0.0 mg/L of acid move pH by 2.90')
  expect(because(alkalinityFromFall(7, -0.1, 5, 20))).toContain('pH fell by -0.100')
  expect(because(alkalinityFromFall(10.2, 0.1, 5, 20))).toContain('pH before the dose was 10.20')
  expect(() => alkalinityFromFall(7, 0.1, 0, 20)).toThrow('dose is 0 mg/L')
})

/** A day of dosing: a reading a minute, a dose every half hour that takes pH down by `fall`, and air that takes it up again. */
function day(fall: number, noise = 0, n = 12): { points: PhPoint[]; doses: AcidDose[] } {
  const g = gaussian(5)
  const points: PhPoint[] = []
  const doses: AcidDose[] = []
  for (let m = 0; m < n * 30; m += 1) {
    const since = m % 30
    if (since === 10) doses.push({ fromMs: m * MIN, toMs: m * MIN + 20_000, amount: 20 })
    // Mixed 5 min after the dose, then slowly up again.
    const low = since < 10 ? 0 : since < 15 ? (fall * (since - 10)) / 5 : since < 21 ? fall : (fall * (30 - since)) / 9
    points.push({ atMs: m * MIN, ph: Math.round((7 - low + g(noise)) * 100) / 100 })
  }
  return { points, doses }
}

test('the strength of the buffer is read from the sawtooth, and halves when the alkalinity does', () => {
  const strong = day(0.12)
  const weak = day(0.24)
  const s = seen(bufferStrength(doseSteps(strong.points, strong.doses)))
  const w = seen(bufferStrength(doseSteps(weak.points, weak.doses)))
  expect(s.doses).toBe(12)
  expect(s.phBefore).toBeCloseTo(7, 2)
  expect(s.amountPerPh.best).toBeCloseTo(20 / 0.12, 0)
  expect(w.amountPerPh.best / s.amountPerPh.best).toBeCloseTo(0.5, 2)
  expect(w.amountPerPh.high).toBeLessThan(s.amountPerPh.low)
})

test('noise of a hundredth widens the interval and the truth stays in it', () => {
  const d = day(0.12, 0.01)
  const b = seen(bufferStrength(doseSteps(d.points, d.doses)))
  expect(b.amountPerPh.low).toBeLessThan(20 / 0.12)
  expect(b.amountPerPh.high).toBeGreaterThan(20 / 0.12)
})

test('doses on top of each other, and doses nobody measured around, are left out', () => {
  const d = day(0.12, 0, 3)
  const [first, second, third] = d.doses
  if (!first || !second || !third) throw new Error('three doses')
  const crowded = [first, { ...first, fromMs: first.fromMs + 3 * MIN, toMs: first.toMs + 3 * MIN }, third]
  expect(doseSteps(d.points, crowded).map((x) => x.atMs)).toEqual([first.fromMs + 3 * MIN, third.fromMs])
  const blind = d.points.filter((p) => p.atMs < second.fromMs - 15 * MIN || p.atMs > second.toMs + 15 * MIN)
  expect(doseSteps(blind, d.doses)).toHaveLength(2)
  const noBefore = d.points.filter((p) => p.atMs < second.fromMs - 15 * MIN || p.atMs > second.fromMs)
  expect(doseSteps(noBefore, d.doses)).toHaveLength(2)
  const long = { ...second, toMs: second.fromMs + 4 * MIN }
  const onlyDuring = d.points.filter((p) => p.atMs <= long.toMs || p.atMs > long.toMs + 15 * MIN)
  expect(doseSteps(onlyDuring, [first, long, third])).toHaveLength(2)
  expect(() => doseSteps(d.points, [{ fromMs: 5, toMs: 4, amount: 1 }])).toThrow('a dose ends at 4, before it begins at 5')
})

test('a strong buffer, a dead probe and too few doses are told apart from a figure', () => {
  const flat = day(0)
  expect(because(bufferStrength(doseSteps(flat.points, flat.doses)))).toContain('12 doses together moved pH by 0.00')
  const few = day(0.2, 0, 3)
  expect(because(bufferStrength(doseSteps(few.points, few.doses)))).toBe('only 3 clean doses were seen and 5 are needed')
  const wild = [6.4, 7.3, 6.5, 7.2, 6.6, 7.3].map((after, i) => ({ atMs: i, before: 7, after, amount: 20 }))
  expect(because(bufferStrength(wild))).toContain('the doses disagree too much')
})

test('pH at rest bounds alkalinity within a factor of two, and says nothing where carbonate does not rule', () => {
  const bound = seen(alkalinityFromIdlePh(phOpen(110, 20), 20))
  expect(bound.low).toBeCloseTo(110, 4)
  expect(bound.high / bound.low).toBeGreaterThan(1.9)
  expect(bound.high / bound.low).toBeLessThan(2.05)
  expect(because(alkalinityFromIdlePh(5.2, 20))).toBe('a pH at rest of 5.20 is not set by carbonate and air')
})
