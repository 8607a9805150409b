import Database from 'better-sqlite3'
import { spawn } from 'node:child_process'
import { copyFileSync, mkdirSync, readFileSync, statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { expect, onTestFinished, test } from 'vitest'
import { backupOf, restoreTo } from '../../gateway/history/backup.ts'
import { openFile } from '../../gateway/history/file.ts'
import { HistoryRefused } from '../../gateway/history/refused.ts'
import { keyOf, type Reading } from '../../gateway/site/reading.ts'
import { reading, stored } from '../history.contract.ts'
import { handClock, openStore, tempFolder } from './store.ts'

const T0 = Date.UTC(2026, 0, 5, 6)
const rowsIn = (dir: string, table: string): number => {
  const db = new Database(join(dir, 'history.db'), { readonly: true })
  try {
    return db.prepare<[], number>(`SELECT count(*) FROM ${table}`).pluck().get() ?? 0
  } finally {
    db.close()
  }
}

test('everything committed is there after a restart, sealed or not, and repetitions are still known as such', async () => {
  const dir = tempFolder()
  const all = Array.from({ length: 900 }, (_, i) => reading(keyOf('ferry', `s${i % 3}`), T0 + i * 5_000, i / 10, { receivedMs: T0 + i * 5_000 + (i % 11) * 100 }))
  const first = openStore(dir, { sealAfterMs: 0 })
  for (const r of all.slice(0, 600)) first.commit([r])
  await first.sealAll()
  for (const r of all.slice(600)) first.commit([r])
  const before = first.stats()
  expect([before.sealed, before.unsealed]).toEqual([600, 300])
  await first.close()
  const again = openStore(dir)
  expect([again.stats().sealed, again.stats().unsealed, again.stats().signals]).toEqual([600, 300, 3])
  expect(again.commit(all)).toEqual({ stored: 0, duplicate: 900, conflict: 0 })
  for (const k of [0, 1, 2]) expect(await again.range(keyOf('ferry', `s${k}`), 0, T0 * 2, 1_000)).toEqual(all.filter((r) => r.key === keyOf('ferry', `s${k}`)).map(stored))
})

test('many small commits lie in few rows, so that a restart reads readings and not messages', async () => {
  const dir = tempFolder()
  const store = openStore(dir)
  for (let i = 0; i < 5_000; i++) store.commit([reading(`a/s${i % 7}`, T0 + i * 1_000, i)])
  expect(rowsIn(dir, 'inbox')).toBeLessThan(1_100)
  await store.close()
  const again = openStore(dir)
  expect(again.stats().unsealed).toBe(5_000)
  for (let i = 5_000; i < 7_000; i++) again.commit([reading(`a/s${i % 7}`, T0 + i * 1_000, i)])
  expect((await again.range('a/s3', 0, T0 * 2, 5_000)).map((r) => r.value)).toEqual(Array.from({ length: 1_000 }, (_, k) => 7 * k + 3))
  expect((await again.check()).faults).toEqual([])
})

test('small and large batches in any order are all there after a restart, each reading once', async () => {
  const dir = tempFolder()
  const store = openStore(dir)
  let n = 0
  for (const size of [1, 2, 2_000, 1, 1, 1, 3_000, 4_000, 700, 1, 900, 900, 900, 900, 900, 900, 900, 900, 900, 900, 1, 2_000, 5]) {
    store.commit(Array.from({ length: size }, (_, i) => reading(`a/s${(n + i) % 7}`, T0 + (n + i) * 1_000, n + i)))
    n += size
  }
  await store.close()
  const again = openStore(dir)
  expect(again.stats().unsealed).toBe(n)
  const values = (await Promise.all([0, 1, 2, 3, 4, 5, 6].map((k) => again.range(`a/s${k}`, 0, T0 * 2, n)))).flat().map((r) => r.value ?? -1)
  expect(values.sort((a, b) => a - b)).toEqual(Array.from({ length: n }, (_, i) => i))
})

test('sealing empties the inbox', async () => {
  const dir = tempFolder()
  const store = openStore(dir)
  for (let i = 0; i < 3_000; i++) store.commit([reading(`a/s${i % 5}`, T0 + i * 1_000, i)])
  await store.sealAll()
  expect(rowsIn(dir, 'inbox')).toBe(0)
  store.commit([reading('a/s0', T0 + 9e6, 1)])
  await store.close()
  expect(openStore(dir).stats()).toMatchObject({ sealed: 3_000, unsealed: 1 })
})

test('a process killed at any moment loses nothing it had committed', async () => {
  const dir = tempFolder()
  const module = new URL('../../gateway/history/embedded.ts', import.meta.url).href
  // Commits readings numbered from where the folder left off, sealing all the while, and prints each number once committed.
  const program = `
    import { writeSync } from 'node:fs'
    const tell = (text) => { for (;;) try { return writeSync(1, text) } catch (e) { if (e.code !== 'EAGAIN') throw e } }
    const { openEmbedded } = await import(${JSON.stringify(module)})
    let ms = 0
    const clock = { nowMs: () => 1e12 + ms++, steadyMs: () => ms++ }
    const store = openEmbedded({ dir: process.argv[1], clock, sealAfterMs: 0, sealAtReadings: 40 })
    const last = await store.latest(['k/0', 'k/1', 'k/2'])
    let n = Math.max(-1, ...[...last.values()].map((r) => r.value)) + 1
    for (;; n++) {
      store.commit([{ key: 'k/' + (n % 3), sourceMs: ${T0} + n * 1000, receivedMs: ${T0} + n * 1000, value: n, quality: 'good', sub: 'ok', qc: 1, clock: 'ok', live: true }])
      tell(n + '\\n')
      if (n % 5 === 0) store.sealStep(1)
    }`
  let told = -1
  for (let kill = 0; kill < 3; kill++) {
    const child = spawn(process.execPath, ['--import', 'tsx', '--input-type=module', '--eval', program, dir], { stdio: ['ignore', 'pipe', 'inherit'] })
    onTestFinished(() => void child.kill('SIGKILL'))
    const goal = told + 700 + kill * 333
    let text = ''
    await new Promise<void>((resolve, reject) => {
      child.stdout.on('data', (bytes: Buffer) => {
        text += bytes.toString()
        const whole = text.slice(0, text.lastIndexOf('\n'))
        told = Number(whole.slice(whole.lastIndexOf('\n') + 1))
        if (told >= goal) child.kill('SIGKILL')
      })
      child.on('exit', (_, signal) => (signal === 'SIGKILL' ? resolve() : reject(new Error('the child ended by itself'))))
    })
    const store = openStore(dir)
    const values = (await Promise.all([0, 1, 2].map((k) => store.range(`k/${k}`, 0, T0 * 2, 100_000)))).flat().map((r) => r.value ?? -1)
    values.sort((a, b) => a - b)
    expect(values.length).toBeGreaterThan(told)
    expect(values).toEqual(Array.from({ length: values.length }, (_, i) => i))
    expect(await store.check()).toMatchObject({ faultCount: 0 })
    expect(rowsIn(dir, 'block')).toBeGreaterThan(0)
    await store.close()
  }
})

test('a log cut off at any byte leaves a store with the first so many batches, whole, and fit for use', async () => {
  const dir = tempFolder()
  const clock = handClock(T0)
  clock.perLookMs = 1
  const store = openStore(dir, { clock, sealAfterMs: 0 })
  const batches: Reading[][] = []
  const walAfter: number[] = []
  const key = (n: number): string => `k/${n % 5}`
  for (let b = 0; b < 120; b++) {
    // Each fourth batch is late, so that sealed blocks are rewritten too.
    const at = (n: number): number => T0 + (b % 4 === 3 ? n * 60_000 - 1_800_500 : n * 60_000)
    const batch = Array.from({ length: 1 + (b % 9) }, (_, i) => reading(key(b + i), at(b * 10 + i), b))
    store.commit(batch)
    batches.push(batch)
    walAfter.push(store.stats().walBytes)
    if (b % 2 === 0) store.sealStep(0)
  }
  const names = ['history.db', 'history.db-wal']
  const wal = readFileSync(join(dir, 'history.db-wal'))
  let seed = 11
  const cuts = Array.from({ length: 60 }, () => {
    seed = (seed * 48_271) % 2_147_483_647
    return seed % wal.length
  })
  const kept = new Set<number>()
  for (const [i, cut] of [...cuts, ...walAfter.slice(40, 60)].entries()) {
    const copy = join(dir, `cut-${i}`)
    mkdirSync(copy)
    copyFileSync(join(dir, 'history.db'), join(copy, 'history.db'))
    writeFileSync(join(copy, names[1] ?? ''), wal.subarray(0, cut))
    const cutStore = openStore(copy, { clock, sealAfterMs: 0 })
    const whole = walAfter.filter((bytes) => bytes <= cut).length
    const expected = batches.slice(0, whole).flat()
    const found = (await Promise.all([0, 1, 2, 3, 4].map((k) => cutStore.range(key(k), 0, T0 * 2, 10_000)))).flat()
    expect(found.length).toBe(expected.length)
    for (const k of [0, 1, 2, 3, 4]) {
      const mine = expected.filter((r) => r.key === key(k)).sort((a, b) => a.sourceMs - b.sourceMs)
      expect(await cutStore.range(key(k), 0, T0 * 2, 10_000)).toEqual(mine.map(stored))
    }
    expect((await cutStore.check()).faults).toEqual([])
    cutStore.commit(batches.flat())
    await cutStore.sealAll()
    expect(cutStore.stats()).toMatchObject({ sealed: batches.flat().length, unsealed: 0 })
    await cutStore.close()
    kept.add(whole)
  }
  expect(kept.size).toBeGreaterThan(30)
}, 60_000)

test('a batch the disk has no room for is refused with DISK_FULL, leaves nothing, and the next goes in once there is room', async () => {
  const dir = tempFolder()
  const store = openStore(dir, { maxFileBytes: 400_000 })
  const batch = (n: number): Reading[] => Array.from({ length: 200 }, (_, i) => reading(`k/${i % 50}`, T0 + n * 200_000 + i * 1_000, n + i / 7))
  let n = 0
  let refused: unknown
  for (; n < 1_000 && refused === undefined; n++) {
    try {
      store.commit(batch(n))
    } catch (e) {
      refused = e
    }
  }
  expect(refused).toBeInstanceOf(HistoryRefused)
  expect((refused as HistoryRefused).code).toBe('DISK_FULL')
  expect((refused as HistoryRefused).message).toMatch(/free some space/)
  await expect(store.append([...batch(n - 1), reading('new/signal', T0, 1)])).rejects.toMatchObject({ code: 'DISK_FULL' })
  const held = (n - 1) * 200
  expect(store.stats()).toMatchObject({ unsealed: held, signals: 50 })
  expect((await store.latest(['k/7', 'new/signal'])).get('k/7')?.sourceMs).toBe(batch(n - 2).findLast((r) => r.key === 'k/7')?.sourceMs)
  expect(await store.range('k/7', T0 + (n - 1) * 200_000, T0 * 2, 10)).toEqual([])
  expect(store.trouble()).toBeNull()
  // Sealing needs room too: it fails, says so, and loses nothing.
  store.sealStep(1_000)
  await store.sealAll().catch((e: unknown) => expect(e).toMatchObject({ code: 'DISK_FULL' }))
  await store.close()
  const roomier = openStore(dir)
  expect(roomier.stats().unsealed + roomier.stats().sealed).toBe(held)
  expect(roomier.commit([...batch(n - 1), reading('new/signal', T0, 1)])).toEqual({ stored: 201, duplicate: 0, conflict: 0 })
  await roomier.sealAll()
  expect(roomier.stats()).toMatchObject({ sealed: held + 201, unsealed: 0, signals: 51 })
  expect(await roomier.range('k/7', T0 + (n - 1) * 200_000, T0 * 2, 10)).toHaveLength(4)
})

test('when blocks cannot be sealed for want of room, that is told and counted, and told no more when there is room', async () => {
  const dir = tempFolder()
  const store = openStore(dir, { sealAfterMs: 0, maxFileBytes: 300_000 })
  for (let i = 0; ; i++) {
    try {
      store.commit(Array.from({ length: 40 }, (_, k) => reading(`k/${i * 40 + k}`, T0 + i * 1_000, i)))
    } catch {
      break
    }
  }
  const held = store.stats().unsealed
  expect(store.sealStep(1_000)).toBe(false)
  expect(store.trouble()).toMatch(/cannot be sealed.*free some space/)
  expect(store.counters().find((c) => c.name === 'historySealFailures')?.value).toBeGreaterThan(0)
  expect(store.stats().unsealed + store.stats().sealed).toBe(held)
  await store.close()
  const roomier = openStore(dir, { sealAfterMs: 0 })
  await roomier.sealAll()
  expect(roomier.trouble()).toBeNull()
  expect(roomier.stats()).toMatchObject({ unsealed: 0, sealed: held })
})

test('a backup taken while readings come in is a history of its own, as it stood', async () => {
  const dir = tempFolder()
  const store = openStore(dir, { sealAfterMs: 0 })
  const all = Array.from({ length: 6_000 }, (_, i) => reading(`k/${i % 20}`, T0 + i * 2_000, Math.cos(i)))
  for (let i = 0; i < 3_000; i += 100) store.commit(all.slice(i, i + 100))
  await store.sealAll()
  for (let i = 3_000; i < 4_000; i += 100) store.commit(all.slice(i, i + 100))
  const copy = join(dir, 'restored')
  mkdirSync(copy)
  const done = store.backup(join(copy, 'history.db'))
  let running = true
  void done.finally(() => (running = false))
  let next = 4_000
  while (running && next < 6_000) {
    store.commit(all.slice(next, next + 10))
    next += 10
    await new Promise((resolve) => setImmediate(resolve))
  }
  await done
  await expect(store.backup(join(copy, 'history.db'))).rejects.toMatchObject({ code: 'FOLDER' })
  const restored = openStore(copy)
  const { sealed, unsealed, signals } = restored.stats()
  expect([sealed, signals]).toEqual([3_000, 20])
  expect(unsealed).toBeGreaterThanOrEqual(1_000)
  expect(await restored.check()).toMatchObject({ faultCount: 0 })
  const there = all.slice(0, sealed + unsealed)
  for (const k of [0, 7, 19]) expect(await restored.range(`k/${k}`, 0, T0 * 2, 10_000)).toEqual(there.filter((r) => r.key === `k/${k}`).map(stored))
})

test('a backup by another process comes to an end though the writer commits between all of its steps', async () => {
  const dir = tempFolder()
  const store = openStore(dir)
  for (let i = 0; i < 400; i++) store.commit(Array.from({ length: 500 }, (_, k) => reading(`k/${k}`, T0 + i * 1_000, Math.sin(i * (k + 1)))))
  await store.sealAll()
  const file = join(dir, 'copy.db')
  let done = false
  const copied = backupOf(dir, file).finally(() => (done = true))
  let commits = 0
  for (; !done && commits < 3_000; commits++) {
    store.commit([reading('k/0', T0 + 10_000_000 + commits, commits)])
    await new Promise((resolve) => setImmediate(resolve))
  }
  expect(done).toBe(true)
  await copied
  const copy = join(dir, 'restored')
  const check = await restoreTo(copy, file, handClock(T0))
  expect([check.readings, check.faultCount]).toEqual([200_000, 0])
})

test('a second store on the same folder is refused while the first is open', async () => {
  const dir = tempFolder()
  const store = openStore(dir)
  expect(() => openStore(dir)).toThrow(expect.objectContaining({ code: 'IN_USE' }))
  store.commit([reading('a/x', T0, 1)])
  await store.close()
  expect(openStore(dir).stats().unsealed).toBe(1)
})

test('a file of a newer format, a file that is none, and a folder that cannot be are refused by name', () => {
  const newer = tempFolder()
  const db = new Database(join(newer, 'history.db'))
  db.pragma('user_version = 99')
  db.close()
  expect(() => openStore(newer)).toThrow(expect.objectContaining({ code: 'NEWER_FORMAT' }))
  const other = tempFolder()
  writeFileSync(join(other, 'history.db'), 'not a history at all'.repeat(500))
  expect(() => openStore(other)).toThrow(expect.objectContaining({ code: 'CORRUPT' }))
  expect(statSync(join(other, 'history.db')).size).toBe(10_000)
  expect(() => openStore(join(other, 'history.db', 'below'))).toThrow(expect.objectContaining({ code: 'FOLDER' }))
})

test('a closed store refuses with CLOSED, and closing twice is nothing', async () => {
  const store = openStore(tempFolder())
  store.commit([reading('a/x', T0, 1)])
  await store.close()
  await store.close()
  expect(() => store.commit([reading('a/x', T0 + 1, 1)])).toThrow(expect.objectContaining({ code: 'CLOSED' }))
  await expect(store.range('a/x', 0, T0 * 2, 1)).rejects.toMatchObject({ code: 'CLOSED' })
  await expect(store.check()).rejects.toMatchObject({ code: 'CLOSED' })
})

test.each([
  ['normal', 1],
  ['full', 2],
] as const)('synchronous %s reaches the database, and commits and sealing work with it', async (synchronous, level) => {
  const dir = tempFolder()
  const file = openFile({ dir, synchronous, maxFileBytes: Number.MAX_SAFE_INTEGER })
  // SQLite's own numbers: 1 NORMAL, 2 FULL (https://www.sqlite.org/pragma.html#pragma_synchronous).
  expect(file.db.pragma('synchronous', { simple: true })).toBe(level)
  expect(file.db.pragma('journal_mode', { simple: true })).toBe('wal')
  file.close()
  const store = openStore(dir, { synchronous })
  expect(store.commit([reading('a/x', T0, 1)]).stored).toBe(1)
  await store.sealAll()
  expect(store.stats().sealed).toBe(1)
})
