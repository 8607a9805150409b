import { expect, test } from 'vitest'
import { convert, convertible, unitsInto } from '../../gateway/site/convert.ts'
import { QUANTITIES } from '../../gateway/site/quantity.ts'

// NIST SP 811 (2008), appendix B.8 and B.9, as printed there: factors to six or seven figures. Fixed points: 32 degF is 0 Cel, 212 degF is 100 Cel.
test.each([
  [32, '[degF]', 'Cel', 0],
  [212, '[degF]', 'Cel', 100],
  [273.15, 'K', 'Cel', 0],
  [1, '[psi]', 'mbar', 68.94757],
  [1, "[in_i'H2O]", 'mbar', 2.490889],
  [1, 'm[H2O]', 'mbar', 98.0665],
  [1, '[gal_us]/min', 'L/min', 3.785412],
  [1, '[ft_i]', 'm', 0.3048],
  [1, '[in_i]/h', 'mm/h', 25.4],
  [1, 'm3/h', 'L/min', 16.66667],
  [2.5, 'bar', 'mbar', 2500],
  [1.2, 'mS/cm', 'uS/cm', 1200],
  [90, 'min', 'h', 1.5],
] as const)('%d %s is %s %d (NIST SP 811)', (value, from, to, expected) => {
  expect(convert(value, from, to)).toBeCloseTo(expected, 4)
})

test('a pair that is not written down is refused, also where the words look alike', () => {
  for (const [from, to] of [
    ['mg/L', '[ppm]'],
    ['[ppm]', 'mg/L'],
    ['Cel', 'mbar'],
    ['nonsense', 'mg/L'],
    ['toString', 'mg/L'],
    ['[degF]', 'constructor'],
  ] as const) {
    expect(convert(1, from, to)).toBeNull()
    expect(convertible(from, to)).toBe(false)
  }
})

test('there and back again gives the same figure, wherever both ways exist', () => {
  for (const q of Object.values(QUANTITIES)) {
    for (const from of unitsInto(q.unit)) {
      const there = convert(7.25, from, q.unit)
      if (there !== null && convertible(q.unit, from)) expect(convert(there, q.unit, from)).toBeCloseTo(7.25, 10)
    }
  }
})
