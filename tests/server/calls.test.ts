import { expect, test } from 'vitest'
import { alarmDef, alarmEvent, alarmView, NOON, reading } from './fake-gateway.ts'
import { HOST, openYard, sharedYard, TOKEN } from './yard.ts'

const yard = sharedYard()

test('a trend comes column by column, a span without readings staying a gap', async () => {
  const { ask, gateway } = await openYard()
  const reply = await ask('GET', `/api/history/upper/tu.do?from=${NOON - 600_000}&to=${NOON}&points=10`)
  const trend = reply.json()
  expect(gateway.asked).toEqual([{ keys: ['upper/tu.do'], fromMs: NOON - 600_000, toMs: NOON, points: 10 }])
  expect(trend).toMatchObject({ site: 'upper', signal: 'tu.do', unit: 'mg/L', unitText: 'mg/L', bucketMs: 60_000, fromMs: NOON - 600_000, toMs: NOON })
  expect(trend.at).toHaveLength(10)
  expect([trend.count[0], trend.mean[0], trend.worst[0]]).toEqual([3, 2, 'good'])
  expect([trend.count[1], trend.mean[1], trend.worst[1]]).toEqual([0, null, null])
  expect(trend.extent).toEqual({ firstMs: NOON - 86_400_000, lastMs: NOON })
})

test('a trend without a span is the last day in 600 spans', async () => {
  const { ask, gateway } = await openYard()
  await ask('GET', '/api/history/upper/tu.do')
  expect(gateway.asked).toEqual([{ keys: ['upper/tu.do'], fromMs: NOON - 86_400_000, toMs: NOON, points: 600 }])
})

test.each([
  ['2026-03-04T12:00:00Z', NOON],
  ['2026-03-04T13:00:00%2B01:00', NOON],
  ['2026-03-04T12:00:00.250Z', NOON + 250],
  ['2026-03-04t12:00:00z', NOON],
  [String(NOON), NOON],
  ['0', 0],
])('the time %s is taken as %d', async (text, ms) => {
  const { ask, gateway } = await openYard()
  expect((await ask('GET', `/api/history/upper/tu.do?from=${text}&to=${NOON + 1000}`)).statusCode).toBe(200)
  expect(gateway.asked[0]?.fromMs).toBe(ms)
})

test.each([
  ['/api/history/upper/tu.do?from=yesterday', 'query field from: "yesterday" found: a time is ms since 1970 UTC, or RFC 3339'],
  ['/api/history/upper/tu.do?from=2026-03-04T12:00:00', 'query field from'],
  ['/api/history/upper/tu.do?from=2026-02-30T12:00:00Z', 'query field from'],
  ['/api/history/upper/tu.do?from=2026-03-04T25:00:00Z', 'query field from'],
  ['/api/history/upper/tu.do?from=2026-03-04T13:00:00+01:00', 'must be written %2B'],
  ['/api/history/upper/tu.do?from=-5', 'query field from: "-5" found'],
  ['/api/history/upper/tu.do?from=1e3', 'query field from'],
  ['/api/history/upper/tu.do?from=99999999999999', 'query field from'],
  ['/api/history/upper/tu.do?from=', 'query field from: "" found'],
  ['/api/history/upper/tu.do?from=5&from=6', 'query field from: ["5","6"] found'],
  [`/api/history/upper/tu.do?from=${NOON}&to=${NOON}`, 'from must lie before to'],
  ['/api/history/upper/tu.do?points=0', 'query field points: "0" found: a whole number from 1 to 5000'],
  ['/api/history/upper/tu.do?points=5001', 'query field points: "5001" found'],
  ['/api/history/upper/tu.do?points=2.5', 'query field points: "2.5" found'],
  ['/api/history/upper/tu.do?pionts=5', 'query: "pionts" is no field we know; known are from, to, points'],
  ['/api/loops?x=1', 'query: "x" is no field we know; none is taken here'],
  ['/api/health?__proto__=1', 'query: "__proto__" is no field we know'],
  ['/api/journal?limit=1001', 'query field limit: "1001" found: a whole number from 1 to 1000'],
  ['/api/alarms?site=', 'query field site: "" found: the id of a loop'],
  [`/api/loops/${'x'.repeat(65)}`, 'path field site'],
  [`/api/loops/${'x'.repeat(9000)}`, 'path field site'],
  ['/api/loops/%zz', 'broken %-sequence'],
])('GET %s is refused: %s', async (url, says) => {
  const { ask } = yard()
  const reply = await ask('GET', url)
  expect(reply.statusCode).toBe(400)
  expect(reply.json().code).toBe(url.includes('%zz') ? 'bad-url' : 'bad-request')
  expect(reply.json().message).toContain(says)
})

test.each([
  ['/api/history/nowhere/tu.do', 'unknown-loop', 'no loop "nowhere": there are upper, lower'],
  ['/api/history/upper/tu.od', 'unknown-signal', 'loop upper has no signal "tu.od": it has tu.do, tu.temperature'],
  ['/api/alarms?site=nowhere', 'unknown-loop', 'there are upper, lower'],
  ['/api/journal?site=nowhere', 'unknown-loop', 'there are upper, lower'],
  ['/api/log?site=nowhere', 'unknown-loop', 'there are upper, lower'],
  ['/api/alarms/upper%2Fnothing', 'unknown-alarm', 'loop upper has upper/tu.do.low'],
  ['/api/alarms/nowhere%2Ftu.do.low', 'unknown-alarm', 'there is no loop "nowhere"'],
  ['/api/alarms/tu.do.low', 'unknown-alarm', '%2F'],
  ['/api/nothing', 'unknown-path', '/api/openapi.json'],
  ['/api/alarms/upper/tu.do.low', 'unknown-path', 'nothing at'],
])('GET %s is not found: %s', async (url, code, says) => {
  const { ask, gateway } = yard()
  gateway.setAlarm(alarmView(alarmDef('upper', 'tu.do.low')))
  const reply = await ask('GET', url)
  expect(reply.statusCode).toBe(404)
  expect(reply.json().code).toBe(code)
  expect(reply.json().message).toContain(says)
})

test.each([
  ['DELETE', '/api/loops', 'GET'],
  ['POST', '/api/loops/upper', 'GET'],
  ['PUT', '/api/log', 'GET, POST'],
] as const)('%s %s is told which methods there are', async (method, url, allow) => {
  const { app } = yard()
  const reply = await app.server.inject({ method, url, headers: { authorization: `Bearer ${TOKEN}` } })
  expect(reply.statusCode).toBe(405)
  expect(reply.headers.allow).toBe(allow)
  expect(reply.json().code).toBe('wrong-method')
})

test('the standing alarms come unanswered first, then by priority, then the newest', async () => {
  const { ask, gateway } = await openYard()
  const add = (rule: string, more: Parameters<typeof alarmDef>[2], view: Parameters<typeof alarmView>[1]) => gateway.setAlarm(alarmView(alarmDef('upper', rule, more), view))
  add('a', { priority: 'high' }, { state: 'acknowledged' })
  add('b', { priority: 'low' }, { raisedMs: NOON - 1 })
  add('c', { priority: 'high' }, { raisedMs: NOON - 9000 })
  add('d', { priority: 'high' }, { raisedMs: NOON - 1000, state: 'returned' })
  add('e', {}, { state: 'normal', occurrence: null })
  gateway.setAlarm(alarmView(alarmDef('lower', 'f', { priority: 'medium' })))
  const ids = (url: string) => ask('GET', url).then((r) => r.json().alarms.map((a: { id: string }) => a.id))
  expect(await ids('/api/alarms')).toEqual(['upper/d', 'upper/c', 'lower/f', 'upper/b', 'upper/a'])
  expect(await ids('/api/alarms?site=lower')).toEqual(['lower/f'])
})

test('within one loop the worst that still holds comes first, answered or not', async () => {
  const { ask, gateway } = await openYard()
  gateway.setAlarm(alarmView(alarmDef('upper', 'a', { priority: 'low' })))
  gateway.setAlarm(alarmView(alarmDef('upper', 'b', { priority: 'high' }), { state: 'returned' }))
  gateway.setAlarm(alarmView(alarmDef('upper', 'c', { priority: 'high' }), { state: 'acknowledged' }))
  const { loops } = (await ask('GET', '/api/loops')).json()
  expect(loops[0].alarms.map((a: { id: string }) => a.id)).toEqual(['upper/c', 'upper/b', 'upper/a'])
})

test('one alarm is found by its id with the slash written as %2F, with its cautions and the value now', async () => {
  const { ask, gateway } = await openYard()
  gateway.push(reading('upper', 'tu.do', 1.1))
  gateway.setAlarm(alarmView(alarmDef('upper', 'tu.do.low')))
  const alarm = (await ask('GET', '/api/alarms/upper%2Ftu.do.low')).json()
  expect(alarm).toMatchObject({
    id: 'upper/tu.do.low',
    siteName: 'Yard upper',
    stage: 'tu',
    stageName: 'Treatment unit',
    signal: 'tu.do',
    value: 1.4,
    valueNow: 1.1,
    unit: 'mg/L',
    digits: 1,
  })
  expect(alarm.cautions.map((c: { id: string }) => c.id)).toEqual(['lockout', 'h2s', 'closing'])
  expect(alarm.cautions[1].source).toContain('29 CFR 1910.1000')
})

test('an alarm is answered for good only as the person saw it', async () => {
  const { ask, gateway } = await openYard()
  const url = '/api/alarms/upper%2Ftu.do.low/acknowledge'
  const view = alarmView(alarmDef('upper', 'tu.do.low'))
  const answer = async (body: object, as = view) => {
    gateway.setAlarm(as)
    const reply = await ask('POST', url, body)
    return [reply.statusCode, reply.json().code ?? reply.json().state]
  }
  expect(await answer({ occurrence: 'occ-0' })).toEqual([409, 'stale-occurrence'])
  expect(await answer({ occurrence: 'occ-1', version: 2 })).toEqual([409, 'stale-version'])
  expect(await answer({ occurrence: 'occ-1' }, { ...view, state: 'normal' })).toEqual([409, 'not-allowed'])
  expect(await answer({ occurrence: 'occ-1', version: 3, note: '  on my way ' })).toEqual([200, 'acknowledged'])
  expect(gateway.standing()[0]).toMatchObject({ acknowledgedBy: 'Night desk', note: 'on my way', version: 4 })
  expect((await ask('POST', '/api/alarms/upper%2Fnone/acknowledge', { occurrence: 'x' })).json().code).toBe('unknown-alarm')
})

test('a latched alarm is let go only when it was answered and its condition is gone', async () => {
  const { ask, gateway } = await openYard()
  const view = alarmView(alarmDef('upper', 'sump.h2s.high', { latching: true }), { state: 'latched-unacknowledged' })
  const reset = async (as: typeof view, occurrence = 'occ-1') => {
    gateway.setAlarm(as)
    const reply = await ask('POST', '/api/alarms/upper%2Fsump.h2s.high/reset', { occurrence })
    return [reply.statusCode, reply.json().code ?? reply.json().state]
  }
  expect(await reset(view)).toEqual([409, 'not-allowed'])
  expect(await reset({ ...view, state: 'latched-acknowledged' }, 'occ-0')).toEqual([409, 'stale-occurrence'])
  expect(await reset({ ...view, state: 'latched-acknowledged' })).toEqual([200, 'normal'])
})

test.each([
  [{}, 'body field occurrence: missing'],
  [{ occurrence: 5 }, 'body field occurrence: 5 found'],
  [{ occurrence: '' }, 'body field occurrence: "" found'],
  [{ occurrence: 'a', version: '3' }, 'body field version: "3" found'],
  [{ occurrence: 'a', version: 1.5 }, 'body field version: 1.5 found'],
  [{ occurrence: 'a', note: 'x'.repeat(501) }, 'body field note'],
  [{ occurrence: 'a', by: 'Somebody else' }, 'body: "by" is no field we know; known are occurrence, version, note'],
  [[], 'body: [] found'],
])('an answer with the body %j is refused: %s', async (body, says) => {
  const { ask, gateway } = yard()
  gateway.setAlarm(alarmView(alarmDef('upper', 'tu.do.low')))
  const reply = await ask('POST', '/api/alarms/upper%2Ftu.do.low/acknowledge', body)
  expect(reply.statusCode).toBe(400)
  expect(reply.json().message).toContain(says)
  expect(gateway.standing()[0]?.state).toBe('unacknowledged')
})

test.each([
  ['{"occurrence":', 'application/json', 400, 'not-json'],
  ['', 'application/json', 400, 'not-json'],
  ['{"__proto__":{"x":1},"occurrence":"a"}', 'application/json', 400, 'not-json'],
  ['occurrence=a', 'application/x-www-form-urlencoded', 415, 'not-our-media-type'],
  ['{"occurrence":"a"}', 'text/plain', 415, 'not-our-media-type'],
  ['{"occurrence":"a"}', 'application/xml', 415, 'not-our-media-type'],
  [`{"occurrence":"${'a'.repeat(65 * 1024)}"}`, 'application/json', 413, 'too-large'],
])('the body %.20s as %s is refused with %d', async (payload, type, status, code) => {
  const { app } = yard()
  const reply = await app.server.inject({ method: 'POST', url: '/api/alarms/upper%2Fx/acknowledge', payload, headers: { 'content-type': type, authorization: `Bearer ${TOKEN}` } })
  expect(reply.statusCode).toBe(status)
  expect(reply.json().code).toBe(code)
})

test('a body of just under 64 KiB is read', async () => {
  const { app } = yard()
  const payload = `{"occurrence":"a"${' '.repeat(64 * 1024 - 20)}}`
  const reply = await app.server.inject({
    method: 'POST',
    url: '/api/alarms/upper%2Fx/acknowledge',
    payload,
    headers: { 'content-type': 'application/json', authorization: `Bearer ${TOKEN}` },
  })
  expect(reply.json().code).toBe('unknown-alarm')
})

test('the journal tells what happened in the words of the alarm, also of one that is no longer defined', async () => {
  const { ask, gateway } = await openYard()
  const view = alarmView(alarmDef('upper', 'tu.do.low'))
  gateway.setAlarm(view)
  gateway.events.push(alarmEvent(view, 'acknowledged', { by: 'Ruth', note: 'seen' }), alarmEvent(alarmView(alarmDef('gone', 'old.rule')), 'raised'))
  const { events } = (await ask('GET', '/api/journal')).json()
  expect(events[0]).toMatchObject({ alarm: 'upper/tu.do.low', kind: 'acknowledged', by: 'Ruth', note: 'seen', what: 'Low oxygen (tu.do.low)', priority: 'medium', unit: 'mg/L' })
  expect(events[1]).toMatchObject({ what: 'old.rule (no longer defined)', priority: 'alert' })
  expect(gateway.journalAsked[0]).toEqual({ fromMs: NOON + 1 - 7 * 86_400_000, toMs: NOON + 1, limit: 201 })
  await ask('GET', `/api/journal?site=upper&from=5&to=6&limit=7`)
  expect(gateway.journalAsked[1]).toEqual({ site: 'upper', fromMs: 5, toMs: 6, limit: 8 })
})

test('a log entry comes back as it was written, with who and when', async () => {
  const { ask } = await openYard()
  const entry = { site: 'upper', kind: 'calibration', atMs: NOON - 60_000, about: 'tu.do', item: 'air', asFound: 7.9, value: 8.6, unit: 'mg/L', text: 'cap cleaned' }
  const written = await ask('POST', '/api/log', entry)
  expect(written.statusCode).toBe(201)
  expect(written.json()).toEqual({ ...entry, id: 1, by: 'Night desk', recordedMs: NOON })
  const fix = await ask('POST', '/api/log', { site: 'upper', kind: 'note', atMs: NOON, text: 'it was 8.5', corrects: 1 })
  expect(fix.json().corrects).toBe(1)
  const { entries } = (await ask('GET', '/api/log?site=upper')).json()
  expect(entries.map((e: { id: number }) => e.id)).toEqual([2, 1])
  expect((await ask('GET', '/api/log?site=lower')).json()).toEqual({ entries: [] })
  expect((await ask('GET', '/api/loops/upper')).json().log).toHaveLength(2)
})

test.each([
  [{ kind: 'note', text: 'x' }, 400, 'body field site: missing'],
  [{ site: 'nowhere', kind: 'note', atMs: NOON, text: 'x' }, 404, 'there are upper, lower'],
  [{ site: 'upper', kind: 'rumour', atMs: NOON, text: 'x' }, 400, 'body field kind: "rumour" found'],
  [{ site: 'upper', kind: 'note', atMs: 'now', text: 'x' }, 400, 'body field atMs: "now" found'],
  [{ site: 'upper', kind: 'note', atMs: NOON + 600_000, text: 'x' }, 400, 'lies ahead of now'],
  [{ site: 'upper', kind: 'note', atMs: NOON }, 400, 'an entry says something'],
  [{ site: 'upper', kind: 'note', atMs: NOON, text: '   ' }, 400, 'body field text'],
  [{ site: 'upper', kind: 'note', atMs: NOON, text: 'x', by: 'Other' }, 400, '"by" is no field we know; known are site, kind'],
  [{ site: 'upper', kind: 'note', atMs: NOON, text: 'x', about: 'tank 9' }, 400, 'body field about: "tank 9" found: name a stage'],
  [{ site: 'upper', kind: 'note', atMs: NOON, text: 'x', corrects: 44 }, 400, 'body field corrects: entry 44 is none'],
])('the log entry %j is refused with %d: %s', async (body, status, says) => {
  const { ask, gateway } = yard()
  const reply = await ask('POST', '/api/log', body)
  expect(reply.statusCode).toBe(status)
  expect(reply.json().message).toContain(says)
  expect(gateway.entries).toEqual([])
})

test('names and texts that look like markup come back letter for letter, as JSON', async () => {
  const { ask, app } = await openYard()
  const text = '<img src=x onerror=alert(1)> & "quotes" \u2028 </script> =HYPERLINK("x")'
  const reply = await ask('POST', '/api/log', { site: 'upper', kind: 'note', atMs: NOON, text, about: 'tu' })
  expect(reply.json().text).toBe(text)
  expect(reply.headers['content-type']).toBe('application/json; charset=utf-8')
  expect(reply.headers['x-content-type-options']).toBe('nosniff')
  const path = await app.server.inject({ url: '/api/loops/%3Cscript%3Ealert(1)%3C%2Fscript%3E', headers: { authorization: `Bearer ${TOKEN}`, host: HOST } })
  expect(path.headers['content-type']).toContain('application/json')
})

test('health adds the counters of the server to those of the gateway', async () => {
  const { ask } = await openYard()
  const health = (await ask('GET', '/api/health')).json()
  expect(health).toMatchObject({ version: '9.9.9', rejected: { NOT_JSON: 2 }, siteFaults: [{ field: 'zone' }], brokers: [{ state: 'listening' }] })
  const names = health.counters.map((c: { name: string }) => c.name)
  expect(names).toEqual(expect.arrayContaining(['readings', 'browsers', 'browserClosed', 'sessions', 'signInsFailed']))
  expect(new Set(names).size).toBe(names.length)
})

test('what was refused, what is in no site file, and what each site sends are there to ask for', async () => {
  const { ask } = await openYard()
  expect((await ask('GET', '/api/quarantine')).json()).toMatchObject({ entries: [{ code: 'NOT_JSON', count: 2 }], totals: { NOT_JSON: 2 } })
  expect((await ask('GET', '/api/unassigned')).json()).toMatchObject({ signals: [{ signal: 'panel.x7', guess: { quantity: 'ph' } }] })
  expect((await ask('GET', '/api/traffic')).json()).toMatchObject({ sites: [{ site: 'ostrand', clockBehindMs: -5000, month: null }] })
})

test('a refusal is told in plain words with what to do, and an unassigned signal with all it can be', async () => {
  const { ask } = await openYard()
  expect((await ask('GET', '/api/quarantine')).json().entries[0]).toMatchObject({ means: 'The text is not JSON.', todo: expect.stringContaining('JSON checker') })
  const { quantities } = (await ask('GET', '/api/unassigned')).json()
  const temperature = quantities.find((q: { id: string }) => q.id === 'temperature')
  expect(temperature).toEqual({
    id: 'temperature',
    word: 'temperature',
    units: [{ code: 'Cel', text: '°C' }],
    sentUnits: ['Cel', '[degF]', 'K'].map((code) => expect.objectContaining({ code })),
  })
})

test('adopting a signal names file and line and writes a note under the name of who did it; what cannot be adopted is told', async () => {
  const { ask } = await openYard()
  const done = await ask('POST', '/api/unassigned/adopt', { site: 'upper', signal: 'tu.x7', quantity: 'ph' })
  expect(done.json()).toEqual({ site: 'upper', signal: 'tu.x7', file: 'upper.yaml', line: 14, written: 'tu.x7: { quantity: "ph" }' })
  expect((await ask('GET', '/api/log?site=upper')).json().entries[0]).toMatchObject({
    kind: 'note',
    by: 'Night desk',
    text: 'Signal taken in: upper.yaml, line 14: tu.x7: { quantity: "ph" }',
  })
  expect((await ask('POST', '/api/unassigned/adopt', { site: 'upper', signal: 'tu.do', quantity: 'do' })).json()).toEqual({
    code: 'not-adopted',
    message: 'tu.do is in upper.yaml already.',
  })
  expect((await ask('POST', '/api/unassigned/adopt', { site: 'nowhere', signal: 'tu.x7', quantity: 'ph' })).json().code).toBe('unknown-loop')
  expect((await ask('POST', '/api/unassigned/adopt', { site: 'upper', signal: 'tu.x7' })).json().message).toContain('body field quantity: missing')
})

test('a failure of ours is told with a number, its reason only to the log', async () => {
  const { ask, gateway, log } = await openYard()
  gateway.broken = true
  const reply = await ask('GET', '/api/health')
  expect(reply.statusCode).toBe(500)
  expect(reply.json().code).toBe('internal')
  expect(reply.body).not.toContain('secret')
  const number = /under ([0-9a-f]{8})/.exec(reply.json().message)?.[1] ?? 'none'
  expect(log.join('\n')).toContain(`BUG ${number}`)
  expect(log.join('\n')).toContain('the disk is on fire')
})
