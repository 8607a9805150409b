import { afterEach, beforeEach, expect, test } from 'vitest'
import { newEntrySchema } from '../../gateway/log/entry.ts'
import { openSiteLog } from '../../gateway/log/site-log.ts'
import { makeDisk, type Disk } from '../alarms/disk.ts'
import { handClock } from '../alarms/yard.ts'

let disk: Disk
beforeEach(() => {
  disk = makeDisk()
})
afterEach(() => disk.remove())

const all = { fromMs: 0, toMs: 2 ** 45, limit: 100 }

test('an entry comes back with its number, who wrote it and when, and nothing it did not say', async () => {
  const clock = handClock()
  const { db } = await disk.open()
  const log = openSiteLog(db, clock)
  const kit = await log.add({ site: 'gravel-yard-2', kind: 'kit', atMs: 1000, about: 'tu', item: 'alkalinity', value: 85, unit: 'mg/L', below: false }, 'A. Reyes')
  expect(kit).toEqual({
    id: 1,
    site: 'gravel-yard-2',
    kind: 'kit',
    atMs: 1000,
    about: 'tu',
    item: 'alkalinity',
    value: 85,
    unit: 'mg/L',
    below: false,
    by: 'A. Reyes',
    recordedMs: clock.nowMs(),
  })
  const note = await log.add({ site: 'gravel-yard-2', kind: 'observation', atMs: 2000, item: 'foam', text: 'white, a hand high' }, 'J. Orme')
  expect(await log.list(all)).toEqual([note, kit])
})

test('entries are listed newest first by when it happened, narrowed to site, span and number', async () => {
  const { db } = await disk.open()
  const log = openSiteLog(db, handClock())
  for (const [site, atMs] of [
    ['a', 3000],
    ['a', 1000],
    ['b', 2000],
    ['a', 3000],
  ] as const)
    await log.add({ site, kind: 'note', atMs, text: 'x' }, 'J. Orme')
  const ids = async (q: Partial<Parameters<typeof log.list>[0]>): Promise<number[]> => (await log.list({ ...all, ...q })).map((e) => e.id)
  expect(await ids({})).toEqual([4, 1, 3, 2])
  expect(await ids({ site: 'a' })).toEqual([4, 1, 2])
  expect(await ids({ fromMs: 1000, toMs: 3000 })).toEqual([3, 2])
  expect(await ids({ limit: 1 })).toEqual([4])
})

test('a wrong entry is put right by a later one and stays readable itself', async () => {
  const { db } = await disk.open()
  const log = openSiteLog(db, handClock())
  const wrong = await log.add({ site: 'a', kind: 'refill', atMs: 1000, about: 'acid', item: 'acid', value: 6, unit: 'L' }, 'J. Orme')
  const right = await log.add({ site: 'a', kind: 'refill', atMs: 1000, about: 'acid', item: 'acid', value: 60, unit: 'L', corrects: wrong.id }, 'J. Orme')
  expect(await log.list(all)).toEqual([right, wrong])
})

test('an entry that corrects nothing, or an entry of another site, is refused in a sentence and not written', async () => {
  const { db } = await disk.open()
  const log = openSiteLog(db, handClock())
  await log.add({ site: 'b', kind: 'note', atMs: 1, text: 'x' }, 'J. Orme')
  await expect(log.add({ site: 'a', kind: 'note', atMs: 1, text: 'y', corrects: 1 }, 'J. Orme')).rejects.toThrow('entry 1 is none of the log of a')
  await expect(log.add({ site: 'a', kind: 'note', atMs: 1, text: 'y', corrects: 2 }, 'J. Orme')).rejects.toThrow('entry 2 is none of the log of a')
  expect(await log.list(all)).toHaveLength(1)
})

test('entries added at the same time each get their own number, and numbers go on after a restart', async () => {
  const first = await disk.open()
  const log = openSiteLog(first.db, handClock())
  const made = await Promise.all(Array.from({ length: 20 }, (_, i) => log.add({ site: 'a', kind: 'note', atMs: i, text: `n ${i}` }, 'J. Orme')))
  expect(new Set(made.map((e) => e.id)).size).toBe(20)
  await first.db.destroy()
  const second = await disk.open()
  expect((await openSiteLog(second.db, handClock()).add({ site: 'a', kind: 'note', atMs: 1, text: 'x' }, 'J. Orme')).id).toBe(21)
})

test.each([
  [{ kind: 'note' }, 'an entry says something: what, how much, or a sentence'],
  [{ kind: 'kit', value: 7 }, 'a kit or laboratory value needs what was measured, such as alkalinity or pH'],
  [{ kind: 'kit', item: 'alkalinity' }, 'a value of alkalinity is missing'],
  [{ kind: 'kit', item: 'pH', value: 72 }, 'a pH of 72: 0 to 14 is the scale'],
  [{ kind: 'kit', item: 'ammonium', value: -3 }, 'ammonium of -3: less than nothing cannot be measured'],
  [{ kind: 'interlock-proved' }, 'which protection was proved is missing'],
  [{ kind: 'refill', value: 20 }, 'what it was done to is missing'],
  [{ kind: 'note', text: 'x', atMs: 0 }, 'a time after the year 2000, in ms since 1970 UTC'],
])('%j is refused in a sentence', (given, sentence) => {
  expect(newEntrySchema.safeParse({ site: 'a', atMs: Date.UTC(2026, 2, 1), ...given }).error?.issues[0]?.message).toBe(sentence)
})

test.each([
  [{ kind: 'visit-in' }],
  [{ kind: 'interlock-proved', about: 'acid-max-run' }],
  [{ kind: 'kit', item: 'redox', value: -40 }],
  [{ kind: 'kit', item: 'phosphate', value: 0.5, below: true }],
  [{ kind: 'calibration', about: 'tu', text: 'in air' }],
  [{ kind: 'refill', item: 'acid' }],
])('%j says enough', (given) => {
  expect(newEntrySchema.safeParse({ site: 'a', atMs: Date.UTC(2026, 2, 1), ...given }).success).toBe(true)
})

test('a field nobody knows is no field', () => {
  expect(newEntrySchema.safeParse({ site: 'a', kind: 'note', atMs: Date.UTC(2026, 2, 1), text: 'x', colour: 'brown' }).success).toBe(false)
})
