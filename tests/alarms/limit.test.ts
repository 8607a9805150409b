import fc from 'fast-check'
import { expect, test } from 'vitest'
import { addDecimal, judgeLimit, makeLimit } from '../../gateway/alarms/limit.ts'

test('ALM-24 a value equal to the limit is not in alarm, on either side', () => {
  expect(judgeLimit(8.5, makeLimit('high', 8.5, 0.1))).toBe('inside')
  expect(judgeLimit(2, makeLimit('low', 2, 0.2))).toBe('inside')
  expect(judgeLimit(8.5, makeLimit('high', 8.5, 0))).toBe('cleared')
  expect(judgeLimit(2, makeLimit('low', 2, 0))).toBe('cleared')
})

test('ALM-24 a value that has come back exactly by the deadband is cleared', () => {
  expect(judgeLimit(8.4, makeLimit('high', 8.5, 0.1))).toBe('cleared')
  expect(judgeLimit(2.2, makeLimit('low', 2, 0.2))).toBe('cleared')
})

test.each([
  [0.3, -0.1, 0.2],
  [8.5, -0.1, 8.4],
  [2, 0.2, 2.2],
  [0.05, -0.02, 0.03],
  [1e-7, 2e-7, 3e-7],
  [-2, 1, -1],
  [150, 0, 150],
  [1.005, -0.005, 1],
])('ALM-27 %d and %d make %d, as printed figures do', (a, b, sum) => {
  expect(addDecimal(a, b)).toBe(sum)
})

test('for every limit and deadband of three decimals the clear level prints as the exact decimal difference', () => {
  fc.assert(
    fc.property(fc.integer({ min: -100_000, max: 100_000 }), fc.integer({ min: 0, max: 5000 }), (l, d) => {
      expect(makeLimit('high', l / 1000, d / 1000).clearAt).toBe((l - d) / 1000)
      expect(makeLimit('low', l / 1000, d / 1000).clearAt).toBe((l + d) / 1000)
    }),
  )
})

test('exactly one of violated, inside, cleared holds for any value, and low is high seen in a mirror', () => {
  fc.assert(
    fc.property(fc.double({ noNaN: true, noDefaultInfinity: true, min: -1e6, max: 1e6 }), fc.integer({ min: -999, max: 999 }), fc.integer({ min: 0, max: 99 }), (v, l, d) => {
      expect(judgeLimit(v, makeLimit('high', l / 10, d / 10))).toBe(judgeLimit(-v, makeLimit('low', -l / 10, d / 10)))
    }),
  )
})
