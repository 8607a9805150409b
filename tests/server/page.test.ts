import { mkdirSync, symlinkSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { gunzipSync } from 'node:zlib'
import { expect, test } from 'vitest'
import { policyFor } from '../../server/security-headers.ts'
import { HOST, openYard, tempDir, TOKEN } from './yard.ts'

const INDEX = '<!doctype html><title>page</title>'
const SCRIPT = `console.log(${JSON.stringify('x'.repeat(2000))})`

function builtPage(): string {
  const outside = tempDir()
  writeFileSync(join(outside, 'secret.txt'), 'secret')
  const dir = join(outside, 'dist')
  mkdirSync(join(dir, 'assets'), { recursive: true })
  writeFileSync(join(dir, 'index.html'), INDEX)
  writeFileSync(join(dir, 'assets', 'app-1a2b.js'), SCRIPT)
  writeFileSync(join(dir, 'assets', 'type.woff2'), Buffer.alloc(900, 7))
  writeFileSync(join(dir, '.built-from'), 'digest')
  symlinkSync(join(outside, 'secret.txt'), join(dir, 'linked.txt'))
  return dir
}

test('the page is served to anybody, with index.html for every address the page finds its way by', async () => {
  const { app } = await openYard({ pageDir: builtPage() })
  for (const url of [
    '/',
    '/index.html',
    '/loops/upper',
    '/alarms?x=1',
    '/.built-from',
    '/linked.txt',
    '/../secret.txt',
    '/%2e%2e/secret.txt',
    '/..%2fsecret.txt',
    '/assets/../../secret.txt',
  ]) {
    const reply = await app.server.inject({ url })
    expect(`${url} ${reply.body.replace('secret', '')}`).toBe(`${url} ${INDEX}`)
    expect(reply.statusCode).toBe(200)
    expect(reply.headers['content-type']).toBe('text/html; charset=utf-8')
    expect(reply.headers['cache-control']).toBe('no-cache')
  }
})

test('an asset may be kept for a year, and one that is gone is not answered with the page', async () => {
  const { app } = await openYard({ pageDir: builtPage() })
  const script = await app.server.inject({ url: '/assets/app-1a2b.js' })
  expect(script.body).toBe(SCRIPT)
  expect(script.headers).toMatchObject({ 'content-type': 'text/javascript; charset=utf-8', 'cache-control': 'public, max-age=31536000, immutable' })
  expect((await app.server.inject({ url: '/assets/type.woff2' })).headers['content-type']).toBe('font/woff2')
  const gone = await app.server.inject({ url: '/assets/app-0000.js' })
  expect(gone.statusCode).toBe(404)
  expect(gone.json().code).toBe('unknown-path')
})

test('a browser that has the file already is told so, and one that reads gzip gets it', async () => {
  const { app } = await openYard({ pageDir: builtPage() })
  const first = await app.server.inject({ url: '/', headers: { 'accept-encoding': 'identity' } })
  const again = await app.server.inject({ url: '/', headers: { 'if-none-match': `"other", W/${first.headers.etag}` } })
  expect([again.statusCode, again.body]).toEqual([304, ''])
  const zipped = await app.server.inject({ url: '/assets/app-1a2b.js', headers: { 'accept-encoding': 'br, gzip' } })
  expect(zipped.headers['content-encoding']).toBe('gzip')
  expect(gunzipSync(zipped.rawPayload).toString()).toBe(SCRIPT)
  const plain = await app.server.inject({ url: '/assets/app-1a2b.js', headers: { 'accept-encoding': 'gzip;q=0' } })
  expect(plain.headers['content-encoding']).toBeUndefined()
})

test('without a built page the server says how to get one', async () => {
  const { app } = await openYard()
  expect((await app.server.inject({ url: '/' })).body).toContain('npm start')
})

test('other methods than GET find nothing beside the API', async () => {
  const { app } = await openYard({ pageDir: builtPage() })
  const reply = await app.server.inject({ method: 'POST', url: '/loops', headers: { authorization: `Bearer ${TOKEN}` } })
  expect(reply.statusCode).toBe(404)
  expect(reply.json().code).toBe('unknown-path')
})

test.each(['/', '/api/ping', '/api/loops', '/api/nothing', '/signin', '/assets/none.js', '/%zz'])('%s answers with headers that let nothing foreign in', async (url) => {
  const { app } = await openYard({ pageDir: builtPage() })
  const { headers } = await app.server.inject({ url, headers: { host: HOST } })
  expect(headers['content-security-policy']).toBe(
    `default-src 'self'; connect-src 'self' ws://${HOST} wss://${HOST}; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'`,
  )
  expect(headers['x-content-type-options']).toBe('nosniff')
  expect(headers['referrer-policy']).toBe(url === '/signin' ? 'same-origin' : 'no-referrer')
  expect(headers['access-control-allow-origin']).toBeUndefined()
  expect(headers.server ?? headers['x-powered-by']).toBeUndefined()
  if (url.startsWith('/api')) expect(headers['cache-control']).toBe('no-store')
})

test.each([['evil.test; script-src *'], ['a b'], ['x\r\ny'], ['a,b'], [undefined]])('a Host header that is no address (%j) is not copied into the policy', (host) => {
  expect(policyFor(host)).toContain("connect-src 'self';")
})

test('addresses with a port and IPv6 addresses stand in the policy', () => {
  expect(policyFor('[::1]:8470')).toContain('ws://[::1]:8470 ')
  expect(policyFor('loops.example')).toContain('wss://loops.example;')
})
