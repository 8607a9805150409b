import { expect, test } from 'vitest'
import { kLaOfRise, RISE_DEFAULTS, type RiseSettings } from '../../gateway/process/rise.ts'
import type { DoPoint } from '../../gateway/process/uptake.ts'
import { because, gaussian, seen } from './noise.ts'

const fine: RiseSettings = { ...RISE_DEFAULTS, resolutionMgPerL: 0.01, probeLagMin: 0.5 }

interface Air {
  readonly kLaPerH: number
  readonly lagMin?: number
  readonly everyS?: number
  readonly minutes?: number
  readonly noise?: number
  readonly gain?: number
  readonly seed?: number
}

/** Oxygen from 2 towards 8 mg/L, seen through a first-order probe. */
function rise(a: Air): DoPoint[] {
  const noise = gaussian(a.seed ?? 1)
  const out: DoPoint[] = []
  const k = a.kLaPerH
  for (let s = 0; s <= (a.minutes ?? 90) * 60; s += a.everyS ?? 30) {
    const h = s / 3600
    const m = a.lagMin ? 60 / a.lagMin : 0
    const left = m === 0 ? Math.exp(-k * h) : (m * Math.exp(-k * h) - k * Math.exp(-m * h)) / (m - k)
    out.push({ atMs: s * 1000, doMgPerL: (a.gain ?? 1) * (8 - 6 * left) + noise(a.noise ?? 0) })
  }
  return out
}

test('the time constant of a clean rise gives KLa back', () => {
  const r = seen(kLaOfRise(rise({ kLaPerH: 6 }), 0, fine))
  expect(r.kind).toBe('measured')
  expect(r.kLaPerH).toBeCloseTo(6, 1)
  expect(r.restingMgPerL).toBeCloseTo(8, 1)
})

test('a probe that reads a fifth too low leaves KLa as it is', () => {
  const r = seen(kLaOfRise(rise({ kLaPerH: 6, gain: 0.8 }), 0, fine))
  expect(r.kLaPerH).toBeCloseTo(seen(kLaOfRise(rise({ kLaPerH: 6 }), 0, fine)).kLaPerH, 6)
  expect(r.restingMgPerL).toBeCloseTo(6.4, 1)
})

test('KLa of 20 per h behind a lag of 2 min reads 16 from the 20-90 % part, where all points would say 11-13, and is called "at least"', () => {
  // Common practice, no source.
  const points = rise({ kLaPerH: 20, lagMin: 2.001, everyS: 60, minutes: 40 })
  const r = seen(kLaOfRise(points, 0, { ...fine, probeLagMin: 2 }))
  expect(r.kLaPerH).toBeGreaterThan(15)
  expect(r.kLaPerH).toBeLessThan(16.5)
  expect(r.kind).toBe('at-least')
  const all = seen(kLaOfRise(points, 0, { ...fine, part: { from: 0, to: 0.95 } }))
  expect(all.kLaPerH).toBeLessThan(13)
})

test('with noise and tenths of a mg/L the interval holds the truth 19 times in 20', () => {
  let held = 0
  for (let seed = 1; seed <= 200; seed += 1) {
    const points = rise({ kLaPerH: 6, everyS: 60, noise: 0.05, seed }).map((p) => ({ ...p, doMgPerL: Math.round(p.doMgPerL * 10) / 10 }))
    const r = seen(kLaOfRise(points, 0, { ...RISE_DEFAULTS }))
    if (r.lowPerH <= 6 && 6 <= r.highPerH) held += 1
    expect(Math.abs(r.kLaPerH / 6 - 1)).toBeLessThan(0.2)
  }
  expect(held).toBeGreaterThanOrEqual(188)
})

test.each([
  ['a rise cut short', rise({ kLaPerH: 2, minutes: 30 }), 'oxygen had not come to rest by the end of the record'],
  ['a rise quicker than the readings', rise({ kLaPerH: 20, everyS: 300, minutes: 120 }), 'the readings are too far apart for so quick a rise'],
  ['no rise at all', rise({ kLaPerH: 0, minutes: 60 }), 'oxygen rose by 0.0 mg/L'],
  ['a handful of readings', rise({ kLaPerH: 6, everyS: 600, minutes: 60 }), 'only 7 samples were taken after the air returned and 10 are needed'],
])('%s is said, not guessed', (_what, points, message) => {
  expect(because(kLaOfRise(points, 0, fine))).toContain(message)
})

test('oxygen that waits ten minutes and then climbs like a curve was lifted by a load that ended, and gives no KLa; a wait the probe explains does', () => {
  const waiting = (min: number) => [
    ...Array.from({ length: 2 * min }, (_, i) => ({ atMs: i * 30_000, doMgPerL: 2 })),
    ...rise({ kLaPerH: 12 }).map((p) => ({ ...p, atMs: p.atMs + min * 60_000 })),
  ]
  expect(because(kLaOfRise(waiting(10), 0, fine))).toBe('oxygen began to rise 10 min after the air returned: not the air alone lifted it')
  expect(seen(kLaOfRise(waiting(2), 0, fine)).kLaPerH).toBeCloseTo(12, 0)
})

test('readings from before the return of the air do not count, and backward ones are refused', () => {
  const late = rise({ kLaPerH: 6 }).map((p) => ({ ...p, atMs: p.atMs + 600_000 }))
  const before = Array.from({ length: 10 }, (_, i) => ({ atMs: i * 60_000, doMgPerL: 9 - i }))
  expect(seen(kLaOfRise([...before, ...late], 600_000, fine)).kLaPerH).toBeCloseTo(6, 1)
  expect(() => kLaOfRise([...late].reverse(), 0, fine)).toThrow('run backwards')
})
