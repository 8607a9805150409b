import { expect, test } from 'vitest'
import type { AlarmDef, Rule } from '../../gateway/alarms/alarm.ts'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import { createEngine } from '../../gateway/alarms/engine-state.ts'
import { priorityOf } from '../../gateway/alarms/priority.ts'
import { CAUTIONS } from '../../gateway/site/cautions.ts'
import { fileURLToPath } from 'node:url'
import type { Site } from '../../gateway/site/site.ts'
import { readSiteFolder } from '../../gateway/site-folder.ts'
import { loop, loopWith, SITE } from './yard.ts'

const MIN = 60_000
const demo = [...readSiteFolder(fileURLToPath(new URL('../../simulator/fleets/demo', import.meta.url))).sites.values()]
const poor = loop((t) => {
  const head = t.slice(0, t.indexOf('signals:'))
  return `${head}signals:\n  blower1.run:\n  hp.run:\n  finished.low:\n  sump.high:\n  common.trip:\n  filter.roll-end:\n  mains.present:\n  cabinet.temperature:\n`
})
const fleet: readonly (readonly [string, Site])[] = [['the test yard', loop()], ['a poor loop', poor], ...demo.map((s): readonly [string, Site] => [s.name, s])]

const all = (site: Site): ReadonlyMap<string, AlarmDef> => new Map(defaultAlarms(site).defs.map((d) => [d.id.slice(site.id.length + 1), d]))
const rule = <K extends Rule['kind']>(key: string, kind: K, site = loop()): Extract<Rule, { kind: K }> => {
  const r = all(site).get(key)?.rule
  if (r?.kind !== kind) throw new Error(`${key} is ${r?.kind ?? 'not there'}`)
  return r as Extract<Rule, { kind: K }>
}

test('the demo fleet has loops to look at', () => {
  expect(demo.length).toBeGreaterThanOrEqual(8)
})

test.each(fleet)('ALM-40, ALM-41 every default alarm of %s says cause, consequence, action, how to confirm, time, basis and cautions we have', (_, site) => {
  const { defs, faults } = defaultAlarms(site)
  expect(faults).toEqual([])
  expect(new Set(defs.map((d) => d.id)).size).toBe(defs.length)
  for (const d of defs) {
    for (const text of [d.what, d.cause, d.consequence, d.confirm, d.basis, ...d.action]) expect(text.length, `${d.id}: ${text}`).toBeGreaterThan(8)
    for (const text of [d.cause, d.consequence, d.confirm, ...d.action]) expect(text, d.id).toMatch(/[.?!]$/)
    expect(d.action.length, d.id).toBeLessThanOrEqual(3)
    expect(d.respondWithinMin, d.id).toBeGreaterThan(0)
    for (const c of d.cautions)
      expect(
        CAUTIONS.some((x) => x.id === c),
        `${d.id}: ${c}`,
      ).toBe(true)
    expect(d.basis, d.id).toMatch(/not yet tuned on data/)
  }
})

test.each(fleet)('ALM-43 priorities of %s follow from severity and time, and nothing else', (_, site) => {
  for (const d of defaultAlarms(site).defs) if (d.priority !== 'alert') expect(d.priority, d.id).toBe(priorityOf(d.severity, d.respondWithinMin))
})

test.each(fleet)('what an alarm of %s says is a state of the plant, and its first step names a place', (_, site) => {
  for (const d of defaultAlarms(site).defs) {
    expect(d.what, d.id).not.toMatch(/alarm|LOW|HIGH|undefined|null|NaN/)
    for (const s of site.signals) if (s.id.includes('.')) expect(d.what, d.id).not.toContain(s.id)
    expect(d.action[0], d.id).toMatch(/^(Yard, by phone|At |Wash log|Site log|Fleet page|Intake page|The one who)/)
  }
})

test.each(fleet)('the engine takes every default alarm of %s', (_, site) => {
  const { defs } = defaultAlarms(site)
  const engine = createEngine(defs, [site], { nowMs: 0, steadyMs: 0 })
  expect(engine.faults).toEqual([])
  expect(engine.runs.size).toBe(defs.length)
})

test.each(fleet)('no measured value of %s has a delay shorter than two of its samples', (_, site) => {
  for (const d of defaultAlarms(site).defs) {
    const r = d.rule
    const id = r.kind === 'limit' ? r.signal : r.kind === 'water-left' ? r.level : null
    const signal = site.signals.find((s) => s.id === id)
    if (signal && 'onDelayMs' in r) expect(r.onDelayMs, d.id).toBeGreaterThanOrEqual(2 * signal.sampleEveryMs)
  }
})

// Practice notes section 2, row by row: limit, deadband or second figure, on-delay in minutes, priority.
test.each([
  ['tu.do.low', 'low', 2, 60, 'low'],
  ['bio1.do.low', 'low', 2, 60, 'low'],
  ['tu.do.low-low', 'low', 0.5, 30, 'medium'],
  ['tu.ph.low', 'low', 6.5, 10, 'low'],
  ['tu.ph.low-low', 'low', 5.5, 15, 'medium'],
  ['tu.ph.high', 'high', 9, 60, 'low'],
  ['tu.ph.high-high', 'high', 9.5, 20, 'medium'],
  ['tu.temperature.high', 'high', 32, 60, 'low'],
  ['tu.temperature.high-high', 'high', 38, 30, 'medium'],
  ['sump.level.high', 'high', 80, 1, 'medium'],
  ['sump.level.high-high', 'high', 95, 1, 'high'],
  ['cabinet.temperature.low', 'low', 3, 30, 'low'],
  ['cabinet.temperature.low-low', 'low', 1, 30, 'medium'],
  ['room.ozone.high-high', 'high', 0.1, 1, 'high'],
  ['sump.h2s.high-high', 'high', 10, 1, 'high'],
] as const)('%s is the corrected row: %s limit %d for %d min, %s', (key, side, limit, minutes, priority) => {
  expect(rule(key, 'limit')).toMatchObject({ side, limit, onDelayMs: minutes * MIN })
  expect(all(loop()).get(key)?.priority).toBe(priority)
})

test.each([
  ['mains.present.absent', 0, 15, 'medium'],
  ['common.trip.tripped', 1, 1, 'medium'],
  ['containment.leak.wet', 1, 1, 'high'],
  ['sump.high-high.wet', 1, 1, 'high'],
  ['filter.roll-end.reached', 1, 1, 'alert'],
] as const)('%s is the corrected row: reads %d for %d min, %s', (key, value, minutes, priority) => {
  expect(rule(key, 'state')).toMatchObject({ value, onDelayMs: minutes * MIN })
  expect(all(loop()).get(key)?.priority).toBe(priority)
})

test('oxygen is judged outside washing where washing can be seen, and always where it cannot', () => {
  expect(rule('tu.do.low', 'limit').when).toEqual({ idle: 'hp.run' })
  expect(
    rule(
      'tu.do.low',
      'limit',
      loop((t) => t.replace('  hp.run:\n', '')),
    ).when,
  ).toBeUndefined()
})

test('no air: pressure is the proof, ten minutes or three once oxygen is below 1 mg/L, the limit from the depth of the tank', () => {
  // 1,500 mm of water are 147 mbar; with 30 mbar of diffuser and line 177; 60 % of that is 106 mbar. Hydrostatics.
  expect(rule('blower1.no-air', 'no-air')).toMatchObject({
    proof: 'blower1.pressure',
    run: 'blower1.run',
    proofLow: 106,
    onDelayMs: 10 * MIN,
    fastOnDelayMs: 3 * MIN,
    oxygen: 'tu.do',
    doFastBelow: 1,
  })
  expect(all(loop()).get('blower1.no-air')).toMatchObject({ priority: 'high', what: 'No air in the treatment unit and bio tanks 1 and 2' })
})

test('no air waits out the planned pauses of the blower, and two reports of a slow controller', () => {
  expect(
    rule(
      'blower1.no-air',
      'no-air',
      loop((t) => t.replace('serves: [tu, bio1, bio2] }', 'serves: [tu, bio1, bio2], longestPlannedOff: 20min }')),
    ).onDelayMs,
  ).toBe(25 * MIN)
  expect(
    rule(
      'blower1.no-air',
      'no-air',
      loop((t) => t.replace('reportEvery: 30s', 'reportEvery: 15min')),
    ).onDelayMs,
  ).toBe(30 * MIN)
})

test('a blower for bio tanks alone is less urgent: they hold oxygen for hours', () => {
  const d = all(loop((t) => t.replace('serves: [tu, bio1, bio2]', 'serves: [bio1, bio2]'))).get('blower1.no-air')
  expect(d).toMatchObject({ priority: 'medium', stage: 'bio1', what: 'No air in bio tanks 1 and 2' })
})

test('finished water is judged in minutes of washing, and in percent only where the volume is unknown', () => {
  expect(rule('finished.level.low', 'water-left')).toMatchObject({ volumeL: 5700, lanceLPerMin: 23, belowMin: 30 })
  expect(rule('finished.level.low-low', 'water-left')).toMatchObject({ belowMin: 10 })
  expect([all(loop()).get('finished.level.low')?.priority, all(loop()).get('finished.level.low-low')?.priority]).toEqual(['low', 'medium'])
  const blindTank = loop((t) => t.replace('  - { stage: finished, volumeL: 5700 }', '  - { stage: finished }'))
  expect(rule('finished.level.low', 'limit', blindTank)).toMatchObject({ limit: 20, when: { open: true } })
})

test('a poor loop has floats, contacts, trip, paper, power, frost and silence, and nothing about a biology it cannot see', () => {
  expect([...all(poor).keys()].filter((k) => !k.endsWith('.blind')).toSorted()).toEqual([
    'blower1.no-air',
    'cabinet.temperature.low',
    'cabinet.temperature.low-low',
    'common.trip.tripped',
    'filter.roll-end.reached',
    'finished.low.dry',
    'mains.present.absent',
    'site.clock',
    'site.overdue-visit',
    'site.power-check',
    'site.power-check-air',
    'site.quarantine',
    'site.silent',
    'site.unfed',
    'site.visit-check',
    'site.visit-check-air',
    'sump.high.wet',
  ])
})

test('what would only be a nuisance is not there: no low tank temperature, no high finished level, no raw redox or turbidity limit', () => {
  const rich = demo.find((s) => s.instrumentation === 'rich')
  if (!rich) throw new Error('no rich loop')
  const keys = [...all(rich).keys()]
  for (const struck of ['tu.temperature.low', 'finished.level.high', 'finished.orp.low', 'bio1.orp.low', 'finished.turbidity.high', 'tu.do.high'])
    expect(keys).not.toContain(struck)
})

test('gas and containment latch, and nothing else does', () => {
  const latching = [...all(loop())].filter(([, d]) => d.latching).map(([k]) => k)
  expect(latching.toSorted()).toEqual(['containment.leak.wet', 'room.ozone.high', 'room.ozone.high-high', 'sump.h2s.high', 'sump.h2s.high-high'])
})

test('a pump that doses acid is watched for a run without end, and for acid water while it runs', () => {
  expect(rule('acid.run.long', 'over-run')).toMatchObject({ run: 'acid.run', factor: 3, unlearnedMs: 5 * MIN })
  expect(rule('tu.ph.low-low-acid', 'limit')).toMatchObject({ limit: 5.5, when: { signal: 'acid.run' } })
  expect(all(loop()).get('tu.ph.low-low-acid')?.priority).toBe('high')
})

test('being blind has the priority of the worst alarm that would be missed, once per instrument, and none where nothing is watched', () => {
  const defs = all(loop())
  expect(defs.get('tu.ph.blind')).toMatchObject({
    priority: 'high',
    consequence: '"The treatment unit is acid and acid pump still runs" would not be noticed.',
    rule: { kind: 'blind', signal: 'tu.ph', afterMs: 15 * MIN },
  })
  expect(defs.get('tu.do.blind')).toMatchObject({ priority: 'medium', rule: { afterMs: 120 * MIN } })
  expect(defs.has('hp.run.blind')).toBe(false)
  expect(defs.has('panel.auto.blind')).toBe(false)
  const off = all(loopWith('  tu.temperature.high: { off: true, why: "cooled" }\n  tu.temperature.high-high: { off: true, why: "cooled" }\n'))
  expect(off.has('tu.temperature.blind')).toBe(false)
})

test('the selector is an alert: shown, and nobody is called', () => {
  expect(all(loop()).get('panel.auto.off')?.priority).toBe('alert')
})

test('an alarm id is the loop and the key its site file changes it by', () => {
  expect(all(loop()).get('tu.do.low')?.id).toBe(`${SITE}/tu.do.low`)
})
