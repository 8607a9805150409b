import { expect, test } from 'vitest'
import { ROWS } from '../../server/routes/rows.ts'
import { alarmDef, alarmView } from './fake-gateway.ts'
import { HOST, openYard, sharedYard, TOKEN } from './yard.ts'

const yard = sharedYard()

const urls = ROWS.map((r) => [r.method, r.path.replace(/:\w+/g, 'x')] as const)

test.each([...urls, ['GET', '/api'], ['GET', '/api/'], ['GET', '/api/nothing'], ['GET', '/api/live'], ['DELETE', '/api/loops'], ['HEAD', '/api/loops']] as const)(
  '%s %s is refused without a session or token',
  async (method, url) => {
    const { app } = yard()
    const reply = await app.server.inject({ method, url, headers: { host: HOST } })
    expect(reply.statusCode).toBe(401)
    expect(reply.headers['www-authenticate']).toBe('Bearer')
    if (method !== 'HEAD') expect(reply.json()).toMatchObject({ code: 'not-signed-in', message: expect.stringContaining('sign-in link') })
  },
)

test.each(['/API/loops', '//api/loops', '/api//loops', '/./api/loops', '/x/../api/loops', '/%61pi/loops', '/api/loops/'])(
  'no spelling of the path (%s) gets at the fleet without a person',
  async (url) => {
    const { app } = yard()
    const reply = await app.server.inject({ url })
    expect(reply.body).not.toContain('Hill yards')
  },
)

test('a ping is open and tells nothing', async () => {
  const { app } = yard()
  const reply = await app.server.inject({ url: '/api/ping' })
  expect(reply.statusCode).toBe(200)
  expect(reply.json()).toEqual({ ok: true })
})

test.each(['Bearer wrong-token-0123456789', 'Bearer', 'Basic dXNlcjpwYXNz', `Bearer ${TOKEN}x`, `bearer  `])(
  'the authorization %j is refused, even beside a good cookie',
  async (authorization) => {
    const { app, cookie } = yard()
    const reply = await app.server.inject({ url: '/api/loops', headers: { authorization, cookie } })
    expect(reply.statusCode).toBe(401)
    expect(reply.json().code).toBe('bad-token')
  },
)

test.each(['loopkeeper-session=', `loopkeeper-session=${'A'.repeat(43)}`, 'loopkeeper-session=__proto__', 'other=1; ;;='])('the cookie %j is refused', async (cookie) => {
  const { app } = yard()
  expect((await app.server.inject({ url: '/api/loops', headers: { cookie } })).json().code).toBe('not-signed-in')
})

test('the name of the session or of the token stands under what it changes', async () => {
  const { app, ask, cookie, gateway } = await openYard()
  const view = alarmView(alarmDef('upper', 'tu.do.low'))
  gateway.setAlarm(view)
  expect((await ask('POST', '/api/alarms/upper%2Ftu.do.low/acknowledge', { occurrence: 'occ-1' })).json().acknowledgedBy).toBe('Night desk')
  gateway.setAlarm(view)
  const reply = await app.server.inject({
    method: 'POST',
    url: '/api/alarms/upper%2Ftu.do.low/acknowledge',
    headers: { cookie, host: HOST, origin: `http://${HOST}` },
    payload: { occurrence: 'occ-1' },
  })
  expect(reply.json().acknowledgedBy).toBe('Ruth Amsel')
})

test.each([
  ['no word of where it comes from', {}],
  ['another origin', { origin: 'https://evil.test' }],
  ['a look-alike origin', { origin: `http://${HOST}.evil.test` }],
  ['the same host on another port', { origin: 'http://loops.test:9999' }],
  ['an opaque origin', { origin: 'null' }],
  ['a page of a sister site', { origin: `http://${HOST}`, 'sec-fetch-site': 'same-site' }],
])('a change asked for by a signed-in browser with %s is refused', async (_, headers) => {
  const { app, cookie, gateway } = await openYard()
  gateway.setAlarm(alarmView(alarmDef('upper', 'tu.do.low')))
  const reply = await app.server.inject({
    method: 'POST',
    url: '/api/alarms/upper%2Ftu.do.low/acknowledge',
    headers: { cookie, host: HOST, ...headers },
    payload: { occurrence: 'occ-1' },
  })
  expect(reply.statusCode).toBe(403)
  expect(reply.json().code).toBe('cross-origin')
  expect(gateway.standing()[0]?.state).toBe('unacknowledged')
})

test.each([{ origin: `https://${HOST}` }, { origin: `http://${HOST}`, 'sec-fetch-site': 'same-origin' }, { 'sec-fetch-site': 'same-origin' }])(
  'a change asked for by our own page (%o) is taken',
  async (headers) => {
    const { app, cookie, gateway } = await openYard()
    gateway.setAlarm(alarmView(alarmDef('upper', 'tu.do.low')))
    const reply = await app.server.inject({
      method: 'POST',
      url: '/api/alarms/upper%2Ftu.do.low/acknowledge',
      headers: { cookie, host: HOST, ...(headers as Record<string, string>) },
      payload: { occurrence: 'occ-1' },
    })
    expect(reply.statusCode).toBe(200)
  },
)
