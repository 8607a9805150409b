/**
 * What every store of readings must do, as tests: run against each store and each state it can be in. Expectations are
 * worked out here from the readings themselves, plainly and slowly.
 */
import fc from 'fast-check'
import { describe, expect, onTestFinished, test } from 'vitest'
import type { Bucket, History, HistoryReading } from '../gateway/history/history.ts'
import { keyOf, type QcFlag, type Quality, type QualitySub, type Reading } from '../gateway/site/reading.ts'

export interface Subject {
  readonly history: History
  close(): Promise<void>
}

const T0 = Date.UTC(2026, 0, 5, 6, 0, 0)

export function reading(key: string, sourceMs: number, value: number | null, more: Partial<Reading> = {}): Reading {
  return {
    key,
    sourceMs,
    receivedMs: sourceMs + 180,
    value,
    quality: value === null ? 'bad' : 'good',
    sub: value === null ? 'missing' : 'ok',
    qc: value === null ? 9 : 1,
    clock: 'ok',
    live: true,
    ...more,
  }
}

/** What should come back of a reading. */
export const stored = (r: Reading): HistoryReading => ({ sourceMs: r.sourceMs, receivedMs: r.receivedMs, value: r.value, quality: r.quality, sub: r.sub, qc: r.qc })

const RANK: Record<Quality, number> = { good: 0, uncertain: 1, bad: 2 }

/** The spans of a trend, straight from the words of the port. */
export function plainBuckets(readings: readonly Reading[], fromMs: number, toMs: number, points: number): Bucket[] {
  const bucketMs = Math.ceil((toMs - fromMs) / points)
  const ascending = [...readings].sort((a, b) => a.sourceMs - b.sourceMs)
  const out: Bucket[] = []
  for (let start = fromMs; start < toMs; start += bucketMs) {
    const all = ascending.filter((r) => r.sourceMs >= start && r.sourceMs < Math.min(start + bucketMs, toMs))
    const values = all.flatMap((r) => (r.quality === 'bad' || r.value === null ? [] : [r.value + 0]))
    const worst = all.reduce<Quality | null>((w, r) => (w === null || RANK[r.quality] > RANK[w] ? r.quality : w), null)
    out.push({
      fromMs: start,
      count: values.length,
      bad: all.length - values.length,
      min: values.length > 0 ? Math.min(...values) + 0 : null,
      max: values.length > 0 ? Math.max(...values) + 0 : null,
      mean: values.length > 0 ? values.reduce((s, v) => s + v / values.length, 0) : null,
      first: values[0] ?? null,
      last: values.at(-1) ?? null,
      worst,
    })
  }
  return out
}

/** Means may differ in the last digits: sums are taken in another order. */
export function expectBuckets(found: readonly Bucket[] | undefined, expected: readonly Bucket[]): void {
  expect(found?.map((b) => ({ ...b, mean: b.mean === null ? null : 'some' }))).toEqual(expected.map((b) => ({ ...b, mean: b.mean === null ? null : 'some' })))
  expected.forEach((b, i) => {
    if (b.mean === null || b.min === null || b.max === null) return
    const mean = found?.[i]?.mean ?? Number.NaN
    expect(Math.abs(mean - b.mean)).toBeLessThanOrEqual(1e-9 * Math.max(Math.abs(b.min), Math.abs(b.max)))
    expect(mean).toBeGreaterThanOrEqual(b.min)
    expect(mean).toBeLessThanOrEqual(b.max)
  })
}

const anyQuality = fc.constantFrom<Quality>('good', 'uncertain', 'bad')
const anySub = fc.constantFrom<QualitySub>('ok', 'qc_suspect', 'not_accurate', 'sensor_failure', 'missing', 'clock_suspect')
const anyQc = fc.constantFrom<QcFlag>(1, 2, 3, 4, 9)
const anyValue = fc.oneof(
  { weight: 4, arbitrary: fc.integer({ min: -4000, max: 14_000 }).map((n) => n / 100) },
  { weight: 2, arbitrary: fc.double({ noNaN: true, noDefaultInfinity: true }) },
  { weight: 1, arbitrary: fc.constant(null) },
)
/** Readings of one key at distinct times near each other, in any order. */
const someReadings = (key: string, most: number): fc.Arbitrary<Reading[]> =>
  fc
    .uniqueArray(
      fc.record({
        at: fc.oneof(
          fc.integer({ min: 0, max: 3_000 }).map((s) => s * 1_000),
          fc.integer({ min: 0, max: 3_000_000 }),
        ),
        lag: fc.integer({ min: -5_000, max: 400_000 }),
        value: anyValue,
        quality: anyQuality,
        sub: anySub,
        qc: anyQc,
      }),
      { selector: (r) => r.at, maxLength: most },
    )
    .map((all) => all.map((r) => reading(key, T0 + r.at, r.value, { receivedMs: T0 + r.at + r.lag, quality: r.quality, sub: r.sub, qc: r.qc })))

const inPieces = <T>(all: readonly T[], size: number): T[][] => Array.from({ length: Math.ceil(all.length / size) }, (_, i) => all.slice(i * size, (i + 1) * size))

/** Where a store may promise less. */
export interface Allowance {
  /** Latest source time it can hold; default 2^45. A database of 64-bit ns ends in 2262. */
  readonly latestMs?: number
}

export function historyContract(name: string, make: () => Promise<Subject>, allowance: Allowance = {}): void {
  const latestMs = allowance.latestMs ?? 2 ** 45
  describe(name, () => {
    const open = async (): Promise<History> => {
      const subject = await make()
      onTestFinished(() => subject.close())
      return subject.history
    }

    test('a reading comes back with its value, both times, quality, reason and flag', async () => {
      const h = await open()
      const plain = reading('quarry-yard/do', T0, 6.25)
      const doubtful = reading('quarry-yard/do', T0 + 10_000, 6.31, { receivedMs: T0 + 310_000, quality: 'uncertain', sub: 'not_accurate', qc: 3 })
      const none = reading('quarry-yard/do', T0 + 20_000, null, { sub: 'sensor_failure' })
      expect(await h.append([plain, doubtful, none])).toEqual({ stored: 3, duplicate: 0, conflict: 0 })
      expect(await h.range('quarry-yard/do', T0, T0 + 60_000, 100)).toEqual([plain, doubtful, none].map(stored))
      expect(await h.append([])).toEqual({ stored: 0, duplicate: 0, conflict: 0 })
    })

    test('the same reading again is dropped and counted, whether in the same batch, at once, or long after', async () => {
      const h = await open()
      const a = reading('depot/ph', T0, 7.41)
      const none = reading('depot/ph', T0 + 1_000, null)
      expect(await h.append([a, none, a])).toEqual({ stored: 2, duplicate: 1, conflict: 0 })
      expect(await h.append([{ ...a, receivedMs: a.receivedMs + 60_000 }, none])).toEqual({ stored: 0, duplicate: 2, conflict: 0 })
      await h.append(Array.from({ length: 50 }, (_, i) => reading('depot/ph', T0 + 60_000 + i * 1_000, 7.4)))
      expect(await h.append([a])).toEqual({ stored: 0, duplicate: 1, conflict: 0 })
      expect((await h.range('depot/ph', T0, T0 + 10_000, 100)).map((r) => [r.value, r.receivedMs])).toEqual([
        [7.41, a.receivedMs],
        [null, none.receivedMs],
      ])
    })

    test('another value for the same time is counted as a conflict and the first value stays', async () => {
      const h = await open()
      const a = reading('depot/level', T0, 81.5)
      expect(await h.append([a, { ...a, value: 18.5 }])).toEqual({ stored: 1, duplicate: 0, conflict: 1 })
      expect(await h.append([{ ...a, value: null, quality: 'bad', sub: 'missing' }, reading('depot/level', T0 + 1_000, 81.4)])).toEqual({ stored: 1, duplicate: 0, conflict: 1 })
      expect(await h.append([{ ...a, value: 82 }])).toEqual({ stored: 0, duplicate: 0, conflict: 1 })
      expect((await h.range('depot/level', T0, T0 + 2_000, 10)).map((r) => r.value)).toEqual([81.5, 81.4])
    })

    test('latest gives the newest reading by source time of each key, and leaves out keys never heard of', async () => {
      const h = await open()
      await h.append([reading('a/do', T0, 5), reading('a/ph', T0 + 5_000, 7), reading('b/do', T0 + 1_000, null)])
      await h.append([reading('a/do', T0 + 20_000, 5.2), reading('a/do', T0 + 10_000, 5.1)])
      await h.append([reading('a/do', T0 - 60_000, 9.9)])
      const latest = await h.latest(['a/do', 'b/do', 'nowhere/do', 'a/ph'])
      expect([...latest.keys()].sort()).toEqual(['a/do', 'a/ph', 'b/do'])
      expect(latest.get('a/do')).toEqual(stored(reading('a/do', T0 + 20_000, 5.2)))
      expect(latest.get('b/do')?.value).toBeNull()
    })

    test('latest of thousands of keys gives each its own', async () => {
      const h = await open()
      const keys = Array.from({ length: 5_000 }, (_, i) => keyOf(`yard-${i % 125}`, `signal-${Math.floor(i / 125)}`))
      await h.append(keys.map((k, i) => reading(k, T0 + i, i / 10)))
      const latest = await h.latest(keys)
      expect(latest.size).toBe(5_000)
      expect(keys.filter((k, i) => latest.get(k)?.value !== i / 10)).toEqual([])
    })

    test('a range takes its start in and leaves its end out, ascends, and gives the earliest when limited', async () => {
      const h = await open()
      for (const piece of inPieces(
        Array.from({ length: 1_000 }, (_, i) => reading('ferry/orp', T0 + i * 10_000, 200 + i)),
        90,
      ))
        await h.append(piece)
      const times = async (fromMs: number, toMs: number, limit: number): Promise<number[]> =>
        (await h.range('ferry/orp', fromMs, toMs, limit)).map((r) => (r.sourceMs - T0) / 10_000)
      expect(await times(T0 + 100_000, T0 + 130_000, 100)).toEqual([10, 11, 12])
      expect(await times(T0 + 100_001, T0 + 130_001, 100)).toEqual([11, 12, 13])
      expect(await times(T0 - 1e9, T0 + 1e9, 4)).toEqual([0, 1, 2, 3])
      expect(await times(T0 - 1e9, T0 + 1e9, 2_000)).toEqual(Array.from({ length: 1_000 }, (_, i) => i))
      expect(await times(T0 + 9_990_000, T0 + 1e9, 5)).toEqual([999])
      expect(await times(T0 - 1e9, T0, 5)).toEqual([])
      expect(await times(T0 + 5, T0 + 5, 5)).toEqual([])
      expect(await h.range('ferry/nothing', T0, T0 + 1e9, 5)).toEqual([])
    })

    test('a trend gives count, least, greatest, mean, first, last and worst quality of each span, and bad readings count apart', async () => {
      const h = await open()
      await h.append([
        reading('hall/do', T0, 4),
        reading('hall/do', T0 + 10_000, 8, { quality: 'uncertain', sub: 'qc_suspect', qc: 3 }),
        reading('hall/do', T0 + 20_000, 3),
        reading('hall/do', T0 + 60_000, 99, { quality: 'bad', sub: 'sensor_failure', qc: 4 }),
        reading('hall/do', T0 + 70_000, null),
        reading('hall/do', T0 + 80_000, 5),
        reading('hall/do', T0 + 180_000, null),
      ])
      const [series] = await h.buckets(['hall/do'], T0, T0 + 240_000, 4)
      expect(series).toEqual({
        key: 'hall/do',
        bucketMs: 60_000,
        buckets: [
          { fromMs: T0, count: 3, bad: 0, min: 3, max: 8, mean: 5, first: 4, last: 3, worst: 'uncertain' },
          { fromMs: T0 + 60_000, count: 1, bad: 2, min: 5, max: 5, mean: 5, first: 5, last: 5, worst: 'bad' },
          { fromMs: T0 + 120_000, count: 0, bad: 0, min: null, max: null, mean: null, first: null, last: null, worst: null },
          { fromMs: T0 + 180_000, count: 0, bad: 1, min: null, max: null, mean: null, first: null, last: null, worst: 'bad' },
        ],
      })
    })

    test('the first and last of a span count from the first and last reading that is not bad, also when one of them came late', async () => {
      const h = await open()
      const bad = { quality: 'bad', sub: 'sensor_failure', qc: 4 } as const
      await h.append([reading('hall/ph', T0, 3, bad), reading('hall/ph', T0 + 20_000, 7.1), reading('hall/ph', T0 + 30_000, 7.2), reading('hall/ph', T0 + 50_000, 2, bad)])
      await h.append([reading('hall/ph', T0 + 10_000, 7), reading('hall/ph', T0 + 40_000, 7.3)])
      const [series] = await h.buckets(['hall/ph'], T0, T0 + 60_000, 1)
      expect(series?.buckets).toEqual([{ fromMs: T0, count: 4, bad: 2, min: 7, max: 7.3, mean: expect.closeTo(7.15, 9) as number, first: 7, last: 7.3, worst: 'bad' }])
    })

    test('hours without readings stay empty in a trend, however long the trend', async () => {
      const h = await open()
      const day = Array.from({ length: 1_440 }, (_, i) => reading('pit/level', T0 + i * 60_000, 50 + (i % 7) / 10))
      const kept = day.filter((_, i) => i < 400 || i >= 1_000)
      for (const piece of inPieces(kept, 200)) await h.append(piece)
      const [series] = await h.buckets(['pit/level'], T0, T0 + 86_400_000, 24)
      expectBuckets(series?.buckets, plainBuckets(kept, T0, T0 + 86_400_000, 24))
      expect(series?.buckets.map((b) => b.count)).toEqual([...Array<number>(6).fill(60), 40, ...Array<number>(9).fill(0), 20, ...Array<number>(7).fill(60)])
    })

    test('span length is rounded up to a whole ms, and no span starts at or after the end', async () => {
      const h = await open()
      await h.append([0, 3, 4, 9, 10].map((ms) => reading('k/s', T0 + ms, ms)))
      const [thirds] = await h.buckets(['k/s'], T0, T0 + 10, 3)
      expect([thirds?.bucketMs, thirds?.buckets.map((b) => [b.fromMs - T0, b.count, b.last])]).toEqual([
        4,
        [
          [0, 2, 3],
          [4, 1, 4],
          [8, 1, 9],
        ],
      ])
      const [fine] = await h.buckets(['k/s'], T0, T0 + 10, 100)
      expect([fine?.bucketMs, fine?.buckets.length, fine?.buckets.filter((b) => b.count > 0).map((b) => b.fromMs - T0)]).toEqual([1, 10, [0, 3, 4, 9]])
      expect((await h.buckets(['k/s'], T0, T0, 10))[0]?.buckets).toEqual([])
    })

    test('a trend of several signals answers in the order asked, with empty spans for one never heard of', async () => {
      const h = await open()
      await h.append([reading('a/x', T0, 1), reading('a/y', T0, 2), reading('b/x', T0, 3)])
      const all = await h.buckets(['b/x', 'a/none', 'a/y', 'a/x'], T0, T0 + 1_000, 1)
      expect(all.map((s) => [s.key, s.buckets.map((b) => b.mean)])).toEqual([
        ['b/x', [3]],
        ['a/none', [null]],
        ['a/y', [2]],
        ['a/x', [1]],
      ])
    })

    test('a trend of no points, too many, or half a point is refused', async () => {
      const h = await open()
      await h.append([reading('a/x', T0, 1)])
      for (const points of [0, 5_001, -1, 1.5, Number.NaN]) await expect(h.buckets(['a/x'], T0, T0 + 1_000, points)).rejects.toThrow(/points/)
      expect((await h.buckets(['a/x'], T0, T0 + 10_000, 5_000))[0]?.buckets).toHaveLength(5_000)
    })

    test('extent gives the first and last source time held, and null for a key never heard of', async () => {
      const h = await open()
      expect(await h.extent('a/x')).toBeNull()
      await h.append([reading('a/x', T0 + 500, 1)])
      await h.append([reading('a/x', T0 + 90_000, 1), reading('a/x', T0 - 7, null)])
      expect(await h.extent('a/x')).toEqual({ firstMs: T0 - 7, lastMs: T0 + 90_000 })
    })

    test('forgetting before a time forgets exactly the readings before it', async () => {
      const h = await open()
      const all = ['a/x', 'b/y'].flatMap((k) => Array.from({ length: 2_000 }, (_, i) => reading(k, T0 + i * 60_000, i)))
      for (const piece of inPieces([...all, reading('c/old', T0, 1)], 700)) await h.append(piece)
      expect(await h.forgetBefore(T0 + 900 * 60_000)).toBe(1_801)
      for (const k of ['a/x', 'b/y']) {
        expect((await h.range(k, 0, T0 * 2, 5_000)).map((r) => r.value)).toEqual(Array.from({ length: 1_100 }, (_, i) => 900 + i))
        expect(await h.extent(k)).toEqual({ firstMs: T0 + 900 * 60_000, lastMs: T0 + 1_999 * 60_000 })
      }
      expect((await h.latest(['c/old', 'a/x'])).get('c/old')).toBeUndefined()
      expect((await h.buckets(['a/x'], T0, T0 + 2_000 * 60_000, 2))[0]?.buckets.map((b) => b.count)).toEqual([100, 1_000])
      expect(await h.append([reading('c/old', T0 + 1, 4), reading('a/x', T0 + 950 * 60_000, 950)])).toEqual({ stored: 1, duplicate: 1, conflict: 0 })
      expect(await h.forgetBefore(T0 - 1)).toBe(0)
    })

    test('forgetting a site forgets all of it and nothing of a site whose name begins the same', async () => {
      const h = await open()
      for (const site of ['yard', 'yard-2', 'yar']) await h.append(Array.from({ length: 300 }, (_, i) => reading(`${site}/do`, T0 + i * 10_000, i / 10)))
      await h.append([reading('yard/ph', T0, 7)])
      expect(await h.forgetSite('yard')).toBe(301)
      expect([...(await h.latest(['yard/do', 'yard/ph', 'yard-2/do', 'yar/do'])).keys()].sort()).toEqual(['yar/do', 'yard-2/do'])
      expect(await h.range('yard/do', 0, T0 * 2, 10)).toEqual([])
      expect(await h.range('yard-2/do', 0, T0 * 2, 1_000)).toHaveLength(300)
      expect(await h.append([reading('yard/do', T0, 3)])).toEqual({ stored: 1, duplicate: 0, conflict: 0 })
      expect((await h.range('yard/do', 0, T0 * 2, 10)).map((r) => r.value)).toEqual([3])
      expect(await h.forgetSite('nowhere')).toBe(0)
    })

    test('keys with spaces, quotes, separators and letters of any script are kept apart', async () => {
      const h = await open()
      const keys = [
        'a b/c d',
        "o'neil's yard/do",
        'say "stop"/ph',
        'back\\slash/x\\',
        'comma,equal=/a=b,c',
        'line\nbreak/tab\t',
        'größe/pH-Wert',
        '水洗い場/溶存酸素',
        '🚿/🫧',
        'a/b/c/d',
        'A/do',
        'a/do',
        ' a/do',
        '%/_',
        'null/null',
        'x/\u0000y',
      ]
      await h.append(keys.map((k, i) => reading(k, T0, i)))
      const latest = await h.latest(keys)
      expect(keys.map((k) => latest.get(k)?.value)).toEqual(keys.map((_, i) => i))
      expect(await h.forgetSite("o'neil's yard")).toBe(1)
      expect((await h.latest(keys)).size).toBe(keys.length - 1)
    })

    test('a batch with a value or a time that is none is refused whole, with the key and what would be right', async () => {
      const h = await open()
      const good = reading('a/x', T0, 1)
      const bad: Reading[] = [
        reading('a/y', T0, Number.NaN),
        reading('a/y', T0, Number.POSITIVE_INFINITY),
        reading('a/y', T0 + 0.5, 1),
        reading('a/y', -1, 1),
        reading('a/y', latestMs + 2, 1, { receivedMs: T0 }),
      ]
      for (const b of bad) await expect(h.append([good, b])).rejects.toThrow(/a\/y/)
      expect((await h.latest(['a/x', 'a/y'])).size).toBe(0)
      expect(await h.append([good])).toEqual({ stored: 1, duplicate: 0, conflict: 0 })
    })

    test('every finite double and every whole ms comes back exactly', async () => {
      const h = await open()
      let run = 0
      const odd = fc.constantFrom(
        -0,
        0,
        5e-324,
        -5e-324,
        2.2250738585072014e-308,
        Number.MAX_VALUE,
        -Number.MAX_VALUE,
        0.1,
        1 / 3,
        1e21,
        2 ** 53,
        2 ** 53 + 2,
        123456789.123456,
        1e-7,
      )
      const value = fc.oneof(
        odd,
        fc.double({ noNaN: true, noDefaultInfinity: true }),
        fc.float({ noNaN: true, noDefaultInfinity: true }),
        fc.integer({ min: -10_000, max: 10_000 }).map((n) => n / 1_000),
      )
      const time = fc.oneof(
        fc.integer({ min: 0, max: latestMs }),
        fc.constantFrom(0, 1, latestMs, 2 ** 32, 2 ** 31 - 1),
        fc.integer({ min: 0, max: 1_000_000 }).map((n) => T0 + n),
      )
      await fc.assert(
        fc.asyncProperty(fc.uniqueArray(fc.record({ t: time, received: time, value }), { selector: (r) => r.t, minLength: 1, maxLength: 60 }), async (rows) => {
          const key = `exact/${run++}`
          const all = rows.map((r) => reading(key, r.t, r.value, { receivedMs: r.received }))
          expect((await h.append(all)).stored).toBe(all.length)
          const back = await h.range(key, 0, 2 ** 45 + 1, 1_000)
          const ascending = all.sort((a, b) => a.sourceMs - b.sourceMs).map(stored)
          expect(back).toEqual(ascending)
          expect(back.every((r, i) => Object.is(r.value, ascending[i]?.value))).toBe(true)
        }),
        { numRuns: 60 },
      )
    })

    test('the mean of equal values is that value, not one beside it', async () => {
      const h = await open()
      await h.append([0, 1, 2].map((ms) => reading('a/x', T0 + ms, 0.1)))
      // Plain summing gives 0.10000000000000002 here.
      expect((await h.buckets(['a/x'], T0, T0 + 10, 1))[0]?.buckets[0]?.mean).toBe(0.1)
    })

    test('the mean of values near the largest double is still a number between them', async () => {
      const h = await open()
      const huge = Number.MAX_VALUE
      await h.append([reading('a/x', T0, huge), reading('a/x', T0 + 1, huge), reading('a/x', T0 + 60_000, -huge), reading('a/x', T0 + 60_001, -huge / 2)])
      const [series] = await h.buckets(['a/x'], T0, T0 + 120_000, 2)
      expect(series?.buckets.map((b) => b.mean)).toEqual([huge, -0.75 * huge])
      expect((await h.buckets(['a/x'], T0 - 1_000, T0 + 60_000, 1))[0]?.buckets[0]?.mean).toBe(huge)
      expect((await h.buckets(['a/x'], T0 - 1_000, T0 + 1e9, 1))[0]?.buckets[0]?.mean).toBeCloseTo(huge / 8, -300)
    })

    test('a trend over any readings, any span and any number of points is what the readings say', async () => {
      const h = await open()
      let run = 0
      await fc.assert(
        fc.asyncProperty(
          someReadings('', 300),
          fc.integer({ min: -100_000, max: 1_500_000 }),
          fc.integer({ min: 1, max: 3_500_000 }),
          fc.integer({ min: 1, max: 400 }),
          fc.integer({ min: 1, max: 300 }),
          async (readings, start, span, points, size) => {
            const key = `any/${run++}`
            const all = readings.map((r) => ({ ...r, key }))
            for (const piece of inPieces(all, size)) await h.append(piece)
            const [series] = await h.buckets([key], T0 + start, T0 + start + span, points)
            expectBuckets(series?.buckets, plainBuckets(all, T0 + start, T0 + start + span, points))
          },
        ),
        { numRuns: 40 },
      )
    })

    test('readings that arrive late, repeated and out of order end up in the same history as punctual ones', async () => {
      const h = await open()
      let run = 0
      const plan = someReadings('', 400).chain((all) =>
        fc.record({ all: fc.constant(all), arrival: fc.shuffledSubarray(all, { minLength: all.length }), again: fc.subarray(all), size: fc.integer({ min: 1, max: 120 }) }),
      )
      await fc.assert(
        fc.asyncProperty(plan, async ({ all, arrival, again, size }) => {
          run++
          const punctual = [...all].sort((a, b) => a.sourceMs - b.sourceMs)
          const outcome = { stored: 0, duplicate: 0, conflict: 0 }
          for (const piece of inPieces(punctual, size)) await h.append(piece.map((r) => ({ ...r, key: `punctual/${run}` })))
          for (const piece of inPieces([...arrival, ...again], size)) {
            const r = await h.append(piece.map((x) => ({ ...x, key: `late/${run}` })))
            outcome.stored += r.stored
            outcome.duplicate += r.duplicate
            outcome.conflict += r.conflict
          }
          expect(outcome).toEqual({ stored: all.length, duplicate: again.length, conflict: 0 })
          const keys = [`punctual/${run}`, `late/${run}`] as const
          const [first, second] = [await h.range(keys[0], 0, T0 * 2, 1_000), await h.range(keys[1], 0, T0 * 2, 1_000)]
          expect(first).toEqual(punctual.map(stored))
          expect(second).toEqual(first)
          const latest = await h.latest(keys)
          expect(latest.get(keys[1])).toEqual(latest.get(keys[0]))
          expect(await h.extent(keys[1])).toEqual(await h.extent(keys[0]))
          const [a, b] = await h.buckets(keys, T0, T0 + 3_000_000, 37)
          if (a && b) expectBuckets(b.buckets, a.buckets)
        }),
        { numRuns: 30 },
      )
    })
  })
}
