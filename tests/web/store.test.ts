import { expect, test } from 'vitest'
import { allAlarms, allLoops, loopSignal, take, told, troubles, values } from '../../web/state/store.ts'
import { createDetail } from '../../web/state/detail.ts'
import { alarm, detail, loop, NOW, signalOf } from './bodies.ts'

const hello = (...ids: string[]) => take({ t: 'hello', nowMs: NOW, version: '1', troubles: [], loops: ids.map((id) => loop({ id, name: id })) })

test('a hello replaces the whole fleet: loops that are gone are gone', () => {
  hello('a', 'b')
  expect(allLoops.value.map((l) => l.id)).toEqual(['a', 'b'])
  hello('b', 'c')
  expect(allLoops.value.map((l) => l.id)).toEqual(['b', 'c'])
  expect(loopSignal('a')).toBeNull()
  expect(told.value).toBe(true)
})

test('what is wrong with the product itself comes with the hello and follows every beat', () => {
  take({ t: 'hello', nowMs: NOW, version: '1', troubles: ['a'], loops: [] })
  expect(troubles.value).toEqual(['a'])
  take({ t: 'beat', nowMs: NOW, troubles: [] })
  expect(troubles.value).toEqual([])
})

test('a changed loop changes its own signal and no other', () => {
  hello('a', 'b')
  const other = loopSignal('b')?.value
  take({ t: 'loops', nowMs: NOW, loops: [loop({ id: 'a', name: 'a', waterPct: 12 })] })
  expect(loopSignal('a')?.value.waterPct).toBe(12)
  expect(loopSignal('b')?.value).toBe(other)
})

test('an alarm stands from its message until the message that it is normal or that something lies over it, once per alarm', () => {
  hello('a')
  const raised = alarm({ id: 'a/x', site: 'a' })
  take({ t: 'alarm', nowMs: NOW, event: 'raised', alarm: raised })
  take({ t: 'alarm', nowMs: NOW, event: 'acknowledged', alarm: alarm({ id: 'a/x', site: 'a', state: 'acknowledged', version: 2 }) })
  expect(allAlarms.value.map((a) => a.state)).toEqual(['acknowledged'])
  take({ t: 'alarm', nowMs: NOW, event: 'shelved', alarm: alarm({ id: 'a/x', site: 'a', state: 'acknowledged', shown: 'shelved', version: 3 }) })
  expect(allAlarms.value).toEqual([])
  take({ t: 'alarm', nowMs: NOW, event: 'raised', alarm: { ...raised, version: 5 } })
  expect(allAlarms.value).toHaveLength(1)
  take({ t: 'alarm', nowMs: NOW, event: 'cleared', alarm: alarm({ id: 'a/x', site: 'a', state: 'normal', version: 6 }) })
  expect(allAlarms.value).toEqual([])
})

test('an alarm of a loop the page does not know is not lost in an error', () => {
  hello('a')
  expect(() => take({ t: 'alarm', nowMs: NOW, event: 'raised', alarm: alarm({ id: 'z/x', site: 'z' }) })).not.toThrow()
})

test('values are laid over what the loop page was told, and an older reading never over a newer one', () => {
  hello('a')
  const page = createDetail('a')
  const known = signalOf({ value: 5, sourceMs: NOW })
  page.set(detail({ ...loop({ id: 'a' }), signals: [known] }))
  take({ t: 'values', nowMs: NOW, site: 'a', values: [[known.id, 6, 'good', 'ok', NOW + 1000, NOW + 1000]] })
  expect(page.signals.value[0]?.value).toBe(6)
  values.value = new Map()
  take({ t: 'values', nowMs: NOW, site: 'a', values: [[known.id, 4, 'good', 'ok', NOW - 1000, NOW - 1000]] })
  expect(page.signals.value[0]?.value).toBe(5)
})
