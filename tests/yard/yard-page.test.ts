import { readFileSync, statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import type { LightMyRequestResponse } from 'fastify'
import { describe, expect, test } from 'vitest'
import { openYardLinks } from '../../server/yard/links.ts'
import { waterOf } from '../../server/yard/view.ts'
import { languageOf, type YardWords } from '../../server/yard/words.ts'
import { alarmDef, alarmView, NOON, reading, testSite } from '../server/fake-gateway.ts'
import { HOST, openYard, TOKEN, type Yard } from '../server/yard.ts'

const look = (yard: Yard, url: string): Promise<LightMyRequestResponse> => yard.app.server.inject({ url, headers: { host: HOST } })
const make = async (yard: Yard, site = 'upper'): Promise<string> => (await yard.ask('POST', `/api/loops/${site}/yard-link`)).json<{ path: string }>().path
const report = (yard: Yard, path: string, what: string, headers: Record<string, string> = {}): Promise<LightMyRequestResponse> =>
  yard.app.server.inject({
    method: 'POST',
    url: `${path}/report`,
    payload: new URLSearchParams({ what }).toString(),
    headers: { 'content-type': 'application/x-www-form-urlencoded', host: HOST, origin: `http://${HOST}`, 'sec-fetch-site': 'same-origin', ...headers },
  })
const counter = async (yard: Yard, name: string): Promise<number | undefined> =>
  (await yard.ask('GET', '/api/health')).json<{ counters: { name: string; value: number }[] }>().counters.find((c) => c.name === name)?.value

describe('the link', () => {
  test('opens the page of its loop without an account, and nothing else', async () => {
    const yard = await openYard()
    const path = await make(yard)
    expect(path).toMatch(/^\/yard\/([0-9a-z]{4}-){3}[0-9a-z]{4}$/)
    const page = await look(yard, path)
    expect(page.statusCode).toBe(200)
    expect(page.body).toContain('Yard upper')
    expect(page.body).not.toContain('Yard lower')
    const token = path.slice('/yard/'.length)
    for (const url of ['/api/loops', '/api/loops/upper', '/api/log?site=upper', '/api/health', '/api/loops/upper/yard-link']) {
      expect((await yard.app.server.inject({ url, headers: { authorization: `Bearer ${token}` } })).statusCode).toBe(401)
      expect((await yard.app.server.inject({ url, headers: { cookie: `loopkeeper-session=${token}` } })).statusCode).toBe(401)
    }
  })

  test('works however it is typed: without dashes, in capitals, with O for 0 and I or L for 1', async () => {
    const yard = await openYard()
    const path = await make(yard)
    const token = path.slice('/yard/'.length)
    const sloppy = token.replaceAll('-', '').replaceAll('0', 'O').replaceAll('1', 'I').toUpperCase()
    expect((await look(yard, `/yard/${sloppy}`)).statusCode).toBe(200)
    expect((await look(yard, `/yard/${token.replaceAll('1', 'l')}`)).statusCode).toBe(200)
  })

  test.each(['0000-0000-0000-0000', 'x', '%00', '..%2f..', 'aaaa'.repeat(50)])('%s opens nothing, and the page says what to do', async (token) => {
    const yard = await openYard()
    await make(yard)
    const page = await look(yard, `/yard/${token}`)
    expect(page.statusCode).toBe(404)
    expect(page.body).toContain('This link no longer works')
    expect(page.body).not.toContain('Yard upper')
    expect(await counter(yard, 'yardLinksUnknown')).toBe(1)
  })

  test('made anew the former one is dead at once; withdrawn no page is left, and no report gets through', async () => {
    const yard = await openYard()
    const first = await make(yard)
    const second = await make(yard)
    expect((await look(yard, first)).statusCode).toBe(404)
    expect((await look(yard, second)).statusCode).toBe(200)
    expect((await yard.ask('GET', '/api/loops/upper/yard-link')).json()).toEqual({ link: { madeMs: NOON, by: 'Night desk' } })
    expect((await yard.ask('POST', '/api/loops/upper/yard-link/withdraw')).json()).toEqual({ link: null })
    expect((await look(yard, second)).statusCode).toBe(404)
    expect((await report(yard, second, 'foam')).statusCode).toBe(404)
    expect(yard.gateway.entries).toEqual([])
  })

  test('stands in no file and no log: only its digest is kept, in a file of its owner', async () => {
    const yard = await openYard()
    const path = await make(yard)
    const token = path.slice('/yard/'.length)
    await look(yard, path)
    yard.gateway.site = () => {
      throw new Error('broken on purpose')
    }
    expect((await look(yard, path)).statusCode).toBe(500)
    expect(yard.log.join('\n')).toContain('/yard/(link)')
    const file = join(yard.dir, 'yard-links.json')
    expect(readFileSync(file, 'utf8') + yard.log.join('\n')).not.toMatch(new RegExp(`${token}|${token.replaceAll('-', '')}`))
    expect(statSync(file).mode & 0o777).toBe(0o600)
  })

  test('made by a second program on the same data folder works on the running server', async () => {
    const yard = await openYard()
    await make(yard, 'lower')
    const path = openYardLinks(yard.dir, () => {}).make('upper', 'command on the server', NOON)
    expect((await look(yard, path)).statusCode).toBe(200)
    expect((await yard.ask('GET', '/api/loops/lower/yard-link')).json()).toMatchObject({ link: { by: 'Night desk' } })
  })

  test('of a loop that is gone opens nothing', async () => {
    const yard = await openYard()
    expect((await look(yard, openYardLinks(yard.dir, () => {}).make('long-gone', 'x', NOON))).statusCode).toBe(404)
    expect((await yard.ask('POST', '/api/loops/nowhere/yard-link')).json()).toMatchObject({ code: 'unknown-loop' })
  })

  test('a file of links that cannot be read opens nothing, is told, and is not written over', async () => {
    const yard = await openYard()
    const path = await make(yard)
    const file = join(yard.dir, 'yard-links.json')
    writeFileSync(file, '[{"site":')
    expect((await look(yard, path)).statusCode).toBe(404)
    expect(yard.log.join('\n')).toContain('put it back from a backup')
    expect((await yard.ask('POST', '/api/loops/upper/yard-link')).statusCode).toBe(500)
    expect(readFileSync(file, 'utf8')).toBe('[{"site":')
    expect((await yard.ask('GET', '/api/health')).statusCode).toBe(200)
  })
})

describe('what the page says', () => {
  const level = (value: number | null, more = {}) => reading('upper', 'finished.level', value, more)
  // 5700 L: 40 % are 2280 L, at 23 L a minute 99 min.
  test('minutes of washing left, rounded down, with the age of the reading', async () => {
    const yard = await openYard()
    const path = await make(yard)
    yard.gateway.push(level(40))
    yard.clock.advance(65_000)
    const { body } = await look(yard, path)
    expect(body).toMatch(/class="figure">1\u00a0h\u00a035 /)
    expect(body).toContain('read 1\u00a0min ago')
    expect(body).toContain('as of 12:01:05')
  })
  test('a doubtful level says so beside its figure', async () => {
    const yard = await openYard()
    const path = await make(yard)
    yard.gateway.push(level(20, { quality: 'uncertain', sub: 'sensor_cal' }))
    const { body } = await look(yard, path)
    expect(body).toMatch(/class="figure doubtful">49 <span>min/)
    expect(body).toContain('Doubtful')
  })
  test('a level that is bad, or older than three reports and 10 s, shows no figure', async () => {
    const yard = await openYard()
    const path = await make(yard)
    yard.gateway.push(level(null))
    expect((await look(yard, path)).body).toContain('Not known now')
    yard.gateway.push(level(40))
    yard.clock.advance(190_001)
    const { body } = await look(yard, path)
    expect(body).not.toContain('35')
    expect(body).toContain('last read 3\u00a0min ago')
  })
  test('a loop that cannot tell says so: a float, a level without a volume, nothing at all', () => {
    const site = testSite('upper')
    const state = (signals: typeof site.signals, latest: [string, number][] = []) => ({
      site: { ...site, signals },
      heardMs: NOON,
      silent: false,
      latest: new Map(latest.map(([id, v]) => [id, reading('upper', id, v)])),
    })
    expect(waterOf(state([]), null, NOON)).toEqual({ kind: 'not-measured' })
    expect(waterOf(state(site.signals, [['finished.level', 40]]), null, NOON)).toMatchObject({ kind: 'level', pct: 40 })
    const float = { ...site.signals.find((s) => s.id === 'sump.high')!, id: 'finished.low', at: 'finished', stage: 'finished' }
    expect(waterOf(state([float], [['finished.low', 0]]), null, NOON)).toMatchObject({ kind: 'float', low: true })
    expect(waterOf(state([float], [['finished.low', 1]]), null, NOON)).toMatchObject({ kind: 'float', low: false })
    expect(waterOf(state([float]), null, NOON)).toEqual({ kind: 'not-known', atMs: null })
  })
  test('do not wash, because; and what the loop does not watch', async () => {
    const yard = await openYard()
    const path = await make(yard)
    expect((await look(yard, path)).body).toContain('Nothing known against washing')
    const def = alarmDef('upper', 'sump.level.high', {
      stage: 'sump',
      class: 'environment',
      what: 'Sump <almost> full',
      rule: { kind: 'limit', signal: 'sump.level', side: 'high', limit: 80, deadband: 5, onDelayMs: 0, offDelayMs: 0 },
    })
    yard.gateway.setAlarm(alarmView(def))
    const { body } = await look(yard, path)
    expect(body).toContain('Do not wash now')
    expect(body).toContain('The sump is almost full. It needs to be pumped down first.</b> <span>Sump &#60;almost&#62; full, since 11:50.')
    expect(body).not.toContain('Nothing known against washing')
    expect(body).toContain('Not watched here: air of the tanks, acid and alkaline water, gas in the air.')
  })
  test('a silent loop: it cannot be told, never "nothing known against washing"', async () => {
    const yard = await openYard()
    const path = await make(yard)
    yard.gateway.setSilent('upper', true)
    yard.clock.advance(47 * 60_000)
    const { body } = await look(yard, path)
    expect(body).toContain('Cannot tell: nothing heard from this loop for 47\u00a0min')
    expect(body).not.toContain('Nothing known against washing')
  })
  test('who looks after the loop is one press away, the bracket behind the number not dialled', async () => {
    const yard = await openYard()
    const { body } = await look(yard, await make(yard))
    expect(body).toContain('href="tel:5550199"')
    expect(body).toContain('555-0199 (loop desk, day and night)')
  })
  test('keep out comes before everything else', async () => {
    const yard = await openYard()
    const path = await make(yard)
    yard.gateway.entryBlock = () => ({ alarm: 'upper/sump.h2s.high', what: 'Hydrogen sulphide at the sump', sinceMs: NOON - 3_600_000 })
    const { body } = await look(yard, path)
    expect(body.indexOf('Keep out')).toBeLessThan(body.indexOf('Washing left'))
    expect(body).toContain('Hydrogen sulphide at the sump, since 11:00.')
  })
  test('no outside host, no script in the page, nothing that may be framed or kept; the page itself is small', async () => {
    const yard = await openYard()
    const page = await look(yard, await make(yard))
    expect(page.headers['content-security-policy']).toBe(
      "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    )
    expect(page.headers['cache-control']).toBe('no-store')
    expect(page.body).not.toMatch(/https?:\/\/|<script>|style=|\son\w+=/)
    expect(page.body.length).toBeLessThan(8_000)
  })
  test('the sheet for the sign shows the address as one types it', async () => {
    const yard = await openYard()
    const path = await make(yard)
    const { body } = await look(yard, `${path}/sign`)
    expect(body.replace(/<wbr>|<\/?span>/g, '')).toContain(`${HOST}${path}`)
  })
})

describe('the three reports', () => {
  test.each([
    ['foam', 'observation'],
    ['smell', 'observation'],
    ['bleach', 'unusual-wash'],
    ['something else', 'unusual-wash'],
  ])('%s is written into the site log by the sign', async (what, kind) => {
    const yard = await openYard()
    const path = await make(yard)
    const reply = await report(yard, path, what)
    expect(reply.statusCode).toBe(303)
    expect(yard.gateway.entries).toMatchObject([{ site: 'upper', kind, item: what, by: 'yard, by the sign', atMs: NOON }])
    const page = await look(yard, String(reply.headers.location))
    expect(page.body).toContain('Written down: ')
    expect(page.body).toContain('Reported lately')
  })

  test('nothing else can be written: an unknown report, a field more, JSON, another kind', async () => {
    const yard = await openYard()
    const path = await make(yard)
    expect((await report(yard, path, 'note')).statusCode).toBe(400)
    const extra = await yard.app.server.inject({
      method: 'POST',
      url: `${path}/report`,
      payload: 'what=foam&site=lower',
      headers: { 'content-type': 'application/x-www-form-urlencoded', host: HOST },
    })
    expect(extra.statusCode).toBe(400)
    expect(yard.gateway.entries).toEqual([])
  })

  test('a page of another origin cannot send one', async () => {
    const yard = await openYard()
    const path = await make(yard)
    expect((await report(yard, path, 'foam', { origin: 'http://elsewhere.test', 'sec-fetch-site': 'cross-site' })).statusCode).toBe(403)
    expect(yard.gateway.entries).toEqual([])
  })

  test('six in ten minutes from one loop, the seventh is held back and counted; another loop and a later hour are not', async () => {
    const yard = await openYard()
    const [upper, lower] = [await make(yard), await make(yard, 'lower')]
    for (let i = 0; i < 6; i++) expect((await report(yard, upper, 'foam')).statusCode).toBe(303)
    const held = await report(yard, upper, 'smell')
    expect(held.statusCode).toBe(429)
    expect(held.headers['retry-after']).toBe('600')
    expect(held.body).toContain('Not written down')
    expect((await report(yard, lower, 'smell')).statusCode).toBe(303)
    expect(yard.gateway.entries).toHaveLength(7)
    expect([await counter(yard, 'yardReports'), await counter(yard, 'yardReportsHeldBack'), await counter(yard, 'yardLinks')]).toEqual([7, 1, 2])
    yard.clock.advance(600_000)
    expect((await report(yard, upper, 'smell')).statusCode).toBe(303)
  })

  test('a form is still read on no other path', async () => {
    const yard = await openYard()
    const reply = await yard.app.server.inject({
      method: 'POST',
      url: '/api/log',
      payload: 'what=foam',
      headers: { authorization: `Bearer ${TOKEN}`, 'content-type': 'application/x-www-form-urlencoded' },
    })
    expect(reply.json()).toMatchObject({ code: 'not-our-media-type' })
  })
})

test('the browser says which language it wants; one we do not have falls back to English', () => {
  const { words: en } = languageOf(undefined)
  const de: YardWords = { ...en, doNotWash: 'Jetzt nicht waschen' }
  expect(languageOf('fr-CH, de;q=0.8, en;q=0.5', { en, de })).toMatchObject({ code: 'de', words: { doNotWash: 'Jetzt nicht waschen' } })
  expect(languageOf('en;q=0.1, de-AT', { en, de }).code).toBe('de')
  for (const odd of ['', 'xx', '*', ';;q=', 'constructor', '__proto__', 'de;q=0']) expect(languageOf(odd, { en, de }).code).toBe('en')
})
