import { expect, test } from 'vitest'
import { startDue } from '../../gateway/due-keeper.ts'
import type { LogEntry } from '../../gateway/log/entry.ts'
import type { SiteState } from '../../gateway/port.ts'
import { handClock } from '../alarms/yard.ts'
import { entry, NOW, yard } from './loop.ts'

function keeper(broken = false) {
  const clock = handClock(NOW)
  const log: LogEntry[] = []
  const state: SiteState = { site: yard(), heardMs: NOW, silent: false, latest: new Map() }
  const due = startDue({
    clock,
    log: { add: () => Promise.reject(new Error('not here')), list: async () => [...log] },
    sites: () => [state],
    site: (id) => (id === state.site.id ? state : null),
    gateway: { alarmsOf: () => [], vitals: () => [], forecasts: () => (broken ? Promise.reject(new Error('disk')) : Promise.resolve(null)), normals: async () => null },
  })
  const count = (name: string) => due.counters().find((c) => c.name === name)?.value
  return { clock, log, due, count, id: state.site.id }
}

test('a due list is kept for minutes, and an entry in the log ends it at once, for the page of the fleet too', async () => {
  const { due, log, count, id } = keeper()
  const proofDue = async () => (await due.due(id))?.items.find((d) => d.id === 'proof sump-high-high')?.dueMs
  expect(await proofDue()).toBeNull()
  await due.due(id)
  expect(count('dueListsMade')).toBe(1)
  log.unshift(entry({ kind: 'interlock-proved', about: 'sump-high-high' }, 0))
  due.onEntry(id)
  expect(await proofDue()).toBeGreaterThan(NOW)
  expect(due.everywhere()[0]?.items.find((d) => d.id === 'proof sump-high-high')?.dueMs).toBeGreaterThan(NOW)
  expect(await due.due('nowhere')).toBeNull()
})

test('the walk works out each loop by itself after the start, and a failure is counted and not kept', async () => {
  const well = keeper()
  expect(well.due.everywhere()).toEqual([])
  well.clock.advance(11_000)
  well.due.tick()
  await expect.poll(() => well.due.everywhere().length).toBe(1)
  const broken = keeper(true)
  await expect(broken.due.due(broken.id)).rejects.toThrow('disk')
  expect(broken.count('dueListsFailed')).toBe(1)
  expect(broken.due.everywhere()).toEqual([])
})
