import { expect, test } from 'vitest'
import type { EmbeddedHistory } from '../../gateway/history/embedded.ts'
import { createRetention, type RetentionSettings } from '../../gateway/history/retention.ts'
import { reading } from '../history.contract.ts'
import { handClock, openStore, tempFolder, type HandClock } from './store.ts'

const NOW = Date.UTC(2026, 5, 30, 12)
const DAY = 86_400_000

/** Sixty days of readings of some signals, sealed; figures that pack badly, so that days take room. */
async function sixtyDays(signals = 4): Promise<{ store: EmbeddedHistory; clock: HandClock }> {
  const clock = handClock(NOW)
  const store = openStore(tempFolder(), { clock })
  let seed = 7
  for (let day = 60; day > 0; day--)
    for (let s = 0; s < signals; s++)
      store.commit(
        Array.from({ length: 480 }, (_, i) => {
          seed = (seed * 48_271) % 2_147_483_647
          return reading(`depot/s${s}`, NOW - day * DAY + i * 180_000, seed / 977)
        }),
      )
  await store.sealAll()
  return { store, clock }
}

const settings = (more: Partial<RetentionSettings>): RetentionSettings => ({ keepDays: null, keepBytes: null, keepAtLeastDays: 1, ...more })
const over = (store: EmbeddedHistory, clock: HandClock, more: Partial<RetentionSettings>, fed = (): boolean => true) =>
  createRetention({ settings: settings(more), history: store, clock, fed })
const firstDay = async (store: EmbeddedHistory): Promise<number> => Math.round((NOW - ((await store.oldestMs()) ?? 0)) / DAY)

test('with nothing set nothing is ever forgotten', async () => {
  const { store, clock } = await sixtyDays(1)
  const r = over(store, clock, {})
  await r.look()
  expect([store.stats().sealed, r.trouble()]).toEqual([60 * 480, null])
})

test('readings older than the age go, by whole days, and those of a day come to be old the next day', async () => {
  const { store, clock } = await sixtyDays()
  const r = over(store, clock, { keepDays: 20 })
  await r.look()
  // Noon twenty days ago lies within a day that is kept whole.
  const from = Math.floor((NOW - 20 * DAY) / DAY) * DAY
  for (let s = 0; s < 4; s++) {
    const left = await store.range(`depot/s${s}`, 0, NOW, 1_000_000)
    expect(left[0]?.sourceMs).toBe(from)
    expect(left).toHaveLength((NOW - from) / 180_000)
  }
  expect(r.counters().find((c) => c.name === 'historyForgotten')?.value).toBe(4 * (60 * 480 - (NOW - from) / 180_000))
  clock.advance(3_600_000)
  await r.look()
  expect(await store.oldestMs()).toBe(from)
  clock.advance(DAY)
  await r.look()
  expect(await store.oldestMs()).toBe(from + DAY)
  expect((await store.check()).faultCount).toBe(0)
})

test('over its room the oldest days go until it fits, what is left is whole, and the file does not grow again while days come and go', async () => {
  const { store, clock } = await sixtyDays()
  const before = store.usedBytes()
  const keepBytes = Math.round(before / 2)
  const r = over(store, clock, { keepBytes })
  await r.look()
  expect(store.usedBytes()).toBeLessThanOrEqual(keepBytes)
  expect(r.trouble()).toBeNull()
  const left = await firstDay(store)
  expect(left).toBeGreaterThan(20)
  expect(left).toBeLessThan(32)
  const all = await store.range('depot/s2', 0, NOW, 1_000_000)
  expect(all).toHaveLength(Math.round((NOW - (all[0]?.sourceMs ?? 0)) / 180_000))
  expect((await store.check()).faultCount).toBe(0)
  const fileBytes = store.stats().fileBytes
  for (let day = 0; day < 15; day++) {
    clock.advance(DAY)
    for (let s = 0; s < 4; s++) store.commit(Array.from({ length: 480 }, (_, i) => reading(`depot/s${s}`, NOW + day * DAY + i * 180_000, Math.sin(i * (s + 1) * (day + 1)))))
    await store.sealAll()
    await r.look()
  }
  expect(store.usedBytes()).toBeLessThanOrEqual(keepBytes)
  expect(store.stats().fileBytes).toBeLessThanOrEqual(fileBytes)
})

test('the floor holds against room and against age, and a person is told what to do', async () => {
  const { store, clock } = await sixtyDays()
  const r = over(store, clock, { keepBytes: 100_000, keepAtLeastDays: 45 })
  await r.look()
  expect(await store.oldestMs()).toBe(NOW - 45 * DAY)
  expect(r.trouble()).toMatch(/^The history takes 0\.\d+ GB of the 0\.000100 GB it may, and readings of the last 45 days are never forgotten: give it more room with --keep-gb/)
  const aged = over(store, clock, { keepDays: 10, keepAtLeastDays: 40 })
  await aged.look()
  expect(await store.oldestMs()).toBe(Math.floor((NOW - 40 * DAY) / DAY) * DAY)
})

test('what InfluxDB still has to get from the sealed blocks is not forgotten before, and that is told when room runs out', async () => {
  const { store, clock } = await sixtyDays(1)
  let fed = false
  const r = over(store, clock, { keepDays: 20, keepBytes: 1 }, () => fed)
  await r.look()
  expect(store.stats().sealed).toBe(60 * 480)
  expect(r.trouble()).toContain('nothing is forgotten before InfluxDB has what is sealed')
  fed = true
  await r.look()
  expect(store.stats().sealed).toBeLessThan(21 * 480)
})

test('forgetting that fails is told, and tried again with the next look', async () => {
  const { clock } = await sixtyDays(1)
  let fails = true
  const asked: number[] = []
  const r = createRetention({
    settings: settings({ keepDays: 5 }),
    clock,
    fed: () => true,
    history: {
      usedBytes: () => 1,
      oldestMs: async () => null,
      async forgetBefore(beforeMs) {
        asked.push(beforeMs)
        if (fails) throw new Error('the disk is full')
        return 7
      },
    },
  })
  await r.look()
  expect(r.trouble()).toBe('Old readings could not be forgotten: the disk is full')
  fails = false
  await r.look()
  expect([asked.length, r.trouble()]).toEqual([2, null])
})
