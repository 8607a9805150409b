import Database from 'better-sqlite3'
import fc from 'fast-check'
import { join } from 'node:path'
import { expect, test } from 'vitest'
import { openEmbedded } from '../../gateway/history/embedded.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import { expectBuckets, plainBuckets, reading, stored } from '../history.contract.ts'
import { handClock, openStore, tempFolder } from './store.ts'

const T0 = Date.UTC(2026, 0, 5, 6)

test('reading while sealing gives the same answer before, at every step, and after', async () => {
  const clock = handClock(T0)
  clock.perLookMs = 1
  const store = openStore(tempFolder(), { clock, sealAfterMs: 0 })
  const all = Array.from({ length: 12 * 700 }, (_, i) => reading(`k/${i % 12}`, T0 + Math.floor(i / 12) * 10_000, Math.sin(i), { quality: i % 97 === 0 ? 'uncertain' : 'good' }))
  const late = all.filter((_, i) => i % 13 === 5)
  store.commit(all.filter((_, i) => i % 13 !== 5))
  await store.sealAll()
  store.commit(late)
  const keys = ['k/0', 'k/5', 'k/11']
  const ask = async (): Promise<void> => {
    for (const series of await store.buckets(keys, T0, T0 + 7_000_000, 50)) {
      expectBuckets(
        series.buckets,
        plainBuckets(
          all.filter((r) => r.key === series.key),
          T0,
          T0 + 7_000_000,
          50,
        ),
      )
    }
    for (const key of keys) {
      const mine = all.filter((r) => r.key === key)
      expect(await store.range(key, 0, T0 * 2, 10_000)).toEqual(mine.map(stored))
      expect((await store.latest([key])).get(key)?.sourceMs).toBe(mine.at(-1)?.sourceMs)
    }
  }
  await ask()
  clock.advance(1)
  let steps = 0
  while (store.sealStep(0)) {
    steps++
    await ask()
  }
  await ask()
  expect(steps).toBeGreaterThan(11)
  expect(store.stats()).toMatchObject({ unsealed: 0, sealed: all.length })
})

test('another connection reads the file while the store writes and seals', async () => {
  const dir = tempFolder()
  const store = openStore(dir, { sealAfterMs: 0 })
  store.commit([reading('a/x', T0, 1)])
  const other = new Database(join(dir, 'history.db'), { readonly: true })
  const blocks = other.prepare<[], number>('SELECT count(*) FROM block').pluck()
  expect(blocks.get()).toBe(0)
  await store.sealAll()
  store.commit([reading('a/x', T0 + 1, 2)])
  expect(blocks.get()).toBe(1)
  other.close()
})

test('a round of sealing begins when the oldest unsealed reading is old enough, and not before', () => {
  const clock = handClock(T0)
  const store = openStore(tempFolder(), { clock, sealAfterMs: 60_000 })
  expect(store.sealStep(10)).toBe(false)
  store.commit([reading('a/x', T0, 1, { receivedMs: T0 })])
  clock.advance(59_000)
  store.commit([reading('a/x', T0 + 59_000, 1, { receivedMs: T0 + 59_000 })])
  expect(store.sealStep(10)).toBe(false)
  expect(store.stats()).toMatchObject({ unsealed: 2, sealed: 0 })
  clock.advance(1_000)
  store.sealStep(10)
  expect(store.stats()).toMatchObject({ unsealed: 0, sealed: 2 })
})

test('the age of the oldest unsealed reading is kept over a restart', async () => {
  const dir = tempFolder()
  const clock = handClock(T0)
  const first = openStore(dir, { clock, sealAfterMs: 60_000 })
  first.commit([reading('a/x', T0, 1, { receivedMs: T0 })])
  await first.close()
  clock.advance(60_000)
  const again = openStore(dir, { clock, sealAfterMs: 60_000 })
  again.sealStep(10)
  expect(again.stats()).toMatchObject({ unsealed: 0, sealed: 1 })
})

test('a round begins early when many readings are unsealed, and a step stops at its budget', () => {
  const clock = handClock(T0)
  clock.perLookMs = 1
  const store = openStore(tempFolder(), { clock, sealAtReadings: 100 })
  for (let i = 0; i < 99; i++) store.commit([reading(`a/${i}`, T0 + i, i)])
  expect(store.sealStep(5)).toBe(false)
  store.commit([reading('a/99', T0, 99)])
  expect(store.sealStep(5)).toBe(true)
  expect(store.stats().sealed).toBeGreaterThan(0)
  expect(store.stats().sealed).toBeLessThan(12)
  while (store.sealStep(5));
  expect(store.stats()).toMatchObject({ unsealed: 0, sealed: 100 })
})

test('the unsealed tail has a bound: at it a commit seals first, and that is counted', async () => {
  const store = openStore(tempFolder(), { maxUnsealed: 1_000 })
  for (let i = 0; i < 200; i++) store.commit(Array.from({ length: 50 }, (_, k) => reading(`a/${k}`, T0 + i * 1_000, i)))
  expect(store.stats().unsealed).toBeLessThanOrEqual(1_050)
  expect(store.stats().unsealed + store.stats().sealed).toBe(10_000)
  expect(store.counters().find((c) => c.name === 'historySealedInCommit')?.value).toBeGreaterThan(5)
  expect((await store.range('a/7', 0, T0 * 2, 1_000)).map((r) => r.value)).toEqual(Array.from({ length: 200 }, (_, i) => i))
})

test('a round that begins before the inbox of the last one is cleared counts nothing twice, restarted or not', async () => {
  const dir = tempFolder()
  const clock = handClock(T0)
  const store = openStore(dir, { clock, sealAfterMs: 0 })
  for (let i = 0; i < 900; i++) store.commit([reading(`a/${i % 3}`, T0 + i * 1_000, i)])
  clock.advance(1)
  expect(store.sealStep(1_000)).toBe(true)
  expect(store.stats()).toMatchObject({ unsealed: 0, sealed: 900 })
  store.commit([reading('a/0', T0 + 9e6, 1), reading('a/1', T0 + 9e6, 1)])
  clock.perLookMs = 1
  store.sealStep(0)
  await store.close()
  const again = openStore(dir, { clock, sealAfterMs: 0 })
  expect(again.stats().sealed + again.stats().unsealed).toBe(902)
  expect(await again.range('a/1', 0, T0 * 2, 1_000)).toHaveLength(301)
  await again.sealAll()
  expect(await again.check()).toMatchObject({ readings: 902, faultCount: 0 })
})

test('a signal that reports seldom ends up in blocks as full as one that reports often', async () => {
  const dir = tempFolder()
  const store = openStore(dir)
  for (let round = 0; round < 120; round++) {
    store.commit(Array.from({ length: 4 }, (_, i) => reading('slow/x', T0 + (round * 4 + i) * 300_000, i)))
    await store.sealAll()
  }
  await store.close()
  const db = new Database(join(dir, 'history.db'), { readonly: true })
  expect(db.prepare('SELECT n FROM block ORDER BY id').pluck().all()).toEqual([128, 128, 128, 96])
  db.close()
})

test('readings a millisecond apart make whole blocks too', async () => {
  const store = openStore(tempFolder())
  const all = Array.from({ length: 40_000 }, (_, i) => reading('fast/x', T0 + i, i % 50))
  store.commit(all)
  await store.sealAll()
  store.commit([reading('fast/x', T0 + 40_000, 1), reading('fast/x', T0 - 1, 1)])
  await store.sealAll()
  expect(await store.check()).toMatchObject({ readings: 40_002, faultCount: 0 })
  expect(await store.range('fast/x', T0 + 20_000, T0 + 20_003, 10)).toEqual(all.slice(20_000, 20_003).map(stored))
})

test('a site catching up after a week away lands between and behind what is sealed', async () => {
  const store = openStore(tempFolder())
  const minute = (i: number): Reading => reading('k/do', T0 + i * 60_000, (i % 500) / 10, { receivedMs: T0 + 1e9 })
  const week = Array.from({ length: 10_080 }, (_, i) => minute(i))
  store.commit(week.slice(0, 1_000))
  store.commit(week.slice(9_000))
  await store.sealAll()
  for (let i = 990; i < 9_010; i += 15) expect(store.commit(week.slice(i, i + 15)).conflict).toBe(0)
  expect(store.stats().unsealed).toBe(8_000)
  await store.sealAll()
  expect(await store.range('k/do', 0, T0 * 2, 20_000)).toEqual(week.map(stored))
  expect(await store.check()).toMatchObject({ readings: 10_080, faultCount: 0 })
  expect((await store.check()).blocks).toBeLessThan(10_080 / 120)
})

test('later values that differ are kept once each, with when they came, and are forgotten with their readings', async () => {
  const dir = tempFolder()
  const store = openStore(dir)
  store.commit([reading('k/do', T0, 6), reading('k/do', T0 + 60_000, 6.1), reading('b/do', T0, 1)])
  await store.sealAll()
  const other = reading('k/do', T0, 7.5, { receivedMs: T0 + 99_000, quality: 'uncertain', sub: 'qc_suspect', qc: 3 })
  expect(store.commit([other, { ...other, value: null }]).conflict).toBe(2)
  expect(store.commit([other, reading('k/do', T0 + 60_000, -0.5), reading('b/do', T0, 2)]).conflict).toBe(3)
  expect(store.stats().conflicts).toBe(4)
  expect(new Set((await store.corrections('k/do', T0, T0 + 60_000, 10)).map((c) => c.value))).toEqual(new Set([7.5, null]))
  expect(await store.corrections('k/do', T0 + 1, T0 * 2, 10)).toEqual([{ ...stored(reading('k/do', T0 + 60_000, -0.5)) }])
  expect((await store.corrections('k/do', 0, T0 + 1, 10)).find((c) => c.value === 7.5)).toEqual(stored(other))
  await store.close()
  const again = openStore(dir)
  expect(again.stats().conflicts).toBe(4)
  await again.forgetBefore(T0 + 1)
  expect(again.stats().conflicts).toBe(1)
  await again.forgetSite('k')
  expect(again.stats()).toMatchObject({ conflicts: 0, sealed: 0, unsealed: 0, signals: 1 })
})

test('a site that sends while it is being forgotten is known again with what it sent', async () => {
  const store = openStore(tempFolder())
  for (let s = 0; s < 600; s++) store.commit(Array.from({ length: 3 }, (_, i) => reading(`yard/${s}`, T0 + i, i)))
  const gone = store.forgetSite('yard')
  await new Promise((resolve) => setImmediate(resolve))
  store.commit([reading('yard/5', T0 + 500, 5), reading('yard/new', T0, 1)])
  expect(await gone).toBe(1_800)
  expect((await store.latest(['yard/5', 'yard/6', 'yard/new'])).size).toBe(2)
  expect(await store.range('yard/5', 0, T0 * 2, 10)).toEqual([stored(reading('yard/5', T0 + 500, 5))])
  expect(store.stats()).toMatchObject({ signals: 2, sealed: 0, unsealed: 2 })
})

test.each(['a site', 'what is old'])('%s, forgotten in the middle of a round of sealing, stays forgotten over a restart', async (what) => {
  const dir = tempFolder()
  const clock = handClock(T0)
  clock.perLookMs = 1
  const store = openStore(dir, { clock, sealAfterMs: 0 })
  store.commit([reading('yard/a', T0 - 60_000, 1), reading('yard/b', T0 - 60_000, 1), reading('pit/c', T0, 1)])
  clock.advance(1)
  while (store.stats().sealed < 2) store.sealStep(0)
  expect(store.stats().unsealed).toBe(1)
  expect(await (what === 'a site' ? store.forgetSite('yard') : store.forgetBefore(T0))).toBe(2)
  expect(store.stats()).toMatchObject({ unsealed: 1, sealed: 0 })
  expect((await store.check()).faults).toEqual([])
  await store.close()
  const again = openStore(dir, { clock, sealAfterMs: 0 })
  expect([...(await again.latest(['yard/a', 'yard/b', 'pit/c'])).keys()]).toEqual(['pit/c'])
  expect(again.commit([reading('yard/a', T0 - 60_000, 1)])).toEqual({ stored: 1, duplicate: 0, conflict: 0 })
  expect((await again.check()).faults).toEqual([])
})

test('a site whose signals came last, forgotten just before a round ends, leaves nothing that looks like damage after a restart', async () => {
  const dir = tempFolder()
  const clock = handClock(T0)
  clock.perLookMs = 1
  const store = openStore(dir, { clock, sealAfterMs: 0 })
  store.commit([reading('pit/c', T0, 1), reading('yard/a', T0, 1), reading('yard/b', T0, 1)])
  clock.advance(1)
  while (store.stats().sealed < 3) store.sealStep(0)
  expect(await store.forgetSite('yard')).toBe(2)
  await store.close()
  const again = openStore(dir, { clock, sealAfterMs: 0 })
  expect(again.trouble()).toBeNull()
  again.commit([reading('yard/new', T0, 2), reading('yard/b', T0, 3)])
  await again.sealAll()
  expect((await again.range('yard/new', 0, T0 * 2, 10)).map((r) => r.value)).toEqual([2])
  expect(again.stats()).toMatchObject({ signals: 3, sealed: 3, unsealed: 0 })
  expect((await again.check()).faults).toEqual([])
})

test('whatever is sent, sealed, restarted and forgotten, in whatever order, the store holds what a list would', async () => {
  const batch = fc.array(
    fc.record({
      signal: fc.nat(4),
      at: fc.oneof(
        fc.nat(60).map((n) => n * 20_000),
        fc.nat(1_200_000),
      ),
      value: fc.integer({ min: 0, max: 3 }),
    }),
    { maxLength: 40 },
  )
  const step = fc.oneof(
    { weight: 8, arbitrary: fc.record({ what: fc.constant('commit' as const), batch, at: fc.nat(60) }) },
    { weight: 6, arbitrary: fc.record({ what: fc.constant('seal' as const), batch: fc.constant([]), at: fc.nat(60) }) },
    { weight: 2, arbitrary: fc.record({ what: fc.constant('restart' as const), batch: fc.constant([]), at: fc.nat(60) }) },
    { weight: 1, arbitrary: fc.record({ what: fc.constant('forget' as const), batch: fc.constant([]), at: fc.nat(60) }) },
    { weight: 1, arbitrary: fc.record({ what: fc.constant('forgetSite' as const), batch: fc.constant([]), at: fc.nat(60) }) },
  )
  const clock = handClock(T0)
  clock.perLookMs = 1
  await fc.assert(
    fc.asyncProperty(fc.array(step, { maxLength: 25 }), async (steps) => {
      const dir = tempFolder()
      const open = (): ReturnType<typeof openEmbedded> => openEmbedded({ dir, clock, sealAfterMs: 0 })
      let store = open()
      let model = new Map<string, Reading>()
      const id = (r: Reading): string => `${r.key} ${r.sourceMs}`
      try {
        for (const s of steps) {
          if (s.what === 'commit') {
            const readings = s.batch.map((b) => reading(`${b.signal % 2 === 0 ? 'even' : 'odd'}/${b.signal}`, T0 + b.at, b.value))
            const expected = { stored: 0, duplicate: 0, conflict: 0 }
            for (const r of readings) {
              const held = model.get(id(r))
              if (!held) model.set(id(r), r)
              expected[held ? (held.value === r.value ? 'duplicate' : 'conflict') : 'stored']++
            }
            expect(store.commit(readings)).toEqual(expected)
          } else if (s.what === 'seal') store.sealStep(0)
          else if (s.what === 'restart') {
            await store.close()
            store = open()
          } else if (s.what === 'forget') {
            const kept = [...model].filter(([, r]) => r.sourceMs >= T0 + s.at * 20_000)
            expect(await store.forgetBefore(T0 + s.at * 20_000)).toBe(model.size - kept.length)
            model = new Map(kept)
          } else {
            const kept = [...model].filter(([, r]) => !r.key.startsWith('even/'))
            expect(await store.forgetSite('even')).toBe(model.size - kept.length)
            model = new Map(kept)
          }
        }
        for (let signal = 0; signal < 5; signal++) {
          const key = `${signal % 2 === 0 ? 'even' : 'odd'}/${signal}`
          const mine = [...model.values()].filter((r) => r.key === key).sort((a, b) => a.sourceMs - b.sourceMs)
          expect(await store.range(key, 0, T0 * 2, 10_000)).toEqual(mine.map(stored))
          const newest = mine.at(-1)
          expect((await store.latest([key])).get(key)).toEqual(newest && stored(newest))
          expectBuckets((await store.buckets([key], T0, T0 + 1_200_000, 7))[0]?.buckets, plainBuckets(mine, T0, T0 + 1_200_000, 7))
        }
        expect(store.stats().sealed + store.stats().unsealed).toBe(model.size)
        expect((await store.check()).faults).toEqual([])
      } finally {
        await store.close()
      }
    }),
    { numRuns: 60 },
  )
}, 60_000)
