/**
 * The working model against what the reference loop of the trade does. Those figures are
 * arithmetic on the same loop, not measurements: common practice, no source. Tolerances are stated beside each.
 */
import { expect, test } from 'vitest'
import type { Plant } from '../../simulator/process/state.ts'
import type { Troubles } from '../../simulator/process/troubles.ts'
import { hoursLater, runUntil, settledReference } from './reference-loop.ts'

interface Means {
  readonly oxygen: number
  readonly uptake: number
  readonly share: number
}

/** Means of each aerated tank over an hour. */
function hourOf(p: Plant): readonly Means[] {
  const sums = p.water.bio.map(() => ({ oxygen: 0, uptake: 0, share: 0 }))
  const end = hoursLater(p, 1)
  let n = 0
  while (p.nowMs < end) {
    runUntil(p, p.nowMs + 10_000)
    n++
    p.water.bio.forEach((t, i) => {
      const s = sums[i]
      if (!s) return
      s.oxygen += t.oxygen
      s.uptake += t.uptake
      s.share += t.oxygen / t.saturated
    })
  }
  return sums.map((s) => ({ oxygen: s.oxygen / n, uptake: s.uptake / n, share: s.share / n }))
}

/** Hours until a tank's oxygen is down to `limit`; fails after 40. */
function hoursTo(p: Plant, tank: number, limit: number, arrange: (t: Troubles) => void): number {
  const from = p.nowMs
  while ((p.water.bio[tank]?.oxygen ?? 0) > limit) {
    if (p.nowMs - from > 40 * 3_600_000) throw new Error('oxygen never fell')
    runUntil(p, p.nowMs + 10_000, arrange)
  }
  return (p.nowMs - from) / 3_600_000
}

const blowerOff = (t: Troubles): void => void t.tripped.add('blower')
const blowerOffIdle = (t: Troubles): void => {
  t.tripped.add('blower')
  t.rush = 0
}
const near = (value: number, wanted: number, share: number): void => {
  expect(value, `${value} against ${wanted}`).toBeGreaterThan(wanted * (1 - share))
  expect(value, `${value} against ${wanted}`).toBeLessThan(wanted * (1 + share))
}

test('idle, the treatment unit breathes 6.4 mg/L/h at 8.5 mg/L (93 % of saturation) and the bio tanks 1.8 and 1.1', () => {
  const [tu, bio1, bio2] = hourOf(settledReference(6))
  near(tu?.uptake ?? 0, 6.4, 0.08)
  near(tu?.oxygen ?? 0, 8.5, 0.03)
  near(tu?.share ?? 0, 0.93, 0.03)
  near(bio1?.uptake ?? 0, 1.8, 0.12)
  near(bio1?.oxygen ?? 0, 8.5, 0.05)
  near(bio2?.uptake ?? 0, 1.1, 0.12)
})

test('washing, the treatment unit takes up 43 mg/L/h at 4.7 mg/L while bio tank 1 stands at 8.1', () => {
  const [tu, bio1, bio2] = hourOf(settledReference(13))
  near(tu?.uptake ?? 0, 43, 0.07)
  near(tu?.oxygen ?? 0, 4.7, 0.08)
  near(bio1?.uptake ?? 0, 2.4, 0.25)
  near(bio1?.oxygen ?? 0, 8.1, 0.06)
  near(bio2?.uptake ?? 0, 1.1, 0.25)
})

test('without air the idle treatment unit is down to 1 mg/L after 79 min, bio tank 1 after 6 h, bio tank 2 after 15 h', () => {
  near(hoursTo(settledReference(6), 0, 1, blowerOffIdle) * 60, 79, 0.1)
  near(hoursTo(settledReference(6), 1, 1, blowerOffIdle), 6, 0.15)
  near(hoursTo(settledReference(6), 2, 1, blowerOffIdle), 15, 0.15)
})

test('without air while washing the treatment unit is down to 1 mg/L after 6 min and bio tank 1 after 1.5 h', () => {
  near(hoursTo(settledReference(14), 0, 1, blowerOff) * 60, 6, 0.3)
  near(hoursTo(settledReference(10), 1, 1, blowerOff), 1.5, 0.2)
})

test('half the oxygen transfer brings the loaded treatment unit to about 1 mg/L though its uptake is hardly less (common practice, no source)', () => {
  const p = settledReference(11)
  const half = (t: Troubles): void => void (t.fouling = 0.5)
  runUntil(p, hoursLater(p, 2), half)
  const tu = p.water.bio[0]
  expect(tu?.oxygen).toBeLessThan(2.5)
  expect(tu?.uptake).toBeGreaterThan(35)
})

test('after four fifths of the culture of the treatment unit is lost its uptake falls to less than half while that of bio tank 1 rises (common practice, no source)', () => {
  const before = hourOf(settledReference(11))
  const p = settledReference(10)
  const tu = p.water.bio[0]
  if (tu) {
    tu.culture.dead += 0.8 * tu.culture.active
    tu.culture.active *= 0.2
  }
  runUntil(p, hoursLater(p, 1))
  const after = hourOf(p)
  // 43 to 16 mg/L/h.
  near(after[0]?.uptake ?? 0, 16, 0.25)
  expect(after[0]?.oxygen).toBeGreaterThan((before[0]?.oxygen ?? 9) + 1.5)
  expect(after[1]?.uptake).toBeGreaterThan((before[1]?.uptake ?? 9) * 1.3)
})
