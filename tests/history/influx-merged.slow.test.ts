import fc from 'fast-check'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { createMerged } from '../../gateway/history/merged.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import { expectBuckets, plainBuckets, reading, stored } from '../history.contract.ts'
import { realClock } from '../intake/parts.ts'
import { drained, forwardTo, openRecord } from './influx.ts'
import { createInfluxd, influxdPath, withoutInfluxd, type Influxd } from './influxd.ts'
import { handClock, openStore, tempFolder } from './store.ts'

const T0 = Date.UTC(2026, 0, 5, 6)
const HOUR_MS = 3_600_000

describe.skipIf(influxdPath === null)(`one history from the embedded store and InfluxDB${withoutInfluxd}`, () => {
  let influxd: Influxd | null = null
  let made = 0
  beforeAll(async () => {
    influxd = await createInfluxd()
    await influxd.start()
  })
  afterAll(() => influxd?.remove())
  const server = (): Influxd => {
    if (!influxd) throw new Error('influxd was not started')
    return influxd
  }

  test('whatever was forwarded, forgotten here and came late after, every trend and range counts each reading once', async () => {
    const to = { url: server().url, database: `merged ${made++}`, user: null, password: null }
    const record = openRecord(to)
    const value = fc.integer({ min: -500, max: 900 }).map((n) => n / 10)
    const some = (from: number, most: number): fc.Arbitrary<Reading[]> =>
      fc
        .uniqueArray(fc.record({ at: fc.integer({ min: 0, max: 1_000 }), value, bad: fc.boolean() }), { selector: (r) => r.at, maxLength: most })
        .map((all) => all.map((r) => reading('', T0 + r.at * 2_000 + from, r.value, r.bad ? { quality: 'bad', sub: 'sensor_failure', qc: 4 } : {})))
    let run = 0
    await fc.assert(
      fc.asyncProperty(
        some(0, 120),
        some(1, 40),
        some(2, 40),
        fc.integer({ min: 0, max: 2_000_000 }),
        fc.integer({ min: -100_000, max: 2_000_000 }),
        fc.integer({ min: 1, max: 2_200_000 }),
        fc.integer({ min: 1, max: 200 }),
        async (early, late, pending, cut, start, span, points) => {
          const key = `yard/${run++}`
          const named = (all: readonly Reading[]): Reading[] => all.map((r) => ({ ...r, key }))
          const clock = handClock(T0 - HOUR_MS)
          const store = openStore(tempFolder(), { clock })
          const f = forwardTo(to, store)
          store.commit(named(early))
          await drained(f)
          await store.forgetBefore(T0 + cut)
          store.commit(named(late))
          await drained(f)
          await f.stop()
          // Not in InfluxDB yet.
          store.commit(named(pending))
          const history = createMerged({ embedded: store, record, clock: realClock, drained: () => f.feed.stats().backlogBytes === 0 })
          const all = named([...early, ...late, ...pending]).sort((a, b) => a.sourceMs - b.sourceMs)
          const [fromMs, toMs] = [T0 + start, T0 + start + span]
          const inside = all.filter((r) => r.sourceMs >= fromMs && r.sourceMs < toMs).map(stored)
          expect(await history.range(key, fromMs, toMs, 1_000)).toEqual(inside)
          expect(await history.range(key, fromMs, toMs, 7)).toEqual(inside.slice(0, 7))
          expectBuckets((await history.buckets([key], fromMs, toMs, points))[0]?.buckets, plainBuckets(all, fromMs, toMs, points))
          const extent = await history.extent(key)
          expect(extent).toEqual(all.length > 0 ? { firstMs: all[0]?.sourceMs, lastMs: all.at(-1)?.sourceMs } : null)
          expect(history.trouble()).toBeNull()
          await store.close()
        },
      ),
      { numRuns: 40 },
    )
  })

  test('a new embedded store beside an old InfluxDB reaches back to what only InfluxDB holds', async () => {
    const to = { url: server().url, database: `merged ${made++}`, user: null, password: null }
    const record = openRecord(to)
    const old = Array.from({ length: 100 }, (_, i) => reading('quarry/do', T0 + i * 60_000, 5 + i / 100))
    await record.append(old)
    const store = openStore(tempFolder(), { clock: handClock(T0 + 2 * HOUR_MS) })
    const history = createMerged({ embedded: store, record, clock: realClock, drained: () => true })
    expect([...(await history.latest(['quarry/do', 'quarry/ph'])).values()].map((r) => r.value)).toEqual([5.99])
    const recent = Array.from({ length: 50 }, (_, i) => reading('quarry/do', T0 + 2 * HOUR_MS + i * 60_000, 6 + i / 100))
    store.commit(recent)
    expectBuckets((await history.buckets(['quarry/do'], T0, T0 + 4 * HOUR_MS, 7))[0]?.buckets, plainBuckets([...old, ...recent], T0, T0 + 4 * HOUR_MS, 7))
    expect((await history.range('quarry/do', T0, T0 + 4 * HOUR_MS, 1_000)).map((r) => r.value)).toEqual([...old, ...recent].map((r) => r.value))
  })

  test('with InfluxDB away the recent part is given, and what is missing is told until it answers again', async () => {
    const clock = handClock(T0 + HOUR_MS)
    const store = openStore(tempFolder(), { clock })
    const gone = openRecord({ url: 'http://127.0.0.1:9', database: 'x', user: null, password: null, deadlineMs: 1_000 })
    const history = createMerged({ embedded: store, record: gone, clock, drained: () => true })
    store.commit([reading('quarry/do', T0 + 2 * HOUR_MS, 6)])
    expect((await history.range('quarry/do', T0, T0 + 4 * HOUR_MS, 10)).map((r) => r.value)).toEqual([6])
    expect((await history.buckets(['quarry/do'], T0, T0 + 4 * HOUR_MS, 4))[0]?.buckets.map((b) => b.count)).toEqual([0, 0, 1, 0])
    expect(history.trouble()).toMatch(/^A trend just asked for lacks what lies before the embedded history: InfluxDB at 127\.0\.0\.1:9/)
    // It is about that question: a minute later nobody misses anything.
    clock.advance(61_000)
    expect(history.trouble()).toBeNull()
  })
})
