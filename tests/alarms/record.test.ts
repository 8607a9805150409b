import { expect, test } from 'vitest'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import { createEngine } from '../../gateway/alarms/engine-state.ts'
import { recordOf } from '../../gateway/alarms/record.ts'
import type { Site } from '../../gateway/site/site.ts'
import { def, loop, loopWith, SITE } from './yard.ts'

const record = (site: Site, key: string) => {
  const d = defaultAlarms(site).defs.find((x) => x.id === `${SITE}/${key}`)
  if (!d) throw new Error(`${key} is not there`)
  return recordOf(site, d)
}

test('ALM-40 every alarm of the loop has a whole record: rule in words, priority and why, delay, shelving, what holds it back, owner', () => {
  const site = loop()
  for (const d of defaultAlarms(site).defs) {
    const r = recordOf(site, d)
    for (const text of [r.what, r.cause, r.consequence, r.confirm, r.basis, r.raises, r.suppressed, r.priorityBecause, r.owner])
      expect(text.length, `${d.id}: ${text}`).toBeGreaterThan(4)
    for (const text of [r.raises, r.suppressed]) expect(text, d.id).not.toMatch(/undefined|null|NaN|\[pH\]|Cel\b/)
    expect(r.owner, d.id).toBe('operations')
    // Doses, runs and days are not told in minutes.
    if (['limit', 'state', 'no-air', 'water-left', 'blind', 'over-run'].includes(r.kind)) expect(r.detectionMin, d.id).toBeGreaterThan(0)
  }
})

test('ALM-40 the rule is said with its figures, its units and when it lets go', () => {
  expect(record(loop(), 'tu.do.low').raises).toBe('Oxygen, treatment unit below 2 mg/L for 60 min; clears at or above 2.2 mg/L for 10 min')
  expect(record(loop(), 'tu.do.low').suppressed).toMatch(/^Raises nothing while somebody washes; what goes on for 4 h is taken for stuck\./)
  expect(record(loop(), 'common.trip.tripped').raises).toBe('Trip, common tripped for 1 min; clears once that has not held for 1 min')
  expect(record(loop(), 'blower1.no-air').suppressed).toMatch(/^Never by an air-off test or by washing\./)
})

test('ALM-43 the priority is that of the table, or says who overrode it and why', () => {
  expect(record(loop(), 'tu.do.low')).toMatchObject({ priority: 'low', priorityBecause: 'major, 240 min' })
  const site = loopWith('  tu.do.low: { priority: high, why: "fish pond behind the fence" }\n')
  expect(record(site, 'tu.do.low')).toMatchObject({ priority: 'high', priorityBecause: 'the table would say low; this site: fish pond behind the fence' })
})

test('the delay to expect is the report just missed, the delay of the rule and the link, and what is left of the time is for a person', () => {
  // 30 s report + 10 s link + 20 min: 21 min of the 30.
  expect(record(loop(), 'tu.ph.high-high')).toMatchObject({ respondWithinMin: 30, detectionMin: 21, leftMin: 9 })
})

test('what protects people may not be shelved; the others for a time that grows as their priority falls', () => {
  expect(record(loop(), 'sump.h2s.high').shelveMostMin).toBeNull()
  expect(record(loop(), 'blower1.no-air').shelveMostMin).toBe(60)
  expect(record(loop(), 'tu.do.low-low').shelveMostMin).toBe(72 * 60)
})

test('owner and review come from the site file, for all alarms or for one, and the next review a year on', () => {
  const site = loop(
    (t) =>
      `${t}alarmReview: { owner: "Ida Holm", reviewedOn: "2026-02-28" }\nalarms:\n  tu.ph.high: { reviewedOn: "2026-06-30", owner: "water chemist", why: "cement works next door" }\n`,
  )
  expect(record(site, 'tu.do.low')).toMatchObject({ owner: 'Ida Holm', reviewedOn: '2026-02-28', reviewBy: '2027-02-28' })
  expect(record(site, 'tu.ph.high')).toMatchObject({ owner: 'water chemist', reviewedOn: '2026-06-30', reviewBy: '2027-06-30' })
  expect(record(loop(), 'tu.do.low')).toMatchObject({ reviewedOn: null, reviewBy: null })
})

test('ALM-41 an alarm without an owner or without a basis for its limit is refused', () => {
  const rule = { kind: 'state', signal: 'mains.present', value: 0, onDelayMs: 0, offDelayMs: 0 } as const
  const engine = createEngine([def(rule, { id: `${SITE}/a`, owner: ' ' }), def(rule, { id: `${SITE}/b`, basis: '' })], [loop()], { nowMs: 0, steadyMs: 0 })
  expect(engine.faults.map((f) => f.slice(SITE.length + 1))).toEqual([
    'a: has no owner, so it is no alarm and is not watched; an alert needs none',
    'b: has no basis for its limit, so it is no alarm and is not watched; an alert needs none',
  ])
})
