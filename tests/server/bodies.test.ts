import { expect, test } from 'vitest'
import type { SiteState } from '../../gateway/port.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import { signalOfKey } from '../../gateway/site/reading.ts'
import { alarmBodyOf, worstFirst } from '../../server/bodies/alarm.ts'
import { alarmCautions, loopHazards } from '../../server/bodies/cautions.ts'
import { isStale } from '../../server/bodies/freshness.ts'
import { doubtfulStages, loopBodyOf } from '../../server/bodies/loop.ts'
import { limitsOf, signalBodyOf } from '../../server/bodies/signal.ts'
import { alarmDef, alarmView, NOON, reading, testSite } from './fake-gateway.ts'

const site = testSite('upper')
const state = (readings: readonly Reading[], more: Partial<SiteState> = {}): SiteState => ({
  site,
  heardMs: NOON,
  silent: false,
  latest: new Map(readings.map((r) => [signalOfKey(r.key), r])),
  ...more,
})
const signal = (id: string) => site.signals.find((s) => s.id === id) ?? site.signals[0]!
const LIMIT_MS = 3 * 60_000 + 10_000

test('a level counts until three reports and 10 s have passed, and not a moment longer', () => {
  const s = state([reading('upper', 'finished.level', 80)])
  expect(loopBodyOf(s, [], null, NOON + LIMIT_MS).waterPct).toBe(80)
  expect(loopBodyOf(s, [], null, NOON + LIMIT_MS + 1)).toMatchObject({ waterPct: null, waterMin: null })
})

test.each([
  ['bad, with a figure', { quality: 'bad', sub: 'sensor_failure' }, null],
  ['uncertain', { quality: 'uncertain', sub: 'qc_suspect' }, 80],
] as const)('a level of quality %s shows as %j', (_, more, shown) => {
  expect(loopBodyOf(state([reading('upper', 'finished.level', 80, more)]), [], null, NOON).waterPct).toBe(shown)
})

test.each([
  ['a clock four minutes slow', { sourceMs: NOON - 240_000 }, false],
  ['a clock a day ahead', { sourceMs: NOON + 86_400_000 }, false],
  ['rows of a store that emptied itself, taken an hour ago', { sourceMs: NOON - 3_600_000, live: false }, true],
])('a reading with %s, %o, counts as stale within its time: %j', (_, more, stale) => {
  expect(isStale(signal('tu.do'), reading('upper', 'tu.do', 7, more), NOON + LIMIT_MS)).toBe(stale)
  expect(isStale(signal('tu.do'), reading('upper', 'tu.do', 7, more), NOON + LIMIT_MS + 1)).toBe(true)
})

test('minutes of washing follow the alarm that counts them, with the level at which the pump draws air', () => {
  const s = state([reading('upper', 'finished.level', 20)])
  const rule = {
    kind: 'water-left',
    level: 'finished.level',
    volumeL: 5700,
    lanceLPerMin: 23,
    emptyPct: 15,
    belowMin: 30,
    deadbandMin: 10,
    onDelayMs: 0,
    offDelayMs: 0,
  } as const
  expect(loopBodyOf(s, [], rule, NOON).waterMin).toBeCloseTo((0.05 * 5700) / 23, 9)
  const view = alarmView(alarmDef('upper', 'water', { rule }), { value: 14, unit: 'min' })
  expect(alarmBodyOf(view, s, NOON)).toMatchObject({ signal: 'finished.level', unit: 'min', digits: 0, valueNow: (0.05 * 5700) / 23 })
  expect(loopBodyOf(state([reading('upper', 'finished.level', 10)]), [], rule, NOON).waterMin).toBe(0)
})

test('minutes of washing cannot be told of a loop without a lance figure', () => {
  const bare = { ...site, stages: site.stages.map((s) => ({ ...s, lanceLPerMin: null })) }
  expect(loopBodyOf(state([reading('upper', 'finished.level', 50)], { site: bare }), [], null, NOON)).toMatchObject({ waterPct: 50, waterMin: null })
})

test('a stage is doubtful on uncertain, bad or stale readings, in the order of the train', () => {
  const s = state([
    reading('upper', 'finished.level', 80, { quality: 'uncertain', sub: 'qc_suspect' }),
    reading('upper', 'sump.level', null),
    reading('upper', 'tu.do', 7, { sourceMs: NOON - 3_600_000, receivedMs: NOON - 3_600_000 }),
    reading('upper', 'tu.temperature', 18),
  ])
  expect(doubtfulStages(s, NOON)).toEqual(['sump', 'tu', 'finished'])
})

test('a silent loop is silent, not doubtful everywhere, and a signal never heard of raises no doubt', () => {
  expect(doubtfulStages(state([reading('upper', 'tu.do', 7)], { silent: true }), NOON + 3_600_000)).toEqual([])
  expect(doubtfulStages(state([]), NOON)).toEqual([])
})

test('limits are named by how far out they stand', () => {
  const limit = (id: string, side: 'high' | 'low', value: number, of = 'tu.do') =>
    alarmDef('upper', id, { rule: { kind: 'limit', signal: of, side, limit: value, deadband: 0, onDelayMs: 0, offDelayMs: 0 } })
  const defs = [
    limit('a', 'high', 9),
    limit('b', 'low', 2),
    limit('c', 'low', 0.5),
    limit('d', 'high', 12),
    limit('d2', 'high', 12),
    limit('e', 'low', 1, 'bio1.do'),
    alarmDef('upper', 'f', { rule: { kind: 'silent', afterMs: 1 } }),
  ]
  expect(limitsOf('tu.do', defs)).toEqual([
    { name: 'LL', value: 0.5, alarm: 'upper/c' },
    { name: 'L', value: 2, alarm: 'upper/b' },
    { name: 'H', value: 9, alarm: 'upper/a' },
    { name: 'HH', value: 12, alarm: 'upper/d' },
  ])
  expect(limitsOf('bio1.do', defs)).toEqual([{ name: 'L', value: 1, alarm: 'upper/e' }])
})

test('a signal nobody has heard of has no figure and no quality', () => {
  expect(signalBodyOf(signal('tu.do'), undefined, [])).toMatchObject({ value: null, quality: null, sub: null, sourceMs: null, receivedMs: null, states: null })
  expect(signalBodyOf(signal('blower.run'), undefined, [])).toMatchObject({ kind: 'state', states: ['stopped', 'runs'] })
})

test('an alarm of the whole loop has no stage, no signal and no value now', () => {
  const view = alarmView(alarmDef('upper', 'silent', { stage: null, rule: { kind: 'silent', afterMs: 900_000 } }), { value: null, limit: 15, unit: 'min' })
  expect(alarmBodyOf(view, state([]), NOON)).toMatchObject({ stage: null, stageName: null, signal: null, valueNow: null, unit: 'min', digits: 0 })
})

test('an air alarm shows its proof, and its value now only while the proof can be believed', () => {
  const rule = {
    kind: 'no-air',
    equipment: 'blower',
    run: 'blower.run',
    proof: null,
    proofLow: null,
    onDelayMs: 0,
    offDelayMs: 0,
    oxygen: null,
    doFastBelow: 1,
    fastOnDelayMs: 0,
  } as const
  const view = alarmView(alarmDef('upper', 'air', { rule }), { unit: '1', value: 0 })
  expect(alarmBodyOf(view, state([reading('upper', 'blower.run', 0)]), NOON)).toMatchObject({ signal: 'blower.run', valueNow: 0, unit: '' })
  expect(alarmBodyOf(view, state([reading('upper', 'blower.run', null)]), NOON).valueNow).toBeNull()
})

test('the order of alarms does not depend on the order they are asked in', () => {
  const views = ['a', 'b', 'c', 'd'].map((id, i) => alarmView(alarmDef('upper', id, { priority: i % 2 ? 'high' : 'low' }), { raisedMs: NOON - (i >> 1) }))
  const order = (v: typeof views) => v.toSorted(worstFirst).map((x) => x.def.id)
  expect(order(views)).toEqual(['upper/b', 'upper/d', 'upper/a', 'upper/c'])
  expect(order(views.toReversed())).toEqual(order(views))
})

test('every list of cautions ends with the closing rule, and none is shown where there is nothing to warn of', () => {
  expect(alarmCautions(['h2s']).map((c) => c.id)).toEqual(['h2s', 'closing'])
  expect(alarmCautions(['h2s']).at(-1)?.text).toContain('does not authorise entry')
  expect(alarmCautions([])).toEqual([])
})

test('a loop without ozone and dosing is not warned of them, and of everything else it is', () => {
  const ids = (s: typeof site) => loopHazards(s).map((h) => h.id)
  expect(ids(site)).toContain('ozone')
  expect(ids(site)).not.toContain('dosing')
  const bare = { ...site, equipment: site.equipment.filter((e) => e.kind !== 'ozone') }
  expect(ids(bare)).not.toContain('ozone')
  for (const id of ['h2s', 'confined-space', 'lockout', 'aerosol', 'jet', 'hot-water', 'electricity', 'discharge']) expect(ids(bare)).toContain(id)
})
