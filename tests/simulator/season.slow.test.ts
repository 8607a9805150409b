/** The books over a season, and what salt tells of it. Slow: some months of plants are stepped. */
import { expect, test } from 'vitest'
import { applyFaults, type Fault } from '../../simulator/faults/fault.ts'
import { KINDS } from '../../simulator/faults/kinds.ts'
import { loadFleet } from '../../simulator/fleets/load.ts'
import { activity, balances, markReference } from '../../simulator/process/balance.ts'
import { buildPlant } from '../../simulator/process/build.ts'
import { step } from '../../simulator/process/plant.ts'
import { conc, NITRATE, NITROGEN, SALT } from '../../simulator/process/species.ts'
import type { Plant } from '../../simulator/process/state.ts'
import { MONDAY, referenceFacts, referenceFile, referenceSpec, runUntil } from './reference-loop.ts'

const DAY = 86_400_000

function closes(p: Plant): void {
  for (const [what, b] of Object.entries(balances(p))) {
    expect(b.size, what).toBeGreaterThan(0)
    expect(Math.abs(b.error) / b.size, `${what}: ${b.error} of ${b.size}`).toBeLessThan(1e-6)
  }
}

test.each(['working', 'asm1'] as const)(
  'ninety days with every kind of fault, each for most of a day and a half, close water, COD, nitrogen, alkalinity and salt to a millionth (%s)',
  (biology) => {
    const spec = loadFleet('demo', 3).specs.find((s) => s.site.id === 'kestrow-berth-3')
    if (!spec) throw new Error('no such loop')
    const p = buildPlant({ ...spec, biology }, MONDAY)
    markReference(p)
    const kinds = Object.keys(KINDS) as (keyof typeof KINDS)[]
    const each = (90 * DAY) / kinds.length
    const faults = kinds.map((kind, i): Fault => ({ id: kind, kind, site: spec.site.id, onsetMs: MONDAY + i * each, endMs: MONDAY + (i + 0.6) * each }))
    let least = 1
    while (p.nowMs < MONDAY + 90 * DAY) {
      applyFaults(faults, p)
      step(p)
      if (p.nowMs % 3_600_000 === 0) least = Math.min(least, activity(p))
    }
    closes(p)
    // It was a season of real trouble, not a quiet one.
    expect(least).toBeLessThan(0.4)
    expect(p.book.outL.overflow).toBeGreaterThan(0)
    expect(p.book.outL.leak).toBeGreaterThan(0)
  },
)

test('nitrifiers stay where retention allows: carriers turn ammonium to nitrate, without retention they wash out', () => {
  const run = (retention: string): Plant => {
    const spec = referenceSpec(
      { dirt: { ...referenceFacts.dirt, nitrogen: 12 }, makeUp: { ...referenceFacts.makeUp, alkalinity: 300 }, carryOff: 0.25 },
      referenceFile.replaceAll('retention: settling', `retention: ${retention}`),
    )
    return runUntil(buildPlant({ ...spec, biology: 'asm1' }, MONDAY), MONDAY + 20 * DAY)
  }
  const held = run('carriers')
  const loose = run('none')
  const last = (p: Plant) => p.water.bio[2]?.water ?? p.water.finished.water
  expect(conc(last(held), NITRATE)).toBeGreaterThan(5 * conc(last(loose), NITRATE))
  expect(conc(last(held), NITROGEN)).toBeLessThan(0.5 * conc(last(loose), NITROGEN))
  closes(held)
  closes(loose)
})

test('twenty days of the reference loop close water, COD, alkalinity and salt to a millionth', () => {
  const p = runUntil(buildPlant(referenceSpec({ carryOff: 0.2, mist: 0.05 }), MONDAY), MONDAY + 20 * DAY)
  closes(p)
  expect(p.book.washedL).toBeGreaterThan(150_000)
  expect(p.book.outL.evaporation).toBeGreaterThan(1000)
  expect(p.book.outL.carryOff).toBeGreaterThan(10_000)
})

test('carry-off takes its salt along and vapour leaves it: water that drives away is make-up, concentrated by make-up over carry-off (mass balance of salt)', () => {
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
