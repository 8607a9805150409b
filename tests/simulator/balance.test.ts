/** Nothing appears and nothing vanishes: in = out + kept for water, COD, alkalinity and salt, over weeks and through every kind of trouble. */
import { expect, test } from 'vitest'
import { applyFaults, type Fault } from '../../simulator/faults/fault.ts'
import { KINDS } from '../../simulator/faults/kinds.ts'
import { loadFleet } from '../../simulator/fleets/load.ts'
import { balances } from '../../simulator/process/balance.ts'
import { buildPlant } from '../../simulator/process/build.ts'
import { step } from '../../simulator/process/plant.ts'
import { SALT } from '../../simulator/process/species.ts'
import type { Plant } from '../../simulator/process/state.ts'
import { MONDAY, referenceFacts, referenceSpec, runUntil } from './reference-loop.ts'

const DAY = 86_400_000

function closes(p: Plant): void {
  for (const [what, b] of Object.entries(balances(p))) {
    expect(b.size, what).toBeGreaterThan(0)
    expect(Math.abs(b.error) / b.size, `${what}: ${b.error} of ${b.size}`).toBeLessThan(1e-6)
  }
}

test('twenty days of the reference loop close water, COD, alkalinity and salt to a millionth', () => {
  const p = runUntil(buildPlant(referenceSpec({ carryOff: 0.2, mist: 0.05 }), MONDAY), MONDAY + 20 * DAY)
  closes(p)
  expect(p.book.washedL).toBeGreaterThan(150_000)
  expect(p.book.outL.evaporation).toBeGreaterThan(1000)
  expect(p.book.outL.carryOff).toBeGreaterThan(10_000)
})

test('a loop of the demo fleet closes through a week in which every kind of fault strikes once', () => {
  const spec = loadFleet('demo', 3).specs.find((s) => s.site.id === 'bramscar-slate-yard')
  if (!spec) throw new Error('no such loop')
  const p = buildPlant(spec, MONDAY)
  const kinds = Object.keys(KINDS) as (keyof typeof KINDS)[]
  const each = (7 * DAY) / kinds.length
  const faults = kinds.map(
    (kind, i): Fault => ({ id: kind, kind, site: spec.site.id, onsetMs: MONDAY + i * each, endMs: MONDAY + (i + 0.7) * each, size: kind === 'leak' ? 20 : 1 }),
  )
  while (p.nowMs < MONDAY + 7 * DAY) {
    applyFaults(faults, p)
    step(p)
  }
  closes(p)
  expect(p.book.outL.leak).toBeGreaterThan(100)
  expect(p.book.inL.rain).toBeGreaterThan(0)
  expect(p.book.inL.dosing).toBeGreaterThan(0)
})

test('a loop without a sump closes as well', () => {
  const spec = loadFleet('demo', 3).specs.find((s) => s.site.id === 'thrapplow-quarry-upper')
  if (!spec) throw new Error('no such loop')
  const p = buildPlant(spec, MONDAY)
  while (p.nowMs < MONDAY + 5 * DAY) step(p)
  closes(p)
})

test('a gram that vanished would be found: the balance is not closed by its own arithmetic', () => {
  const p = runUntil(buildPlant(referenceSpec(), MONDAY), MONDAY + DAY)
  const tu = p.water.bio[0]
  if (tu) {
    tu.culture.store -= 1
    tu.water.litres -= 0.5
  }
  const b = balances(p)
  expect(b.cod.error).toBeCloseTo(1, 3)
  expect(b.water.error).toBeCloseTo(0.5, 3)
})

test('carry-off takes its salt along and vapour leaves it: water that drives away is make-up, concentrated by make-up over carry-off (practice 3.9)', () => {
  const p = buildPlant(referenceSpec({ carryOff: 0.2, mist: 0.05, dirt: { ...referenceFacts.dirt, salt: 0 } }), MONDAY)
  runUntil(p, MONDAY + 14 * DAY)
  const before = { makeUp: p.book.inL.makeUp, carryOff: p.book.outL.carryOff, salt: p.book.went[SALT] ?? 0 }
  runUntil(p, MONDAY + 28 * DAY)
  const carried = p.book.outL.carryOff - before.carryOff
  const cycles = (p.book.inL.makeUp - before.makeUp) / carried
  const driven = ((p.book.went[SALT] ?? 0) - before.salt) / carried
  expect(cycles).toBeGreaterThan(1.15)
  expect(Math.abs(driven / 0.2 / cycles - 1)).toBeLessThan(0.04)
  // The same from the waters themselves: the bio tanks hold what went through, the mains what came in.
  for (const t of p.water.bio) expect(Math.abs((t.water.m[SALT] ?? 0) / t.water.litres / 0.2 / cycles - 1)).toBeLessThan(0.06)
})

test('half the step gives the same week: oxygen, uptake and levels agree within a few percent', () => {
  const run = (dtS: number): Plant => {
    // The trigger held down: bursts shorter than a step would be another day, not another step.
    const p = buildPlant(referenceSpec({ wash: { ...referenceFacts.wash, trigger: 1 } }), MONDAY)
    while (p.nowMs < MONDAY + 1.5 * DAY) {
      const hour = (p.nowMs / 3_600_000) % 24
      p.troubles.rush = hour >= 8 && hour < 15 ? 1 : 0
      step(p, dtS)
    }
    return p
  }
  const coarse = run(10)
  const fine = run(5)
  coarse.tanks.forEach((t, i) => {
    const other = fine.tanks[i]
    if (!other) throw new Error('another plant')
    expect(Math.abs(t.oxygen - other.oxygen)).toBeLessThan(0.15)
    expect(Math.abs(t.ph - other.ph)).toBeLessThan(0.03)
    expect(Math.abs(t.water.litres - other.water.litres) / t.volumeL).toBeLessThan(0.03)
    expect(Math.abs(t.culture.active - other.culture.active)).toBeLessThan(0.01 * Math.max(1, t.culture.active))
  })
})
