import Database from 'better-sqlite3'
import { join } from 'node:path'
import { expect, test } from 'vitest'
import { reading } from '../history.contract.ts'
import { openStore, tempFolder } from './store.ts'

const T0 = Date.UTC(2026, 0, 5, 6)

/** A store of two signals in sealed blocks, changed behind its back. */
async function changed(sql: string): Promise<string> {
  const dir = tempFolder()
  const store = openStore(dir)
  for (const key of ['yard/do', 'yard/ph']) store.commit(Array.from({ length: 2_000 }, (_, i) => reading(key, T0 + i * 10_000, Math.round(100 * Math.sin(i / 50)) / 100)))
  await store.sealAll()
  store.commit([reading('yard/do', T0 + 9e7, 1)])
  await store.close()
  const db = new Database(join(dir, 'history.db'))
  db.function('flipped', (bytes) => Buffer.from(bytes as Buffer).fill(0xa5, 100, 101))
  expect(db.prepare(sql).run().changes).toBeGreaterThan(0)
  db.close()
  return dir
}
const second = '(SELECT id FROM block ORDER BY id LIMIT 1 OFFSET 1)'

test('an untouched store passes the check with every block and reading counted', async () => {
  const dir = await changed('UPDATE signal SET key = key')
  expect(await openStore(dir).check()).toEqual({ blocks: 16, readings: 4_001, inboxRows: 1, faultCount: 0, faults: [] })
})

test('a changed byte in a block is found by the check, with the signal it belongs to', async () => {
  const dir = await changed(`UPDATE block SET packed = flipped(packed) WHERE id = ${second}`)
  const { faults, faultCount } = await openStore(dir).check()
  expect(faultCount).toBe(1)
  expect(faults[0]).toMatchObject({ where: 'yard/do', what: expect.stringMatching(/checksum/) })
})

test.each([
  ['max = max + 0.01', /max is written as/],
  ['sum = sum + 1', /sum is written as/],
  ['n = n - 1', /n is written as/],
  ['worst = 2', /worst is written as/],
  ['last_ms = last_ms - 10000', /last_ms is written as/],
  ['first = NULL', /first is written as null/],
])('figures that do not fit their readings are found by the check: %s', async (change, what) => {
  const dir = await changed(`UPDATE block SET ${change} WHERE id = ${second}`)
  expect((await openStore(dir).check()).faults).toContainEqual({ where: 'yard/do', what: expect.stringMatching(what) })
})

test('blocks of no signal, in the wrong place, or overlapping are found by the check', async () => {
  const orphan = await changed("DELETE FROM signal WHERE key = 'yard/ph'")
  expect((await openStore(orphan).check()).faults[0]?.what).toMatch(/belongs to no signal/)
  const moved = await changed(`UPDATE block SET id = id + 1 WHERE id = ${second}`)
  expect((await openStore(moved).check()).faults).toContainEqual({ where: 'yard/do', what: expect.stringMatching(/does not fit its first reading/) })
  const longer = await changed(`UPDATE block SET last_ms = last_ms + 60000 WHERE id = ${second}`)
  expect((await openStore(longer).check()).faults).toContainEqual({ where: 'yard/do', what: expect.stringMatching(/overlaps the block before/) })
})

test('an inbox row that cannot be read is found by the check, and the readings before it still count', async () => {
  const dir = await changed('UPDATE inbox SET frames = substr(frames, 1, length(frames) - 3)')
  const store = openStore(dir)
  expect(store.trouble()).toMatch(/inbox/)
  expect((await store.check()).faults[0]).toMatchObject({ where: 'inbox' })
  expect(await store.range('yard/do', 0, T0 * 2, 5_000)).toHaveLength(2_000)
})

test('a damaged block leaves a gap that is told, keeps nothing else from being read, and is set aside when readings are added to it', async () => {
  const dir = await changed(`UPDATE block SET packed = flipped(packed) WHERE id = ${second}`)
  const db = new Database(join(dir, 'history.db'), { readonly: true })
  const lost = db.prepare<[], number>(`SELECT n FROM block WHERE id = ${second}`).pluck().get() ?? 0
  db.close()
  const store = openStore(dir)
  expect(store.trouble()).toBeNull()
  expect(await store.range('yard/do', 0, T0 * 2, 5_000)).toHaveLength(2_001 - lost)
  expect(store.trouble()).toMatch(/[Dd]amaged/)
  expect(store.commit([reading('yard/do', T0 + 260 * 10_000 + 1, 5)]).stored).toBe(1)
  await store.sealAll()
  expect(await store.range('yard/do', 0, T0 * 2, 5_000)).toHaveLength(2_002 - lost)
  expect(await store.check()).toMatchObject({ faultCount: 0, readings: 4_002 - lost })
  expect(store.stats().sealed).toBe(4_002 - lost)
})
