/** The harness: what is planted, and that a planted air loss comes back through the real path as what it is. */
import { expect, test } from 'vitest'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import { loadFleet } from '../../simulator/fleets/load.ts'
import { driveOne } from './drive-child.ts'
import { troubleOf } from './groups.ts'
import { healthyOf, plan, type LoopPlan } from './plan.ts'
import { SCENARIOS, scenario } from './scenarios.ts'
import { foundBy, score } from './score.ts'

const HOUR = 3_600_000
const DAY = 24 * HOUR
const FROM_MS = Date.UTC(2026, 2, 1)
const sites = loadFleet('twelve', 1).specs.map((s) => s.site)

test('every fault and look-alike of the library is in the table, and every default alarm names a trouble', () => {
  const ids = SCENARIOS.map((s) => s.id)
  expect(new Set(ids).size).toBe(ids.length)
  for (let i = 1; i <= 12; i++)
    expect(
      ids.some((id) => id.split(' ')[0] === `F${i}`),
      `F${i}`,
    ).toBe(true)
  for (let i = 1; i <= 8; i++)
    expect(
      ids.some((id) => id.split(' ')[0] === `B${i}`),
      `B${i}`,
    ).toBe(true)
  const nameless = sites.flatMap((s) =>
    defaultAlarms(s)
      .defs.filter((d) => troubleOf(d.id) === 'other')
      .map((d) => d.id),
  )
  expect(nameless).toEqual([])
})

test('a plan comes again from its seed, leaves two loops alone, and gives each trouble its time to pass before the next', () => {
  const p = plan(sites, FROM_MS, 90, 1)
  expect(p).toEqual(plan(sites, FROM_MS, 90, 1))
  expect(p).not.toEqual(plan(sites, FROM_MS, 90, 2))
  const healthy = healthyOf(sites)
  expect(healthy).toHaveLength(2)
  const planted = new Map<string, number>()
  for (const loop of p) {
    if (healthy.includes(loop.site)) expect(loop.labels).toEqual([])
    else expect(loop.labels.length).toBeGreaterThan(2)
    loop.labels.forEach((l, i) => {
      planted.set(l.scenario, (planted.get(l.scenario) ?? 0) + 1)
      const before = loop.labels[i - 1]
      if (before) expect(l.onsetMs).toBeGreaterThanOrEqual(before.endMs + scenario(before.scenario).restDays * DAY)
      expect(l.onsetMs).toBeGreaterThanOrEqual(FROM_MS + 10 * DAY)
      expect(l.endMs).toBeLessThanOrEqual(FROM_MS + 90 * DAY)
    })
  }
  expect(SCENARIOS.filter((s) => !planted.has(s.id)).map((s) => s.id)).toEqual([])
})

test('air lost at night on a loop with a pressure switch is told through the real path, named, in time, and nothing else is', async () => {
  const site = 'garrowby-refuse-depot'
  const onsetMs = FROM_MS + DAY + 4 * HOUR
  const s = scenario('F1')
  const own: LoopPlan = {
    site,
    log: [],
    faults: [{ id: 'trip', kind: 'blower-trip', site, onsetMs, endMs: onsetMs + 6 * HOUR }],
    labels: [
      {
        id: 'trip',
        site,
        level: 'normal',
        scenario: 'F1',
        alike: false,
        onsetMs,
        endMs: onsetMs + 6 * HOUR,
        helpsToMs: onsetMs + s.helpsH * HOUR,
        explainsToMs: onsetMs + 18 * HOUR,
        names: s.names,
        follows: s.follows,
        seen: 'yes',
        air: true,
      },
    ],
  }
  const run = await driveOne({ site, plan: own, fromMs: FROM_MS, days: 2, seed: 1, thin: true })
  const label = run.labels[0]
  if (!label) throw new Error('the label is gone')
  const found = foundBy(label, run.told)
  expect(found.by).not.toBeNull()
  expect(found.delayMs).toBeLessThan(15 * 60_000)
  // The truth beside it: the tank did run out of oxygen, after the alarm.
  expect(label.noOxygenMs).toBeGreaterThan(found.by?.toldMs ?? Number.POSITIVE_INFINITY)
  expect(run.told.every((a) => a.toldMs >= a.atMs)).toBe(true)
  expect(run.counters['readingsRejected']).toBe(0)
  expect(score([run])).toMatchObject({ recall: 1, falseWakes: 0 })
}, 40_000)
