import { existsSync, readFileSync, statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { expect, test } from 'vitest'
import { createAccess, readTokens } from '../../server/people/access.ts'
import { issueLink } from '../../server/people/links.ts'
import { handClock } from './fake-gateway.ts'
import { cookieFrom, HOST, onceOf, openYard, tempDir, TOKEN, type Yard } from './yard.ts'

const form = (fields: Record<string, string>): { payload: string; headers: Record<string, string> } => ({
  payload: new URLSearchParams(fields).toString(),
  headers: { 'content-type': 'application/x-www-form-urlencoded', host: HOST, origin: `http://${HOST}`, 'sec-fetch-site': 'same-origin' },
})
const post = (yard: Yard, fields: Record<string, string>, more: Record<string, string> = {}) => {
  const { payload, headers } = form(fields)
  return yard.app.server.inject({ method: 'POST', url: '/signin', payload, headers: { ...headers, ...more } })
}
const me = (yard: Yard, headers: Record<string, string>) => yard.app.server.inject({ url: '/api/me', headers })

test('opening the link shows a page with a button and does not use the link up', async () => {
  const yard = await openYard()
  const link = yard.access.newLink()
  for (let i = 0; i < 3; i++) {
    const page = await yard.app.server.inject({ url: link })
    expect(page.statusCode).toBe(200)
    expect(page.headers['content-type']).toContain('text/html')
    expect(page.body).toContain('Sign in on this browser')
    expect(page.body).toContain('Your name, as others will see it')
    expect(page.headers['set-cookie']).toBeUndefined()
    expect(page.headers['cache-control']).toBe('no-store')
  }
  expect((await post(yard, { once: onceOf(link), name: 'Tomas' })).statusCode).toBe(303)
})

test('the button signs in once: a session cookie no script can read, and the same link again is refused', async () => {
  const yard = await openYard()
  const once = onceOf(yard.access.newLink())
  const first = await post(yard, { once, name: '  Tomas Wick ' })
  expect(first.statusCode).toBe(303)
  expect(first.headers.location).toBe('/')
  const cookie = String(first.headers['set-cookie'])
  expect(cookie).toMatch(/^loopkeeper-session=[\w-]{43}; Path=\/; Max-Age=2592000; HttpOnly; SameSite=Strict$/)
  expect((await me(yard, { cookie: cookieFrom(cookie) })).json()).toMatchObject({ name: 'Tomas Wick', via: 'session' })

  const second = await post(yard, { once, name: 'Someone else' })
  expect(second.statusCode).toBe(401)
  expect(second.body).toContain('This link is not valid any more')
  expect(second.headers['set-cookie']).toBeUndefined()
})

test('a link is refused after 15 minutes and accepted a moment before', async () => {
  const yard = await openYard()
  const [a, b] = [onceOf(yard.access.newLink()), onceOf(yard.access.newLink())]
  yard.clock.advance(15 * 60_000 - 1)
  expect((await post(yard, { once: a, name: 'Ann' })).statusCode).toBe(303)
  yard.clock.advance(1)
  expect((await post(yard, { once: b, name: 'Ben' })).statusCode).toBe(401)
  expect((await yard.app.server.inject({ url: `/signin?once=${b}` })).statusCode).toBe(401)
})

test('a program with the same data folder can make a link for a server that runs', async () => {
  const yard = await openYard()
  const path = issueLink(yard.dir, yard.clock.nowMs())
  expect((await post(yard, { once: onceOf(path), name: 'Ann' })).statusCode).toBe(303)
})

test('a link written back into the file by another program stays used', async () => {
  const yard = await openYard()
  const file = join(yard.dir, 'signin-links.json')
  const once = onceOf(yard.access.newLink())
  const before = readFileSync(file, 'utf8')
  expect((await post(yard, { once, name: 'Ann' })).statusCode).toBe(303)
  writeFileSync(file, before)
  expect((await post(yard, { once, name: 'Ben' })).statusCode).toBe(401)
})

test('a used link stays used after a restart', async () => {
  const yard = await openYard()
  const once = onceOf(yard.access.newLink())
  expect((await post(yard, { once, name: 'Ann' })).statusCode).toBe(303)
  const again = await createAccess({ dataDir: yard.dir, clock: yard.clock, tokens: [], log: () => {} })
  expect(again.signIn(once, 'Ben', '10.0.0.9')).toMatchObject({ ok: false, code: 'link-not-valid' })
})

test('the newest link stands in a file only its owner can read, and is gone from it once used', async () => {
  const yard = await openYard()
  const link = yard.access.newLink()
  const file = join(yard.dir, 'signin-link.txt')
  expect(readFileSync(file, 'utf8')).toBe(`${link}\n`)
  for (const name of ['signin-link.txt', 'signin-links.json', 'sessions.json']) expect(statSync(join(yard.dir, name)).mode & 0o777).toBe(0o600)
  await post(yard, { once: onceOf(link), name: 'Ann' })
  expect(existsSync(file)).toBe(false)
})

test('neither the link nor the session can be read from the files that keep them', async () => {
  const yard = await openYard()
  const once = onceOf(yard.access.newLink())
  expect(readFileSync(join(yard.dir, 'signin-links.json'), 'utf8')).not.toContain(once)
  const secret = cookieFrom(String((await post(yard, { once, name: 'Ann' })).headers['set-cookie'])).split('=')[1] ?? ''
  expect(secret).toHaveLength(43)
  expect(readFileSync(join(yard.dir, 'sessions.json'), 'utf8')).not.toContain(secret)
  expect(yard.log.join('\n')).not.toContain(secret)
  expect(yard.log.join('\n')).not.toContain(once)
})

test('a session outlives a restart, ends after 30 days, and ends at once when signed out', async () => {
  const yard = await openYard()
  const again = await createAccess({ dataDir: yard.dir, clock: yard.clock, tokens: [], log: () => {} })
  expect(again.admit({ cookie: yard.cookie })).toMatchObject({ ok: true, person: { name: 'Ruth Amsel' } })
  yard.clock.advance(30 * 86_400_000 - 1)
  expect((await me(yard, { cookie: yard.cookie })).statusCode).toBe(200)
  yard.clock.advance(1)
  expect((await me(yard, { cookie: yard.cookie })).json()).toMatchObject({ code: 'not-signed-in' })

  const cookie = cookieFrom(String((await post(yard, { once: onceOf(yard.access.newLink()), name: 'Ann' })).headers['set-cookie']))
  const out = await yard.app.server.inject({ method: 'POST', url: '/api/signout', headers: { cookie, host: HOST, origin: `http://${HOST}` } })
  expect(out.statusCode).toBe(200)
  expect(String(out.headers['set-cookie'])).toContain('Max-Age=0')
  expect((await me(yard, { cookie })).statusCode).toBe(401)
})

test('a sessions file that cannot be read is put aside and said, and nobody stays signed in', async () => {
  const dir = tempDir()
  writeFileSync(join(dir, 'sessions.json'), '{"half":')
  const log: string[] = []
  const access = await createAccess({ dataDir: dir, clock: handClock(), tokens: [], log: (l) => void log.push(l) })
  expect(log.join()).toContain('put aside')
  expect(readFileSync(join(dir, 'sessions.json.unreadable'), 'utf8')).toBe('{"half":')
  const signedIn = access.signIn(onceOf(access.newLink()), 'Ann', '1')
  expect(signedIn.ok).toBe(true)
})

test('after ten failed sign-ins an address waits, others do not, and after 15 minutes it may again', async () => {
  const yard = await openYard()
  const from = (remoteAddress: string, once: string) =>
    yard.app.server.inject({ method: 'POST', url: '/signin', remoteAddress, headers: { host: HOST }, payload: { once, name: 'Ann' } })
  for (let i = 0; i < 10; i++) expect((await from('10.0.0.1', 'x'.repeat(43))).json()).toMatchObject({ code: 'link-not-valid' })
  const good = onceOf(yard.access.newLink())
  const held = await from('10.0.0.1', good)
  expect(held.statusCode).toBe(429)
  expect(held.json().code).toBe('too-many-tries')
  expect(Number(held.headers['retry-after'])).toBe(900)
  expect((await from('10.0.0.2', good)).statusCode).toBe(200)
  yard.clock.advance(15 * 60_000)
  expect((await from('10.0.0.1', onceOf(yard.access.newLink()))).statusCode).toBe(200)
})

test('a sign-in sent from a page of another origin is refused and does not use the link up', async () => {
  const yard = await openYard()
  const once = onceOf(yard.access.newLink())
  for (const more of [
    { origin: 'https://evil.test', 'sec-fetch-site': 'cross-site' },
    { origin: 'null' },
    { origin: `http://${HOST}.evil.test` },
    { 'sec-fetch-site': 'same-site' },
  ] as const)
    expect((await post(yard, { once, name: 'Ann' }, more as Record<string, string>)).json()).toMatchObject({ code: 'cross-origin' })
  expect((await post(yard, { once, name: 'Ann' })).statusCode).toBe(303)
})

test.each([
  ['   ', 'a name is needed'],
  ['a'.repeat(81), 'at most 80'],
  ['Ann\u202eBen', 'without control characters'],
])('the form with the name %j is shown again, saying what is wrong, and the link stays good', async (name, says) => {
  const yard = await openYard()
  const once = onceOf(yard.access.newLink())
  const reply = await post(yard, { once, name })
  expect(reply.statusCode).toBe(400)
  expect(reply.body).toContain(says)
  expect(yard.access.linkLeftMs(once)).toBeGreaterThan(0)
})

test('a link that holds markup is shown as text', async () => {
  const yard = await openYard()
  const page = await yard.app.server.inject({ url: `/signin?once=${encodeURIComponent('"><script>alert(1)</script>')}` })
  expect(page.statusCode).toBe(401)
  expect(page.body).not.toContain('<script')
})

test.each([
  ['a bare token', TOKEN, ['api']],
  ['names before tokens', `# desk\nNight desk ${TOKEN}\n\nreports 0123456789abcdef\n`, ['Night desk', 'reports']],
])('a token file with %s is read', (_, text, names) => {
  expect(readTokens(text).map((t) => t.name)).toEqual(names)
})

test.each([
  ['desk short', 'line 1: a token of 5 characters found'],
  [`a ${TOKEN}\nb ${TOKEN}`, 'line 2: the same token as that of "a"'],
  ['desk 0123456789abcdefé', 'characters that cannot stand in a header'],
  [`${'n'.repeat(81)} ${TOKEN}`, 'at most 80'],
])('a token file with %j is refused, naming the line and never the token', (text, says) => {
  expect(() => readTokens(text)).toThrow(says)
  expect(() => readTokens(text)).not.toThrow(TOKEN)
})
