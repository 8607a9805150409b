import { expect, test } from 'vitest'
import { followsFromPower, powerSuppression } from '../../gateway/alarms/consequences.ts'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import { isLearned } from '../../gateway/alarms/learned-rule.ts'
import { applyRecord, firstStates, loopNow, type StateRecord } from '../../gateway/alarms/loop-state.ts'
import { startSuppression } from '../../gateway/loop-suppression.ts'
import { loop } from './yard.ts'

const MIN = 60_000
const T0 = Date.UTC(2026, 5, 10, 8)
const site = loop((t) => `${t}  blower1.current:\n`)
const defs = defaultAlarms(site).defs
const key = (id: string): string => id.slice(id.indexOf('/') + 1)

test('without mains only alarms that a machine does nothing are held back: never the mains themselves, the water, safety or environment', () => {
  const held = defs.filter((d) => followsFromPower(d, site)).map((d) => key(d.id))
  expect(held).toContain('blower1.no-air')
  for (const never of [
    'mains.present.absent',
    'sump.high-high.wet',
    'sump.h2s.high',
    'tu.do.low',
    'tu.do.low-low',
    'site.silent',
    'site.overdue-visit',
    'cabinet.temperature.low',
    'containment.leak.wet',
    'site.power-check-air',
  ])
    expect(held, never).not.toContain(never)
  expect(defs.filter((d) => followsFromPower(d, site)).every((d) => d.class !== 'safety' && d.class !== 'environment')).toBe(true)
  const current = { class: 'equipment' as const, rule: { kind: 'limit' as const, signal: 'blower1.current', limit: 1, deadband: 0, onDelayMs: 0, offDelayMs: 0 } }
  expect(followsFromPower({ ...current, rule: { ...current.rule, side: 'low' } }, site)).toBe(true)
  expect(followsFromPower({ ...current, rule: { ...current.rule, side: 'high' } }, site)).toBe(false)
})

test('mains that are lost hold back, mains that are back hold back for 10 min, mains that cannot be told hold back nothing', () => {
  const air = defs.find((d) => d.id.endsWith('no-air'))
  if (!air) throw new Error('no air alarm')
  const by = (mains: 'present' | 'absent' | null, backMs: number | null, nowMs: number) => powerSuppression(air, site, mains, backMs, nowMs, 10 * MIN)?.ruleId ?? null
  expect(by('absent', null, T0)).toBe('power/lost')
  expect(by('present', T0, T0 + 10 * MIN - 1)).toBe('power/back')
  expect(by('present', T0, T0 + 10 * MIN)).toBeNull()
  expect(by(null, T0, T0 + MIN)).toBeNull()
  expect(by(null, null, T0)).toBeNull()
})

test('the keeper is told each change once, with its reason, and that it is over', () => {
  const told: string[] = []
  const s = startSuppression({
    alarmsOf: () => defs.filter((d) => ['tu.do.low', 'sump.h2s.high'].includes(key(d.id))).map((def) => ({ def })),
    suppress: (alarm, by) => told.push(`${key(alarm)} ${by?.ruleId ?? 'free'}`),
  })
  const visit: StateRecord = {
    site: site.id,
    act: 'begin',
    state: 'on-site',
    person: 'Ines',
    atMs: T0,
    fromMs: null,
    untilMs: T0 + 60 * MIN,
    why: null,
    by: 'Ines',
    recordedMs: T0,
  }
  const states = applyRecord(firstStates(null), visit)
  const look = (st: typeof states, nowMs: number): void => s.look(site, loopNow(st, nowMs), { mains: 'present', backMs: null }, nowMs)
  look(firstStates(null), T0)
  expect(told.splice(0).toSorted()).toEqual(['sump.h2s.high free', 'tu.do.low free'])
  look(states, T0 + 1)
  look(states, T0 + 1000)
  look(states, T0 + 5 * MIN)
  expect(told.splice(0)).toEqual(['tu.do.low loop-state/on-site'])
  look(states, T0 + 75 * MIN)
  expect(told.splice(0)).toEqual(['tu.do.low free'])
})

test('a rule counts as learned by what it compares with', () => {
  const median = { kind: 'deviation', from: { kind: 'median', spanMs: 1, leastMs: 1 } }
  const fixed = { kind: 'deviation', from: { kind: 'value', value: 3 } }
  expect([isLearned(median), isLearned(fixed), isLearned({ kind: 'limit' }), isLearned({ kind: 'drift' }), isLearned({ kind: 'over-run' })]).toEqual([
    true,
    false,
    false,
    true,
    false,
  ])
  expect(isLearned({ kind: 'all-of', of: [median, { kind: 'limit' }] })).toBe(true)
  expect(isLearned({ kind: 'any-of', of: [median, { kind: 'limit' }] })).toBe(false)
  expect(isLearned({ kind: 'any-of', of: [median, { kind: 'drift' }] })).toBe(true)
})
