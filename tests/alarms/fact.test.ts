import { expect, test } from 'vitest'
import { tellFact } from '../../gateway/alarms/engine.ts'
import type { Fact } from '../../gateway/alarms/fact-rule.ts'
import { watch, type Watch } from './watch.ts'
import { def, SITE } from './yard.ts'

const fact = (onDelayMs = 0, offDelayMs = 0) => def({ kind: 'fact', onDelayMs, offDelayMs }, { id: `${SITE}/site.told` })
const tell = (w: Watch, active: boolean, more: Partial<Fact> = {}): void => {
  const told = tellFact(w.engine, `${SITE}/site.told`, { active, atMs: w.clock.nowMs(), value: 2, unit: 'min', ...more }, { nowMs: w.clock.nowMs(), steadyMs: w.clock.steadyMs() })
  w.told.push(...(told ?? []))
}

test('a fact that is told raises an alarm with its figure and its note, and told away clears it', () => {
  const w = watch([fact()])
  tell(w, true, { value: 7, note: 'Blower 1' })
  expect(w.news()).toEqual(['raised site.told @0'])
  expect(w.view('site.told')).toMatchObject({ state: 'unacknowledged', value: 7, unit: 'min', note: 'Blower 1' })
  tell(w, true)
  expect(w.news()).toEqual([])
  w.wait(60)
  tell(w, false)
  expect(w.news()).toEqual(['cleared site.told @60'])
})

test('a fact with an on-delay is an alarm only when it has held that long, told once', () => {
  const w = watch([fact(120_000)])
  tell(w, true)
  w.wait(119)
  expect(w.news()).toEqual([])
  w.wait(2)
  expect(w.news()).toEqual(['raised site.told @120'])
})

test('a fact told away within its on-delay leaves no trace, and an off-delay holds it a while', () => {
  const w = watch([fact(120_000, 60_000)])
  tell(w, true)
  w.wait(60)
  tell(w, false)
  w.wait(600)
  expect(w.news()).toEqual([])
  tell(w, true)
  w.wait(130)
  tell(w, false)
  w.wait(59)
  expect(w.news()).toEqual(['raised site.told @780'])
  w.wait(2)
  expect(w.news()).toEqual(['cleared site.told @850'])
})

test('after a restart a standing fact goes on standing, raises nothing twice when told again, and clears when told away', () => {
  const first = watch([fact()])
  tell(first, true)
  const life = first.engine.runs.get(`${SITE}/site.told`)?.life
  if (!life) throw new Error('no life')
  const w = watch([fact()], { lives: new Map([[`${SITE}/site.told`, life]]) })
  w.wait(3600)
  expect(w.view('site.told').state).toBe('unacknowledged')
  tell(w, true)
  expect(w.news()).toEqual([])
  tell(w, false)
  expect(w.news()).toEqual(['cleared site.told @3600'])
})

test('telling a fact to an alarm that waits for none is said, and does nothing', () => {
  const w = watch([def({ kind: 'state', signal: 'blower1.run', value: 0, onDelayMs: 0, offDelayMs: 0 })])
  const now = { nowMs: 0, steadyMs: 0 }
  expect(tellFact(w.engine, `${SITE}/blower1.run.test`, { active: true, atMs: 0, value: null, unit: '1' }, now)).toBeNull()
  expect(tellFact(w.engine, 'nowhere/x', { active: true, atMs: 0, value: null, unit: '1' }, now)).toBeNull()
})
