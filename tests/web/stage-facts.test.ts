import { expect, test } from 'vitest'
import { stageFacts } from '../../web/state/stage-facts.ts'
import { detail, MIN, NOW, signalOf } from './bodies.ts'

const blower = { id: 'blower', kind: 'aerator', name: 'Blower', serves: ['tu'], run: 'blower.run', current: null }
const run = (value: number, more: Parameters<typeof signalOf>[0] = {}) =>
  signalOf({ id: 'blower.run', quantity: 'run', kind: 'state', states: ['stopped', 'runs'], stage: 'tu', at: 'blower', unitText: '', digits: 0, value, ...more })
const of = (signals: ReturnType<typeof signalOf>[], more: Parameters<typeof detail>[0] = {}, stage = 'tu') => stageFacts(detail({ signals, ...more }), stage, signals, NOW)

test('a stage leads with oxygen before pH before temperature, and names the signal it leads with', () => {
  const ph = signalOf({ id: 'tu.ph', quantity: 'ph', unitText: '', value: 7.2 })
  expect(of([ph, signalOf()])).toMatchObject({ signal: 'tu.do', of: 'oxygen', value: { text: '2.1' } })
  expect(of([ph])).toMatchObject({ signal: 'tu.ph', of: 'pH', value: { text: '7.2' } })
})

test('a blower runs or is stopped, a pump runs or waits, several of them run or wait', () => {
  const lines = (value: number, kind: string, name: string) => of([run(value)], { equipment: [{ ...blower, kind, name }] }).lines
  expect([lines(1, 'aerator', 'Blower'), lines(0, 'aerator', 'Blower')]).toEqual([['blower runs'], ['blower stopped']])
  expect([lines(1, 'pump', 'Lift pump'), lines(0, 'pump', 'Lift pump')]).toEqual([['lift pump runs'], ['lift pump waits']])
  expect([lines(1, 'washer', 'Two lances'), lines(0, 'washer', 'Two lances')]).toEqual([['two lances run'], ['two lances wait']])
})

test('a machine whose contact has not been heard lately is not told as running, nor as stopped', () => {
  const old = of([run(1, { sourceMs: NOW - 30 * MIN, receivedMs: NOW - 30 * MIN })], { equipment: [blower] })
  expect(old.lines).toEqual(['nothing heard'])
  expect(old.aerated).toBeNull()
})

test('no signal, nothing heard, and nothing to say are three things', () => {
  expect(of([], {}, 'pad').lines).toEqual(['no signal'])
  const end = signalOf({ id: 'filter.roll-end', quantity: 'end', kind: 'state', states: ['not reached', 'reached'], stage: 'filter', at: 'filter', value: 0 })
  expect(of([end], {}, 'filter').lines).toEqual([])
  expect(of([{ ...end, sourceMs: NOW - 60 * MIN }], {}, 'filter').lines).toEqual(['nothing heard'])
})

test('finished water tells its litres and the washing left, to no more figures than the level supports', () => {
  const level = signalOf({ id: 'finished.level', quantity: 'level', unit: '%', unitText: '%', stage: 'finished', at: 'finished', digits: 0, value: 78 })
  expect(of([level], { waterPct: 78, waterMin: 193 }, 'finished')).toMatchObject({ value: { text: '78' }, lines: ['4\u202f450\u00a0L', '3\u00a0h\u00a010 of washing'] })
})
