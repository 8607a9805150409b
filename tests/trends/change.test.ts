import fc from 'fast-check'
import { expect, test } from 'vitest'
import { highestBelow, highestQuantile } from '../../gateway/trends/break-interval.ts'
import { CHANGE, changePoint, type ChangeSettings } from '../../gateway/trends/change-point.ts'
import { hampel, type HampelPlan, startHampel, stepHampel } from '../../gateway/trends/hampel.ts'
import { logNormalBelow, normalBelow, normalQuantile, studentQuantile } from '../../gateway/trends/normal.ts'
import { median, robustSd } from '../../gateway/trends/order.ts'
import { pettitt } from '../../gateway/trends/pettitt.ts'
import { type Point, usable } from '../../gateway/trends/points.ts'
import { because, gaussian, real, seen } from '../process/noise.ts'

const SET: ChangeSettings = { ...CHANGE, resolution: 0.01 }
const series = (values: readonly number[]) => usable(values.map((value, i) => ({ atMs: 3_600_000 * i, value })))

test('the split is the one with the least squares left, and before and after are its means', () => {
  fc.assert(
    fc.property(fc.array(real(-5, 5), { minLength: 12, maxLength: 80 }), (y) => {
      fc.pre(new Set(y).size > 1)
      const c = seen(changePoint(series(y), SET))
      const squares = (part: readonly number[]): number => {
        const mean = part.reduce((a, b) => a + b, 0) / part.length
        return part.reduce((a, b) => a + (b - mean) ** 2, 0)
      }
      const side = Math.max(5, Math.floor(0.15 * y.length))
      const all = Array.from({ length: y.length - 2 * side + 1 }, (_, i) => squares(y.slice(0, side + i)) + squares(y.slice(side + i)))
      expect(c.squaresWith).toBeCloseTo(Math.min(...all), 8)
      expect(c.squaresWithout).toBeCloseTo(squares(y), 8)
    }),
  )
})

test('a flat signal has no break, a clean step one that is certain, a single step of the resolution in a flat signal none', () => {
  expect(because(changePoint(series(Array.from({ length: 40 }, () => 3)), SET))).toBe('the signal did not move at all')
  expect(because(changePoint(series([1, 2, 3]), SET))).toBe('only 3 values are there and 10 are needed to look for a break')
  const step = seen(changePoint(series(Array.from({ length: 40 }, (_, i) => (i < 15 ? 3 : 4))), SET))
  expect(step).toMatchObject({ evidence: 'clear', lastBefore: 14, earliest: 13, latest: 15, lastBeforeMs: 14 * 3_600_000, firstAfterMs: 15 * 3_600_000 })
  const blip = seen(changePoint(series(Array.from({ length: 40 }, (_, i) => (i === 20 ? 3.01 : 3))), SET))
  expect(blip.evidence).toBe('none')
})

test('holes and irregular steps do not move a break: it lies between the times of its neighbours', () => {
  const noise = gaussian(3)
  const points: Point[] = Array.from({ length: 120 }, (_, i) => ({ atMs: i * 60_000 + (i % 7) * 5000, value: i % 6 === 0 ? null : (i < 70 ? 5 : 6) + noise(0.2) }))
  const c = seen(changePoint(usable(points), SET))
  expect(c.evidence).toBe('clear')
  expect(c.lastBeforeMs).toBe(points[69]?.atMs)
  expect(c.firstAfterMs).toBe(points[70]?.atMs)
  expect(c.earliestMs).toBeLessThanOrEqual(c.lastBeforeMs)
  expect(c.latestMs).toBeGreaterThanOrEqual(c.lastBeforeMs)
})

test('where the walk is highest is a distribution, for any ratio of deviations', () => {
  fc.assert(
    fc.property(real(0.4, 2.5), real(-40, 40), real(0, 5), (ratio, x, more) => {
      const p = highestBelow(x, ratio)
      expect(p).toBeGreaterThan(-1e-9)
      expect(p).toBeLessThan(1 + 1e-9)
      expect(highestBelow(x + more, ratio)).toBeGreaterThan(p - 1e-9)
    }),
  )
  expect(highestQuantile(0.5)).toBeCloseTo(0, 6)
  // From either side of zero the two forms meet at the same share.
  for (const ratio of [0.5, 1, 2]) for (const x of [0, -1e-12]) expect(highestBelow(x, ratio)).toBeCloseTo(1 / (1 + ratio ** 2), 5)
  expect(highestQuantile(0.025)).toBeCloseTo(-highestQuantile(0.975), 6)
})

test('normal areas and their inverse undo each other, far out too', () => {
  fc.assert(
    fc.property(real(-8, 8), (z) => {
      expect(normalBelow(z) + normalBelow(-z)).toBeCloseTo(1, 14)
      expect(Math.exp(logNormalBelow(z))).toBeCloseTo(normalBelow(z), 13)
      if (z < 5) expect(normalQuantile(normalBelow(z))).toBeCloseTo(z, 7)
    }),
  )
  expect(logNormalBelow(-40)).toBeCloseTo(-804.608, 2)
  expect(studentQuantile(0.5, 7)).toBe(0)
  expect(studentQuantile(0.1, 7)).toBeCloseTo(-studentQuantile(0.9, 7), 12)
  expect(() => normalQuantile(0)).toThrow('share is 0')
  expect(() => studentQuantile(0.9, 2)).toThrow('degrees of freedom is 2')
})

test('Pettitt counts pairs across the split, ties as neither', () => {
  fc.assert(
    fc.property(fc.array(fc.oneof(real(-5, 5), fc.integer({ min: -2, max: 2 })), { minLength: 4, maxLength: 40 }), (y) => {
      const u = Array.from({ length: y.length - 1 }, (_, t) => Math.abs(y.slice(0, t + 1).reduce((sum, a) => sum + y.slice(t + 1).reduce((s, b) => s + Math.sign(a - b), 0), 0)))
      expect(pettitt(y).k).toBeCloseTo(Math.max(...u), 6)
    }),
  )
  expect(pettitt([2, 2, 2, 2])).toEqual({ k: 0, lastBefore: 1, p: 1 })
  expect(() => pettitt([1, 2, 3])).toThrow('values of a change test is 3')
})

const HAMPEL: HampelPlan = { reach: 7, spanMs: 1000, leastInWindow: 5, width: 3, resolution: 0.1 }

test('a single wild reading is named in the review and in the stream, and the median is offered for it', () => {
  const values = [5, 5.1, 4.9, 5, 5.1, 5, 4.9, 19, 5, 5.1, 4.9, 5]
  const points = values.map((value, atMs) => ({ atMs, value }))
  expect(hampel(points, HAMPEL).filter((j) => j.says === 'wild')).toEqual([{ atMs: 7, value: 19, says: 'wild', centre: 5 }])
  const w = startHampel(HAMPEL)
  const judged = points.map((p) => stepHampel(w, p))
  expect(judged.filter((j) => j?.says === 'wild')).toEqual([{ atMs: 7, value: 19, says: 'wild', centre: 5 }])
  expect(judged.slice(0, 5).every((j) => j?.says === 'unjudged')).toBe(true)
})

test('in a window where most readings are equal an honest step of the signal is not wild', () => {
  const quantised = [20, 20, 20, 20, 20, 20, 20.1, 20, 20, 20.2, 20, 20]
  const points = quantised.map((value, atMs) => ({ atMs, value }))
  expect(hampel(points, HAMPEL).map((j) => j.says)).not.toContain('wild')
  const w = startHampel(HAMPEL)
  expect(points.map((p) => stepHampel(w, p)?.says)).not.toContain('wild')
})

test('a window that could never fill, and plans outside their ranges, are errors', () => {
  expect(() => startHampel({ ...HAMPEL, leastInWindow: 8 })).toThrow('readings in the window at least is 8')
  expect(() => startHampel({ ...HAMPEL, reach: 2 })).toThrow('reach of the window is 2')
  expect(() => hampel([], { ...HAMPEL, resolution: Number.NaN })).toThrow('resolution is NaN')
  expect(() => hampel([], { ...HAMPEL, width: 0.5 })).toThrow('width is 0.5')
  expect(() => changePoint(series([1, 2]), { ...SET, keptOff: 0.4 })).toThrow('share kept off is 0.4')
})

test('after a true step the stream names the first readings and then follows', () => {
  const w = startHampel(HAMPEL)
  const says = Array.from({ length: 24 }, (_, atMs) => stepHampel(w, { atMs, value: atMs < 12 ? 5 : 8 })?.says)
  expect(says.slice(12, 16)).toEqual(['wild', 'wild', 'wild', 'wild'])
  expect(says.slice(16)).not.toContain('wild')
})

test('missing and late readings take no place in the window, and behind a gap nothing is judged until it has filled', () => {
  const w = startHampel(HAMPEL)
  for (let atMs = 0; atMs < 7; atMs += 1) stepHampel(w, { atMs, value: 5 })
  for (const p of [
    { atMs: 8, value: null },
    { atMs: 8, value: Number.NaN },
    { atMs: 3, value: 9 },
  ])
    expect(stepHampel(w, p)).toBeNull()
  expect(w.value.length).toBe(7)
  expect(stepHampel(w, { atMs: 5000, value: 40 })?.says).toBe('unjudged')
  expect(w.value).toEqual([40])
})

test('the stream judges as a window kept whole would, and its memory never grows past the reach', () => {
  fc.assert(
    fc.property(fc.array(fc.tuple(fc.integer({ min: 1, max: 300 }), fc.oneof(real(-2, 2), fc.integer({ min: -1, max: 1 }))), { maxLength: 80 }), (rows) => {
      const w = startHampel(HAMPEL)
      const past: Point[] = []
      let atMs = 0
      for (const [dt, value] of rows) {
        atMs += dt
        const held = past.slice(-HAMPEL.reach).filter((p) => atMs - p.atMs <= HAMPEL.spanMs)
        const judged = stepHampel(w, { atMs, value })
        const seenBefore = held.map((p) => p.value as number)
        if (seenBefore.length < HAMPEL.leastInWindow) expect(judged?.says).toBe('unjudged')
        else {
          const centre = median(seenBefore)
          expect(judged?.centre).toBeCloseTo(centre, 12)
          expect(judged?.says).toBe(Math.abs(value - centre) > 3 * robustSd(seenBefore, HAMPEL.resolution, centre) ? 'wild' : 'fits')
        }
        past.push({ atMs, value })
        expect(w.sorted.length).toBeLessThanOrEqual(HAMPEL.reach)
        expect(w.sorted).toEqual([...w.value].sort((a, b) => a - b))
      }
    }),
  )
})
