import { mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, test } from 'vitest'
import { openCredentials } from '../../gateway/intake/credentials.ts'
import { NOW } from './parts.ts'

let dir: string
let file: string
beforeEach(() => {
  dir = mkdtempSync(join(tmpdir(), 'credentials-'))
  file = join(dir, 'site-credentials.json')
})
afterEach(() => rmSync(dir, { recursive: true, force: true }))

test('a new credential has a secret of 24 random bytes, shown once; the file holds only a salted hash of it', async () => {
  const c = openCredentials(file, () => NOW)
  const secret = await c.add('ostrand')
  const other = await c.add('kestrow')
  expect(secret).toMatch(/^[A-Za-z0-9_-]{32}$/)
  expect(other).not.toBe(secret)
  const text = readFileSync(file, 'utf8')
  expect(text).not.toContain(secret)
  expect(Object.keys(JSON.parse(text) as object)).toEqual(['version', 'sites'])
  expect(c.list()).toEqual([
    { site: 'ostrand', createdMs: NOW },
    { site: 'kestrow', createdMs: NOW },
  ])
})

test('only the owner may read the file, and nothing else is left beside it', async () => {
  const c = openCredentials(file)
  await c.add('ostrand')
  await c.add('kestrow')
  expect(statSync(file).mode & 0o777).toBe(0o600)
  expect(readdirSync(dir)).toEqual(['site-credentials.json'])
})

test('the right secret of the right site is right, also the second time and after a restart; any other is wrong', async () => {
  const c = openCredentials(file)
  const secret = await c.add('ostrand')
  const other = await c.add('kestrow')
  for (const creds of [c, c, openCredentials(file)]) {
    expect(await creds.verify('ostrand', secret)).toBe('right')
    expect(await creds.verify('ostrand', other)).toBe('wrong')
    expect(await creds.verify('ostrand', '')).toBe('wrong')
    expect(await creds.verify('nobody', secret)).toBe('wrong')
    expect(await creds.verify('', '')).toBe('wrong')
    expect(await creds.verify('__proto__', secret)).toBe('wrong')
  }
})

test('a revoked credential is wrong at once, and one made anew ends the old one', async () => {
  const c = openCredentials(file)
  const first = await c.add('ostrand')
  expect(await c.verify('ostrand', first)).toBe('right')
  const stamp = c.stamp('ostrand')
  const second = await c.add('ostrand')
  expect(c.stamp('ostrand')).not.toBe(stamp)
  expect(await c.verify('ostrand', first)).toBe('wrong')
  expect(await c.verify('ostrand', second)).toBe('right')
  expect([c.revoke('ostrand'), c.revoke('ostrand')]).toEqual([true, false])
  expect(await c.verify('ostrand', second)).toBe('wrong')
  expect(c.stamp('ostrand')).toBe(null)
})

test('what another process adds or revokes is noticed without a restart', async () => {
  const running = openCredentials(file)
  const secret = await openCredentials(file).add('ostrand')
  expect(await running.verify('ostrand', secret)).toBe('right')
  openCredentials(file).revoke('ostrand')
  expect(await running.verify('ostrand', secret)).toBe('wrong')
})

test('a credential revoked while its hash is being worked out lets nobody in', async () => {
  const secret = await openCredentials(file).add('ostrand')
  const c = openCredentials(file)
  const verdict = c.verify('ostrand', secret)
  c.revoke('ostrand')
  expect(await verdict).toBe('wrong')
})

test('two who have the file open add a credential each, and neither is lost', async () => {
  const [a, b] = [openCredentials(file), openCredentials(file)]
  await Promise.all([a.add('ostrand'), b.add('kestrow')])
  expect(openCredentials(file).list()).toHaveLength(2)
})

test.each([
  ['{', 'cannot be read (no JSON)'],
  ['[]', 'holds no list of credentials'],
  ['{"version":2,"sites":{}}', 'has version 2, this program reads 1'],
  ['{"version":1,"sites":{"ostrand":{"salt":"x"}}}', 'has an incomplete credential for ostrand'],
])('a file with %s is refused on opening, with what to do', (text, says) => {
  writeFileSync(file, text)
  expect(() => openCredentials(file)).toThrow(`site-credentials.json ${says}: put back a backup`)
})

test('a file that becomes unreadable while running keeps every site working, and is told', async () => {
  const c = openCredentials(file)
  const secret = await c.add('ostrand')
  writeFileSync(file, '{ half')
  c.refresh()
  expect(await c.verify('ostrand', secret)).toBe('right')
  expect(c.fault()).toContain('cannot be read')
})

test('a name that is no site id gets no credential', async () => {
  await expect(openCredentials(file).add('Ostrand depot')).rejects.toThrow('"Ostrand depot" is no site id')
})
