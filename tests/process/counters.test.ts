import fc from 'fast-check'
import { expect, test } from 'vitest'
import { counted, type CounterPoint, type CounterSettings, runTime } from '../../gateway/process/counters.ts'
import { real } from './noise.ts'

const H = 3_600_000
const hours: CounterSettings = { mostPerH: 1, rolloverAt: 100_000, slack: 0.2, replacedMs: [] }
const points = (...p: readonly (readonly [h: number, value: number])[]): CounterPoint[] => p.map(([h, value]) => ({ atMs: h * H, value }))

test('a counter that only rises counts its differences, with missed reports in between', () => {
  expect(counted(points([0, 120], [1, 120.5], [9, 127], [9, 127], [10, 128]), hours)).toEqual({ total: 8, atLeast: false, rollovers: 0, resets: 0, replacements: 0, steps: [] })
  expect(counted([], hours).total).toBe(0)
  expect(counted(points([0, 5]), hours).total).toBe(0)
})

test('over the top is a rollover: nothing is lost', () => {
  const c = counted(points([0, 99_998], [3, 99_999.5], [6, 2]), hours)
  expect(c.total).toBeCloseTo(4, 9)
  expect(c).toMatchObject({ rollovers: 1, resets: 0, atLeast: false })
})

test('a fall far from the top is a reset: what was counted since is certain, the rest is "at least"', () => {
  expect(counted(points([0, 4000], [2, 4001.5], [5, 1], [6, 2]), hours)).toMatchObject({ total: 3.5, resets: 1, rollovers: 0, atLeast: true })
  // The same fall on a counter that never starts again by itself.
  expect(counted(points([0, 99_998], [3, 99_999.5], [6, 2]), { ...hours, rolloverAt: null })).toMatchObject({ total: 3.5, resets: 1, rollovers: 0, atLeast: true })
})

test('a reset to a figure somebody typed adds nothing of that figure', () => {
  expect(counted(points([0, 4000], [5, 1200], [6, 1201]), hours)).toMatchObject({ total: 1, resets: 1, atLeast: true })
})

test('a rise faster than any machine is a step: told, and left out', () => {
  expect(counted(points([0, 100], [1, 101], [2, 900], [3, 901]), hours)).toMatchObject({ total: 2, steps: [{ atMs: 2 * H, by: 799 }], atLeast: false })
})

test('a new controller that starts at zero is no fault when the log names it', () => {
  const c = counted(points([0, 4000], [2, 4002], [5, 0], [7, 2]), { ...hours, replacedMs: [4 * H] })
  expect(c).toEqual({ total: 4, atLeast: true, rollovers: 0, resets: 0, replacements: 1, steps: [] })
})

test('jitter within the slack is neither reset nor loss', () => {
  expect(counted(points([0, 10], [1, 9.9], [2, 11]), hours)).toMatchObject({ resets: 0, atLeast: false })
  expect(counted(points([0, 10], [1, 9.9], [2, 11]), hours).total).toBeCloseTo(1, 9)
})

test('however often it rolls over and however reports are missed, the total is what the machine did', () => {
  fc.assert(
    fc.property(fc.array(fc.tuple(fc.integer({ min: 1, max: 20 }), real(0, 1)), { minLength: 2, maxLength: 60 }), fc.nat({ max: 65_535 }), (pieces, start) => {
      let atH = 0
      let done = 0
      const seenPoints: CounterPoint[] = [{ atMs: 0, value: start }]
      for (const [lasted, share] of pieces) {
        atH += lasted
        done += Math.floor(lasted * 600 * share)
        seenPoints.push({ atMs: atH * H, value: (start + done) % 65_536 })
      }
      const c = counted(seenPoints, { mostPerH: 600, rolloverAt: 65_536, slack: 1, replacedMs: [] })
      return c.total === done && !c.atLeast && c.steps.length === 0
    }),
  )
})

test('backward times, impossible values and a rate of nothing are the caller’s mistakes', () => {
  expect(() => counted(points([2, 1], [1, 2]), hours)).toThrow('counter readings run backwards')
  expect(() => counted(points([0, 100_000]), hours)).toThrow('counter is 100000: it starts again at 100000')
  expect(() => counted(points([0, -1]), hours)).toThrow('counter is -1')
  expect(() => counted([], { ...hours, mostPerH: 0 })).toThrow('fastest rate is 0 per h')
})

test('run time adds what is known and tells what is not', () => {
  const s = [
    { atMs: 0, on: false },
    { atMs: 1 * H, on: true },
    { atMs: 2 * H, on: null },
    { atMs: 3 * H, on: true },
    { atMs: 4 * H, on: false },
    { atMs: 4.5 * H, on: true },
  ]
  expect(runTime(s, 0, 6 * H, 24 * H)).toEqual({ onMs: 3.5 * H, unknownMs: H, starts: 2 })
  // Held for an hour at most, the last report says nothing about the last half hour.
  expect(runTime(s, 0, 6 * H, H)).toEqual({ onMs: 3 * H, unknownMs: 1.5 * H, starts: 2 })
  expect(runTime(s, 1.5 * H, 1.75 * H, 24 * H)).toEqual({ onMs: 0.25 * H, unknownMs: 0, starts: 0 })
  expect(runTime([], 0, H, H)).toEqual({ onMs: 0, unknownMs: H, starts: 0 })
})
