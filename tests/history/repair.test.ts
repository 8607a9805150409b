import Database from 'better-sqlite3'
import { readdirSync, readFileSync, statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { expect, test } from 'vitest'
import type { HistoryReading } from '../../gateway/history/history.ts'
import { reading } from '../history.contract.ts'
import { history } from './shell.ts'
import { openStore, tempFolder } from './store.ts'

const T0 = Date.UTC(2026, 0, 5, 6)
const KEYS = Array.from({ length: 12 }, (_, k) => `yard-${k % 3}/s${k}`)

/** Twelve signals, sealed, with a correction, an unsealed tail and an import behind them. */
async function whole(): Promise<{ dir: string; held: Map<string, readonly HistoryReading[]> }> {
  const dir = tempFolder()
  const store = openStore(dir)
  for (const key of KEYS)
    store.commit(
      Array.from({ length: 3_000 }, (_, i) =>
        reading(key, T0 + i * 10_000, Math.sin(i * (1 + KEYS.indexOf(key))), i % 7 === 0 ? { quality: 'uncertain', sub: 'qc_suspect', qc: 3 } : {}),
      ),
    )
  store.commit([reading('yard-0/s0', T0, 99)])
  store.markImported('yard-1/s1', T0 + 500)
  await store.sealAll()
  store.commit(KEYS.map((key) => reading(key, T0 + 9e7, 1)))
  const held = new Map<string, readonly HistoryReading[]>()
  for (const key of KEYS) held.set(key, await store.range(key, 0, T0 * 2, 100_000))
  await store.close()
  return { dir, held }
}

function change(dir: string, sql: string): void {
  const db = new Database(join(dir, 'history.db'))
  db.function('flipped', (bytes) => Buffer.from(bytes as Buffer).fill(0xa5, 100, 101))
  expect(db.prepare(sql).run().changes).toBeGreaterThan(0)
  db.close()
}

const kept = async (dir: string, keys: readonly string[] = KEYS): Promise<Map<string, readonly HistoryReading[]>> => {
  const store = openStore(dir)
  expect(await store.check()).toMatchObject({ faultCount: 0 })
  const out = new Map<string, readonly HistoryReading[]>()
  for (const key of keys) out.set(key, await store.range(key, 0, T0 * 2, 100_000))
  await store.close()
  return out
}

test('of a whole history everything is kept: readings, unsealed ones, corrections, what was imported, the floor; without --write nothing is changed', async () => {
  const { dir, held } = await whole()
  const bytes = readFileSync(join(dir, 'history.db'))
  expect(await history(['repair', '--data', dir])).toEqual({ code: 0, out: '36012 readings of 12 signals can be kept, nothing is lost\nnothing was changed\n', err: '' })
  expect(readFileSync(join(dir, 'history.db')).equals(bytes)).toBe(true)
  const floor = openStore(dir)
  const floorMs = floor.floorMs()
  await floor.close()
  const ran = await history(['repair', '--write', '--data', dir])
  expect(ran.out).toMatch(
    /^36012 readings of 12 signals kept, nothing is lost\nthe new file passed the check \(\d+ blocks\); the damaged one is history-before-repair\.db in the same folder\n$/,
  )
  expect(await kept(dir)).toEqual(held)
  const store = openStore(dir)
  expect((await store.corrections('yard-0/s0', 0, T0 * 2, 10)).map((r) => r.value)).toEqual([99])
  expect([store.importedUntilMs('yard-1/s1'), store.floorMs(), store.stats().conflicts]).toEqual([T0 + 500, floorMs, 1])
  await store.close()
  expect(readdirSync(dir).filter((n) => n.startsWith('repair-'))).toEqual([])
  expect(statSync(join(dir, 'history-before-repair.db')).size).toBeGreaterThan(0)
})

test('a damaged block costs its own readings and no other, is named, and keeps its bytes', async () => {
  const { dir, held } = await whole()
  const second = '(SELECT id FROM block ORDER BY id LIMIT 1 OFFSET 1)'
  change(dir, `UPDATE block SET packed = flipped(packed) WHERE id = ${second}`)
  const db = new Database(join(dir, 'history.db'), { readonly: true })
  const { n, first_ms, last_ms } = db.prepare<[], { n: number; first_ms: number; last_ms: number }>(`SELECT n, first_ms, last_ms FROM block WHERE id = ${second}`).get() ?? {
    n: 0,
    first_ms: 0,
    last_ms: 0,
  }
  db.close()
  const dry = await history(['repair', '--data', dir])
  expect(dry).toMatchObject({ code: 1, err: expect.stringMatching(/^yard-0\/s0: block \d+: its checksum does not fit its bytes \(\d+ readings\)\n$/) as string })
  expect(dry.out).toBe(`${36_012 - n} readings of 12 signals can be kept, ${n} lost\nnothing was changed: --write does it\n`)
  expect((await history(['repair', '--write', '--data', dir])).code).toBe(1)
  const expected = new Map(held)
  expected.set(
    'yard-0/s0',
    (held.get('yard-0/s0') ?? []).filter((r) => r.sourceMs < first_ms || r.sourceMs > last_ms),
  )
  expect(await kept(dir)).toEqual(expected)
  const after = new Database(join(dir, 'history.db'), { readonly: true })
  expect(after.prepare<[], number>('SELECT length(bytes) FROM damaged').pluck().all()).toHaveLength(1)
  after.close()
})

test('a signal whose name is lost keeps its readings under a made one', async () => {
  const { dir, held } = await whole()
  change(dir, "DELETE FROM signal WHERE key = 'yard-2/s5'")
  const ran = await history(['repair', '--write', '--data', dir])
  expect(ran.err).toContain('recovered/signal-6: the name of this signal is lost: its readings are kept under this one\n')
  const got = await kept(dir, ['yard-2/s5', 'recovered/signal-6', 'yard-0/s0'])
  expect([got.get('yard-2/s5'), got.get('recovered/signal-6'), got.get('yard-0/s0')]).toEqual([[], held.get('yard-2/s5'), held.get('yard-0/s0')])
})

test('an inbox row cut off keeps what stood before the fault, figures beside a block that are wrong are counted anew', async () => {
  const { dir, held } = await whole()
  change(dir, 'UPDATE inbox SET frames = substr(frames, 1, length(frames) - 3)')
  change(dir, 'UPDATE block SET sum = sum + 1, max = 7')
  const ran = await history(['repair', '--write', '--data', dir])
  expect(ran.err).toMatch(/^inbox: row \d+ cannot be read to its end; what stood before the fault is kept\n$/)
  const got = await kept(dir)
  for (const key of KEYS.slice(0, -1)) expect(got.get(key)).toEqual(held.get(key))
})

test('pages of the file overwritten anywhere: what is kept is true, most is kept, and the new file is whole', async () => {
  let seed = 12_345
  const next = (below: number): number => (seed = (seed * 48_271) % 2_147_483_647) % below
  const { dir: first, held } = await whole()
  const sound = readFileSync(join(first, 'history.db'))
  let leftInAll = 0
  let refused = 0
  for (let trial = 0; trial < 8; trial++) {
    const dir = tempFolder()
    const file = join(dir, 'history.db')
    const bytes = Buffer.from(sound)
    const pages = bytes.length / 4096
    const hurt = Array.from({ length: 1 + next(3) }, () => 1 + next(pages - 1))
    for (const p of hurt) for (let i = 0; i < 4096; i++) bytes[p * 4096 + i] = trial % 2 === 0 ? next(256) : 0
    writeFileSync(file, bytes)
    const ran = await history(['repair', '--write', '--data', dir])
    const where = `pages ${hurt.join(' ')} of ${pages}`
    if (ran.err.includes('put back the last backup')) {
      refused++
      continue
    }
    expect(ran.err, where).not.toContain('left as it was')
    const store = openStore(dir)
    expect((await store.check()).faultCount, where).toBe(0)
    let left = 0
    for (const key of store.keys()) {
      const id = /^recovered\/signal-(\d+)$/.exec(key)?.[1]
      const source = new Map((held.get(id === undefined ? key : (KEYS[Number(id) - 1] ?? '')) ?? []).map((r) => [r.sourceMs, r]))
      for (const r of await store.range(key, 0, T0 * 2, 100_000)) {
        // Compared as text: a hundred thousand matchers take their time.
        if (JSON.stringify(r) !== JSON.stringify(source.get(r.sourceMs))) expect(r, `${where}, ${key}`).toEqual(source.get(r.sourceMs))
        left++
      }
    }
    if (ran.code === 0) expect(left, where).toBe(36_012)
    leftInAll += left
    await store.close()
  }
  // One to three pages of some sixty; a page of the tree above the blocks takes the blocks below it along.
  expect(refused).toBeLessThanOrEqual(1)
  expect(leftInAll).toBeGreaterThan(0.7 * 36_012 * (8 - refused))
})

test('a file whose beginning is gone, a history in use, and no history at all are each told, and nothing is touched', async () => {
  const { dir } = await whole()
  const file = join(dir, 'history.db')
  const bytes = readFileSync(file)
  bytes.fill(0xa5, 0, 4096)
  writeFileSync(file, bytes)
  expect(await history(['repair', '--write', '--data', dir])).toMatchObject({ code: 1, err: expect.stringContaining('put back the last backup') as string })
  expect(readFileSync(file).equals(bytes)).toBe(true)
  const other = (await whole()).dir
  const store = openStore(other)
  expect((await history(['repair', '--data', other])).err).toContain('open in another process')
  await store.close()
  expect((await history(['repair', '--data', tempFolder()])).err).toContain('there is no history in')
})
