import Database from 'better-sqlite3'
import { existsSync, mkdirSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { openDatabase } from '../../gateway/database.ts'
import { openEmbedded, type EmbeddedHistory } from '../../gateway/history/embedded.ts'
import { openSiteLog } from '../../gateway/log/site-log.ts'
import { reading } from '../history.contract.ts'
import { handClock } from '../history/store.ts'
import { makeServer, type Server } from './readme.ts'

const T0 = Date.UTC(2026, 0, 5, 6)
let server: Server
let store: EmbeddedHistory
let backup = ''

/** A data folder as a running server leaves it: history open and locked, state with a line in it, credentials, a site file. */
beforeAll(async () => {
  server = makeServer()
  const data = server.at('/var/lib/loopkeeper')
  store = openEmbedded({ dir: data, clock: handClock(T0) })
  store.commit(Array.from({ length: 500 }, (_, i) => reading('yard-1/tu.do', T0 + i * 1000, 6 + i / 1000)))
  await store.sealAll()
  store.commit([reading('yard-1/finished.level', T0, 64)])
  const database = await openDatabase(join(data, 'state.db'))
  await openSiteLog(database, handClock(T0)).add({ site: 'yard-1', kind: 'observation', atMs: T0, text: 'brown foam' }, 'tester')
  await database.destroy()
  server.run('first-site')
  server.sh('loopkeeper sites credential add yard-1')
  mkdirSync(server.at('/var/lib/loopkeeper/normal'), { recursive: true })
  writeFileSync(server.at('/var/lib/loopkeeper/normal/yard-1.json'), '{"tu.do":[{"value":8,"sd":0.1,"atMs":1}]}')
  mkdirSync(join(data, 'vitals', 'past'), { recursive: true })
  writeFileSync(join(data, 'vitals', 'yard-1.json'), '{"form":1,"states":{"since":{"ms":1}}}')
  writeFileSync(join(data, 'vitals', 'past', 'yard-1.json'), '{"form":1,"underWay":null,"replayedMs":1,"again":false}')
  mkdirSync(join(data, 'learned'))
  writeFileSync(join(data, 'learned', 'yard-1.json'), '{"form":1,"alarms":{"yard-1/tu.do.drift":{"median of 7 d":[[6.1,6.2]],"until":[[1]]}}}')
  writeFileSync(join(data, 'learned', 'yard-2.json.new'), '{"form":1,')
  writeFileSync(join(data, 'sessions.json'), '[]')
  const ran = server.run('backup')
  expect(ran).toMatchObject({ status: 0, err: '' })
  backup = ran.out.trim()
})
afterAll(async () => {
  await store.close()
  server.remove()
})

const inScratch = (name: string, from = backup): { readonly dir: string; readonly ran: ReturnType<Server['sh']> } => {
  const dir = server.at(`/${name}`)
  mkdirSync(dir, { recursive: true })
  return { dir, ran: server.sh(`LOOPKEEPER_DATA=${dir} loopkeeper restore ${from}`) }
}
/** A copy of the backup that may be spoiled. */
const copyOf = (name: string): string => {
  const to = server.at(`/${name}`)
  server.sh(`cp -R ${backup} ${to}`)
  return to
}
const sealAgain = (dir: string): void => void server.sh(`cd ${dir} && find . -type f ! -name SHA256SUMS -print0 | sort -z | xargs -0 sha256sum > SHA256SUMS`)

test('a backup of a running server holds history, state, credentials and site files, readable by its owner only, and no sign-in session', () => {
  expect(readdirSync(backup).sort()).toEqual(['SHA256SUMS', 'about.txt', 'history.db', 'learned', 'normal', 'site-credentials.json', 'sites', 'state.db', 'vitals'])
  expect(readdirSync(join(backup, 'sites'))).toEqual(['yard-1.yaml'])
  expect(readdirSync(join(backup, 'learned')), 'a file that was half written is left behind').toEqual(['yard-1.json'])
  expect(statSync(backup).mode & 0o077).toBe(0)
  for (const f of ['history.db', 'state.db', 'site-credentials.json']) expect(statSync(join(backup, f)).mode & 0o077, f).toBe(0)
  expect(readFileSync(join(backup, 'about.txt'), 'utf8')).toMatch(/^Loopkeeper \d+\.\d+\.\d+\nNode \d+\.\d+\.\d+\ntaken \d{4}-/)
})

test('the restore test of the README reads every reading of the newest backup', () => {
  const ran = server.run('restore-test')
  expect(ran).toMatchObject({ status: 0 })
  expect(ran.out).toMatch(/^501 readings in \d+ blocks, \d+ inbox rows, 0 faults\nrestored /)
})

test('what is restored is what was stored: readings, state, credentials, first normals, what vitals remember, what rules have learned, site files', async () => {
  const { dir, ran } = inScratch('restored')
  expect(ran.status).toBe(0)
  const again = openEmbedded({ dir, clock: handClock(T0) })
  const found = await again.range('yard-1/tu.do', 0, T0 * 2, 1000)
  expect(found.map((r) => r.value)).toEqual(Array.from({ length: 500 }, (_, i) => 6 + i / 1000))
  expect((await again.range('yard-1/finished.level', 0, T0 * 2, 10)).map((r) => r.value)).toEqual([64])
  await again.close()
  for (const f of ['site-credentials.json', 'sites/yard-1.yaml', 'normal/yard-1.json', 'vitals/yard-1.json', 'learned/yard-1.json'])
    expect(readFileSync(join(dir, f), 'utf8')).toBe(readFileSync(server.at(`/var/lib/loopkeeper/${f}`), 'utf8'))
  expect(existsSync(join(dir, 'sessions.json'))).toBe(false)
  // How far vitals went through the past belongs to the history it was; the restored one is looked at anew.
  expect(readdirSync(join(dir, 'vitals'))).toEqual(['yard-1.json'])
  expect(readdirSync(dir).filter((n) => n.startsWith('.'))).toEqual([])
  const database = await openDatabase(join(dir, 'state.db'))
  expect(await openSiteLog(database, handClock(T0)).list({ fromMs: 0, toMs: T0 * 2, limit: 9 })).toMatchObject([{ site: 'yard-1', text: 'brown foam', by: 'tester' }])
  await database.destroy()
})

test('nothing is restored over data that is there', () => {
  const { ran } = inScratch('restored-twice')
  expect(ran.status).toBe(0)
  const twice = inScratch('restored-twice')
  expect(twice.ran).toMatchObject({ status: 4, err: expect.stringContaining('history.db exists already') as string })
  for (const folder of ['vitals', 'learned']) {
    mkdirSync(join(server.at(`/only-${folder}`), folder), { recursive: true })
    expect(inScratch(`only-${folder}`).ran).toMatchObject({ status: 4, err: expect.stringContaining(`${folder} exists already`) as string })
  }
  const dir = server.at('/only-sites')
  mkdirSync(join(dir, 'sites'), { recursive: true })
  writeFileSync(join(dir, 'sites', 'yard-9.yaml'), 'id: yard-9\n')
  expect(inScratch('only-sites').ran).toMatchObject({ status: 4, err: expect.stringContaining('holds files already') as string })
})

test.each([
  ['a byte of a file changed', (dir: string) => writeFileSync(join(dir, 'site-credentials.json'), '{}'), 'do not fit SHA256SUMS'],
  ['a file lost', (dir: string) => rmSync(join(dir, 'state.db')), 'do not fit SHA256SUMS'],
  ['a file added', (dir: string) => writeFileSync(join(dir, 'sites', 'yard-2.yaml'), ''), 'something was added or lost'],
  [
    'the state database damaged before the sums were made',
    (dir: string) => {
      writeFileSync(join(dir, 'state.db'), Buffer.alloc(8192, 7))
      sealAgain(dir)
    },
    'the state database of',
  ],
  [
    'the history damaged before the sums were made',
    (dir: string) => {
      const db = new Database(join(dir, 'history.db'))
      db.exec('UPDATE block SET packed = zeroblob(length(packed))')
      db.pragma('journal_mode = DELETE')
      db.close()
      sealAgain(dir)
    },
    'the history of',
  ],
])('a backup with %s is refused, and the data folder stays empty', (what, spoil, says) => {
  const name = what.replaceAll(' ', '-')
  const from = copyOf(`spoiled-${name}`)
  spoil(from)
  const { dir, ran } = inScratch(`into-${name}`, from)
  expect(ran.status).toBe(1)
  expect(ran.err).toContain(says)
  expect(readdirSync(dir)).toEqual([])
})

test('only as many backups are kept as asked for, the newest, and nothing else in the folder is touched', () => {
  const folder = server.at('/kept')
  for (const name of ['loopkeeper-20250101T000000Z', 'loopkeeper-20250102T000000Z', 'loopkeeper-old', 'letters']) mkdirSync(join(folder, name), { recursive: true })
  const ran = server.sh(`loopkeeper backup ${folder} --keep 2`)
  expect(ran.status).toBe(0)
  const made = ran.out.split('\n')[0]?.split('/').pop() ?? ''
  expect(readdirSync(folder).sort()).toEqual(['letters', 'loopkeeper-20250102T000000Z', made, 'loopkeeper-old'].sort())
})

test('a backup that cannot be made leaves nothing behind and says why', () => {
  const empty = server.at('/no-data')
  const folder = server.at('/failed')
  mkdirSync(empty)
  mkdirSync(folder)
  expect(server.sh(`LOOPKEEPER_DATA=${empty} loopkeeper backup ${folder}`)).toMatchObject({ status: 4, err: expect.stringContaining('no history.db and state.db') as string })
  expect(server.sh(`loopkeeper backup ${folder}/nowhere`)).toMatchObject({ status: 4, err: expect.stringContaining('there is no folder') as string })
  expect(server.sh('loopkeeper backup here')).toMatchObject({ status: 2, err: expect.stringContaining('an absolute path is needed') as string })
  expect(server.sh(`loopkeeper backup ${folder} --keep none`)).toMatchObject({ status: 2, err: expect.stringContaining('--keep is "none"') as string })
  const broken = server.at('/broken')
  mkdirSync(broken)
  writeFileSync(join(broken, 'history.db'), 'no database')
  writeFileSync(join(broken, 'state.db'), 'no database')
  expect(server.sh(`LOOPKEEPER_DATA=${broken} loopkeeper backup ${folder}`).status).not.toBe(0)
  expect(readdirSync(folder)).toEqual([])
})

test('the command says what it can do, and what is missing', () => {
  expect(server.sh('loopkeeper')).toMatchObject({ status: 2, err: expect.stringContaining('loopkeeper backup FOLDER') as string })
  expect(server.sh('LOOPKEEPER_DATA=/nowhere/at/all loopkeeper signin-link')).toMatchObject({ status: 4, err: expect.stringContaining('is not there') as string })
  expect(server.sh('LOOPKEEPER_DATA=data loopkeeper signin-link')).toMatchObject({ status: 2, err: expect.stringContaining('an absolute path is needed') as string })
  expect(server.run('sign-in')).toMatchObject({ status: 0, out: expect.stringMatching(/\/signin\?once=\S{20,}/) as string })
})
