import { expect, test } from 'vitest'
import { watchFloods, type FloodWatch } from '../../gateway/alarms/flood.ts'

const MIN = 60_000
const T = 1_767_600_000_000

/** `n` annunciations of different alarms of one loop, a second apart from `atMs` on. */
function pour(w: FloodWatch, n: number, atMs: number, site = 'berth-3'): void {
  for (let i = 0; i < n; i++) w.announced(`${site}/rule.${i}`, atMs + i * 1000)
}

test('ALM-12 ten annunciations within 10 min are no flood, the eleventh begins one', () => {
  const w = watchFloods()
  pour(w, 10, T)
  expect(w.now(T + MIN)).toMatchObject({ fleet: null, sites: [] })
  w.announced('berth-3/one-more', T + MIN)
  const flood = { sinceMs: T + MIN, count: 11, peak: 11, lately: 11, firstAlarm: 'berth-3/rule.0', firstMs: T }
  expect(w.now(T + MIN)).toMatchObject({ fleet: { site: null, ...flood }, sites: [{ site: 'berth-3', ...flood }] })
})

test('ALM-12 the window is 10 min: an annunciation exactly 10 min old no longer counts', () => {
  const w = watchFloods()
  pour(w, 10, T)
  w.announced('berth-3/late', T + 10 * MIN)
  expect(w.now(T + 10 * MIN).fleet).toBeNull()
  const x = watchFloods()
  pour(x, 10, T)
  x.announced('berth-3/just', T + 10 * MIN - 1)
  expect(x.now(T + 10 * MIN - 1).fleet?.lately).toBe(11)
})

test('ALM-12 it goes on with five in the last 10 min and ends with four', () => {
  const w = watchFloods()
  pour(w, 11, T)
  // The 11 are a second apart: seven of them have gone.
  expect(w.now(T + 10 * MIN + 5000).fleet).toMatchObject({ lately: 5, count: 11 })
  expect(w.now(T + 10 * MIN + 6000).fleet).toBeNull()
  // And it does not begin again by itself.
  w.announced('berth-3/another', T + 10 * MIN + 7000)
  expect(w.now(T + 10 * MIN + 7000).fleet).toBeNull()
})

test('ALM-12 a flood counts all that came and keeps its peak and its first alarm', () => {
  const w = watchFloods()
  pour(w, 15, T)
  pour(w, 6, T + 9.5 * MIN)
  expect(w.now(T + 12 * MIN).fleet).toMatchObject({ count: 21, peak: 21, lately: 6, firstAlarm: 'berth-3/rule.0' })
})

test('ALM-57 loops are counted apart: eleven at eleven loops are a flood of the fleet and of no loop', () => {
  const w = watchFloods()
  for (let i = 0; i < 11; i++) w.announced(`yard-${i}/rule.${i}`, T + i)
  expect(w.now(T + 100)).toMatchObject({ fleet: { count: 11 }, sites: [], groups: [] })
})

test('the same alarm at four loops within 10 min is four alarms, at five it is one group, told by its first', () => {
  const w = watchFloods()
  for (let i = 0; i < 4; i++) w.announced(`yard-${i}/site.silent`, T + i * MIN)
  expect(w.now(T + 5 * MIN).groups).toEqual([])
  w.announced('yard-9/site.silent', T + 5 * MIN)
  expect(w.now(T + 5 * MIN).groups).toEqual([
    { rule: 'site.silent', sites: ['yard-0', 'yard-1', 'yard-2', 'yard-3', 'yard-9'], firstAlarm: 'yard-0/site.silent', sinceMs: T, latestMs: T + 5 * MIN },
  ])
})

test('five loops that fell silent one every 10 min are no group', () => {
  const w = watchFloods()
  for (let i = 0; i < 5; i++) w.announced(`yard-${i}/site.silent`, T + i * 10 * MIN)
  expect(w.now(T + 41 * MIN).groups).toEqual([])
})

test('a group takes in those that join, lets go those that come back, and ends when fewer than half of five are left', () => {
  const w = watchFloods()
  for (let i = 0; i < 6; i++) w.announced(`yard-${i}/site.silent`, T + i * MIN)
  w.announced('yard-7/site.silent', T + 14 * MIN)
  expect(w.now(T + 14 * MIN).groups[0]?.sites).toHaveLength(7)
  for (let i = 0; i < 4; i++) w.gone(`yard-${i}/site.silent`)
  expect(w.now(T + 60 * MIN).groups[0]?.sites).toEqual(['yard-4', 'yard-5', 'yard-7'])
  w.gone('yard-4/site.silent')
  expect(w.now(T + 60 * MIN).groups).toEqual([])
})

test('what was never announced may go without harm', () => {
  const w = watchFloods()
  w.gone('yard-1/site.silent')
  expect(w.now(T)).toEqual({ fleet: null, sites: [], groups: [] })
})
