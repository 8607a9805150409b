import { mkdtempSync, rmSync } from 'node:fs'
import { connect, type Socket } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, test } from 'vitest'
import { openCredentials, type Credentials } from '../../gateway/intake/credentials.ts'
import { createIntake, type Intake } from '../../gateway/intake/intake.ts'
import { startOwnBroker, type OwnBroker, type OwnBrokerLimits } from '../../gateway/intake/own-broker.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import { count, fakeHistory, fleet, handClock, NOW, PREFIX, until, type FakeHistory, type HandClock } from './parts.ts'
import { connectSender, type Sender } from './sender.ts'

let dir: string
let credentials: Credentials
let secrets: { ostrand: string; kestrow: string }
let history: FakeHistory
let clock: HandClock
let intake: Intake
let broker: OwnBroker
let told: Reading[]
let senders: Sender[]

beforeEach(async () => {
  dir = mkdtempSync(join(tmpdir(), 'own-broker-'))
  credentials = openCredentials(join(dir, 'site-credentials.json'))
  secrets = { ostrand: await credentials.add('ostrand'), kestrow: await credentials.add('kestrow') }
  senders = []
  await start()
})
afterEach(async () => {
  for (const s of senders) await s.end()
  await broker.stop({ withinMs: 1000 })
  rmSync(dir, { recursive: true, force: true })
})

async function start(limits: Partial<OwnBrokerLimits> = {}): Promise<void> {
  history = fakeHistory()
  clock = handClock()
  told = []
  const sites = fleet('ostrand', 'kestrow')
  intake = createIntake({ sites: () => sites, history, clock, prefix: PREFIX, onReadings: (r) => void told.push(...r) })
  broker = await startOwnBroker({ host: '127.0.0.1', port: 0, prefix: PREFIX, clock, credentials, offer: intake.offer, limits })
}
async function restart(limits: Partial<OwnBrokerLimits>): Promise<void> {
  await broker.stop({ withinMs: 1000 })
  await start(limits)
}

async function site(name: 'ostrand' | 'kestrow', over: Parameters<typeof connectSender>[1] = {}): Promise<Sender> {
  const s = await connectSender(broker.port, { username: name, password: secrets[name], clientId: 'panel', ...over })
  senders.push(s)
  return s
}
const refused = (over: Parameters<typeof connectSender>[1]): Promise<string> =>
  connectSender(broker.port, over).then(
    () => 'let in',
    (e: unknown) => (e instanceof Error ? e.message : String(e)),
  )

test('with port 0 the real port is told, and a port in use is a clear refusal', async () => {
  expect(broker.port).toBeGreaterThan(0)
  expect(broker.status()).toEqual({ name: 'own', state: 'listening', detail: `127.0.0.1:${broker.port}, 0 connected` })
  await expect(startOwnBroker({ host: '127.0.0.1', port: broker.port, prefix: PREFIX, clock, credentials, offer: () => undefined })).rejects.toMatchObject({ code: 'EADDRINUSE' })
})

test('MQT-03 a PUBACK that has been seen means the reading is committed', async () => {
  const order: string[] = []
  const commit = history.commit.bind(history)
  history.commit = (batch) => {
    const result = commit(batch)
    order.push(`commit ${batch[0]?.value}`)
    return result
  }
  const s = await site('ostrand')
  s.client.on('packetreceive', (p) => {
    if (p.cmd === 'puback') order.push('puback')
  })
  for (let i = 1; i <= 20; i++) {
    await s.send(`${PREFIX}/ostrand/tu.do`, `{"v":${i},"t":${NOW + i}}`)
    expect(history.stored.at(-1)?.value).toBe(i)
  }
  expect(order).toEqual(Array.from({ length: 20 }, (_, i) => [`commit ${i + 1}`, 'puback']).flat())
})

test('while the store refuses there is no PUBACK and the connection ends; resent afterwards, everything is there once', async () => {
  const topic = `${PREFIX}/ostrand/tu.do`
  const acknowledged = new Set<number>()
  let next = 1
  let refusals = 0
  for (let round = 0; next <= 60; round++) {
    history.refuses = round % 2 === 1
    const s = await site('ostrand')
    // Everything not acknowledged is sent again, one or several in flight, as a controller with a small memory does.
    const waiting = Array.from({ length: 60 }, (_, i) => i + 1)
      .filter((i) => !acknowledged.has(i))
      .slice(0, history.refuses && round % 4 === 1 ? 1 : 25)
    const results = await Promise.all(waiting.map((i) => s.send(topic, `{"v":${i},"t":${NOW + i}}`).then((r) => ({ i, r }))))
    for (const { i, r } of results) {
      if (r === 'acknowledged') acknowledged.add(i)
      else refusals++
    }
    next = acknowledged.size + 1
    if (history.refuses) expect(results.every((x) => x.r === 'ended')).toBe(true)
    await s.end()
    await until('the old session is gone', () => broker.status().detail.endsWith('0 connected'))
  }
  expect(refusals).toBeGreaterThan(0)
  expect(history.stored.map((r) => r.value).sort((a, b) => (a ?? 0) - (b ?? 0))).toEqual(Array.from({ length: 60 }, (_, i) => i + 1))
  for (let i = 1; i <= 60; i++) expect(history.timesStored('ostrand/tu.do', NOW + i)).toBe(1)
  expect(told.filter((r) => r.live).length).toBe(60)
  expect(count(broker, 'brokerHeld')).toBeGreaterThan(0)
})

test('the second copy of a reading, same signal and same time, is dropped', async () => {
  const s = await site('ostrand')
  for (let i = 0; i < 3; i++) expect(await s.send(`${PREFIX}/ostrand/tu.do`, `{"v":7.2,"t":${NOW}}`)).toBe('acknowledged')
  expect(history.stored).toHaveLength(1)
  expect(told).toHaveLength(1)
  expect(count(intake, 'readingsDuplicate')).toBe(2)
})

test('a poison message is acknowledged and quarantined, and the good ones behind it are stored', async () => {
  const s = await site('ostrand')
  const results = await Promise.all([
    s.send(`${PREFIX}/ostrand`, Buffer.from([0xff, 0x00])),
    s.send(`${PREFIX}/ostrand/a/b/c/d/e/f/g/h/i/j/k/l`, '1'),
    s.send(`${PREFIX}/ostrand/tu.do`, `{"v":7.2,"t":${NOW}}`),
    s.send(`${PREFIX}/ostrand/tu.ph`, `{"v":7.1,"t":${NOW}}`, { qos: 2 }),
  ])
  expect(results).toEqual(['acknowledged', 'acknowledged', 'acknowledged', 'acknowledged'])
  expect(intake.quarantine().rejected).toEqual({ NOT_UTF8: 1, TOPIC: 1 })
  expect(history.stored.map((r) => r.key)).toEqual(['ostrand/tu.do', 'ostrand/tu.ph'])
})

test('MQT-60 nobody gets in without the right secret', async () => {
  expect(await refused({})).toContain('Bad username or password')
  expect(await refused({ username: 'ostrand' })).toContain('Bad username or password')
  expect(await refused({ username: 'ostrand', password: secrets.kestrow })).toContain('Bad username or password')
  expect(await refused({ username: 'nobody', password: secrets.ostrand })).toContain('Bad username or password')
  expect(await refused({ username: 'ostrand', password: secrets.ostrand, protocolVersion: 5 })).not.toBe('let in')
  expect(count(broker, 'brokerLoginFailed')).toBe(4)
})

test('after five failures in a minute even the right secret is refused from there, a minute later it is not', async () => {
  for (let i = 0; i < 5; i++) await refused({ username: 'ostrand', password: 'guess' })
  expect(await refused({ username: 'ostrand', password: secrets.ostrand })).toContain('Not authorized')
  await site('kestrow')
  clock.atMs += 60_001
  await site('ostrand')
})

test('whoever is turned away is listed with name, address and reason, strangers without what they typed as their name', async () => {
  const who: string[] = []
  const listed = await startOwnBroker({
    host: '127.0.0.1',
    port: 0,
    prefix: PREFIX,
    clock,
    credentials,
    offer: intake.offer,
    turnedAway: (code, name, detail) => {
      who.push(`${code} ${name}: ${detail}`)
      intake.noteTurnedAway(code, name, detail, clock.nowMs())
    },
  })
  const real = broker
  broker = listed
  await refused({ username: 'ostrand', password: 'wrong' })
  await refused({ username: 'my-secret-typed-here', password: 'x' })
  await refused({ username: 'ostrand', password: secrets.ostrand, will: { topic: `${PREFIX}/kestrow/tu.do`, payload: Buffer.from('1'), qos: 0, retain: false } })
  const s = await site('ostrand')
  expect(await s.subscribe('#')).toBe(128)
  expect(who).toEqual([
    'SIGN_IN ostrand from 127.0.0.1: user or password wrong',
    'SIGN_IN an unknown user from 127.0.0.1: user or password wrong',
    `WILL ostrand from 127.0.0.1: will for ${PREFIX}/kestrow/tu.do refused`,
    'SUBSCRIBE ostrand from 127.0.0.1: subscription to # refused',
  ])
  expect(intake.quarantineEntries().map((e) => [e.code, e.topic, e.bytes])).toContainEqual(['SIGN_IN', 'ostrand from 127.0.0.1', 0])
  await listed.stop({ withinMs: 500 })
  broker = real
})

test('MQT-61 a site cannot publish for another: nothing is stored, nothing is forwarded, it is counted, its good messages go on', async () => {
  const victim = await site('kestrow')
  const seen: string[] = []
  victim.client.on('message', (topic) => seen.push(topic))
  expect(await victim.subscribe(`${PREFIX}/kestrow/note`)).toBe(1)
  expect(await victim.subscribe(`${PREFIX}/kestrow/tu.do`)).toBe(1)
  const s = await site('ostrand')
  expect(await s.send(`${PREFIX}/kestrow/tu.do`, '1')).toBe('acknowledged')
  expect(await s.send(`${PREFIX}/kestrow/note`, 'forged', { retain: true })).toBe('acknowledged')
  expect(await s.send('$SYS/loopkeeper/new/clients', 'kestrow/panel')).toBe('acknowledged')
  expect(await s.send('$SYS/other/new/clients', 'kestrow/panel')).toBe('acknowledged')
  expect(await s.send(`${PREFIX}/ostrand/tu.do`, '1')).toBe('acknowledged')
  // The victim's own message comes after anything forged would have.
  await victim.send(`${PREFIX}/kestrow/note`, 'mine')
  await until('the own message arrives', () => seen.length > 0)
  expect(seen).toEqual([`${PREFIX}/kestrow/note`])
  expect(victim.events).toEqual(['connect'])
  expect(history.stored.map((r) => r.key)).toEqual(['ostrand/tu.do'])
  expect(intake.quarantine().rejected).toMatchObject({ WRONG_SITE: 2 })
  expect(count(broker, 'brokerWrongSite')).toBe(4)
})

test.each([
  '#',
  '+/#',
  '$SYS/#',
  `${PREFIX}/#`,
  `${PREFIX}/ostrand/#`,
  `${PREFIX}/+/tu.do`,
  `${PREFIX}/kestrow/tu.do`,
  `${PREFIX}/kestrow`,
  `$share/g/${PREFIX}/ostrand/tu.do`,
  'nowhere',
])('MQT-61 a site cannot subscribe to %s', async (filter) => {
  const s = await site('ostrand')
  expect(await s.subscribe(filter)).toBe(128)
  expect(s.client.connected).toBe(true)
  expect(count(broker, 'brokerSubscribeRefused')).toBe(1)
})

test('a site may subscribe to topics of its own, up to a bound', async () => {
  await restart({ subscriptions: 3 })
  const s = await site('ostrand')
  expect(await Promise.all([1, 2, 3, 4].map((i) => s.subscribe(`${PREFIX}/ostrand/note${i}`)))).toEqual([1, 1, 1, 128])
  expect(await s.subscribe(`${PREFIX}/ostrand/note1`)).toBe(1)
  await s.client.unsubscribeAsync(`${PREFIX}/ostrand/note1`)
  expect(await s.subscribe(`${PREFIX}/ostrand/note4`)).toBe(1)
})

test('MQT-62 a client id cannot be taken over with the credential of another site; within a site the newer one wins', async () => {
  const first = await site('ostrand', { clientId: 'panel' })
  const other = await site('kestrow', { clientId: 'panel' })
  const forged = await site('kestrow', { clientId: 'ostrand/panel' })
  expect(await first.send(`${PREFIX}/ostrand/tu.do`, '1')).toBe('acknowledged')
  expect([first, other, forged].map((s) => s.events)).toEqual([['connect'], ['connect'], ['connect']])
  const second = await site('ostrand', { clientId: 'panel' })
  await until('the older session of the same site ends', () => first.events.includes('close'))
  expect([second, other, forged].map((s) => s.events)).toEqual([['connect'], ['connect'], ['connect']])
})

test('a will for another site refuses the connection, one for the own site is stored when the link is cut', async () => {
  const will = (topic: string) => ({ topic: `${PREFIX}/${topic}`, payload: Buffer.from('1'), qos: 1 as const, retain: true })
  expect(await refused({ username: 'ostrand', password: secrets.ostrand, will: will('kestrow/sump.high') })).toContain('Not authorized')
  const s = await site('ostrand', { will: will('ostrand/sump.high') })
  s.client.stream.destroy()
  await until('the will is stored', () => history.stored.length === 1)
  expect(history.stored[0]).toMatchObject({ key: 'ostrand/sump.high', value: 1 })
})

test('a will says nothing when the gateway itself ends the session: on stopping, on revoking, on refusing', async () => {
  const will = { topic: `${PREFIX}/ostrand/sump.high`, payload: Buffer.from('1'), qos: 1 as const, retain: false }
  const a = await site('ostrand', { will, clientId: 'a' })
  broker.drop('ostrand')
  await until('dropped', () => a.events.includes('close'))
  const b = await site('ostrand', { will, clientId: 'b' })
  const commit = history.commit.bind(history)
  // Refuses once: by the time the will could be taken the store works again.
  history.commit = () => {
    history.commit = commit
    throw new Error('disk full')
  }
  expect(await b.send(`${PREFIX}/ostrand/tu.do`, '1')).toBe('ended')
  const c = await site('ostrand', { will, clientId: 'c' })
  await broker.stop({ withinMs: 1000 })
  await until('stopped', () => c.events.includes('close'))
  expect(history.stored).toEqual([])
})

test('MQT-65 revoking a credential ends its live sessions and keeps them out; other sites stay', async () => {
  await restart({ beatMs: 20 })
  const a = await site('ostrand', { clientId: 'a' })
  const b = await site('ostrand', { clientId: 'b' })
  const other = await site('kestrow')
  // As `npm run sites credential revoke` does it: another process, the same file.
  openCredentials(join(dir, 'site-credentials.json')).revoke('ostrand')
  await until('both sessions end', () => a.events.includes('close') && b.events.includes('close'))
  expect(other.events).toEqual(['connect'])
  expect(await refused({ username: 'ostrand', password: secrets.ostrand })).toContain('Bad username or password')
  expect(count(broker, 'brokerDropped')).toBe(2)
})

test('a session that asks to be kept gets a clean one: nothing is queued for it while it is away', async () => {
  const a = await site('ostrand', { clean: false, clientId: 'keeper' })
  expect(await a.subscribe(`${PREFIX}/ostrand/note`)).toBe(1)
  await a.end()
  const b = await site('ostrand')
  for (let i = 0; i < 10; i++) await b.send(`${PREFIX}/ostrand/note`, `${i}`)
  const again = await site('ostrand', { clean: false, clientId: 'keeper' })
  const seen: string[] = []
  again.client.on('message', (_, payload) => seen.push(payload.toString()))
  expect(await again.subscribe(`${PREFIX}/ostrand/note`)).toBe(1)
  await b.send(`${PREFIX}/ostrand/note`, 'now')
  await until('the new one arrives', () => seen.length > 0)
  expect(seen).toEqual(['now'])
})

test('a retained message is taken as an ordinary one, live, and handed to nobody later', async () => {
  const a = await site('ostrand')
  expect(await a.send(`${PREFIX}/ostrand/tu.do`, '7.2', { retain: true })).toBe('acknowledged')
  expect(told).toMatchObject([{ value: 7.2, live: true }])
  const b = await site('ostrand', { clientId: 'b' })
  const seen: string[] = []
  b.client.on('message', (_, payload) => seen.push(payload.toString()))
  expect(await b.subscribe(`${PREFIX}/ostrand/tu.do`)).toBe(1)
  await a.send(`${PREFIX}/ostrand/tu.do`, '7.3')
  await until('the next one arrives', () => seen.length > 0)
  expect(seen).toEqual(['7.3'])
  expect(count(broker, 'brokerRetainDropped')).toBe(1)
})

async function raw(first: Uint8Array): Promise<{ readonly socket: Socket; readonly closed: () => boolean }> {
  let closed = false
  const socket = connect(broker.port, '127.0.0.1')
  socket.on('error', () => undefined)
  socket.on('close', () => (closed = true))
  await new Promise<void>((resolve) => socket.once('connect', () => resolve()))
  socket.write(first)
  return { socket, closed: () => closed }
}

test('a stranger that announces more than allowed is cut off before its body is gathered', async () => {
  const stranger = await raw(Uint8Array.of(0x10, 0x80, 0x80, 0x01 + 1))
  await until('the stranger is cut off at 16 KiB', stranger.closed)
  expect(count(broker, 'brokerTooLarge')).toBe(1)
  // It is only counted: what strangers send may be anything.
  expect(intake.quarantineEntries()).toEqual([])
})

test.each([400_000, 600_000, 3_000_000])(
  'a message of %i bytes is acknowledged and listed with its size, and the next good one comes through on the same connection',
  async (bytes) => {
    const s = await site('ostrand')
    expect(await s.send(`${PREFIX}/ostrand/tu.do`, Buffer.alloc(bytes, 0x20))).toBe('acknowledged')
    expect(await s.send(`${PREFIX}/ostrand/tu.do`, '7.25')).toBe('acknowledged')
    expect(intake.quarantine().rejected).toEqual({ TOO_LARGE: 1 })
    expect(intake.quarantineEntries()).toMatchObject([{ code: 'TOO_LARGE', topic: `${PREFIX}/ostrand/tu.do`, bytes, count: 1 }])
    expect(count(broker, 'brokerTooLarge')).toBe(0)
    expect(s.events).not.toContain('close')
  },
)

test('bytes that are no MQTT end that connection and nothing else', async () => {
  const s = await site('ostrand')
  for (const junk of [Buffer.from('GET / HTTP/1.1\r\n\r\n'), Buffer.alloc(64, 0xff), Buffer.from([0x30, 0x02, 0x00, 0x00]), Buffer.alloc(64)]) {
    const stranger = await raw(junk)
    await until('the stranger is cut off', stranger.closed)
  }
  expect(await s.send(`${PREFIX}/ostrand/tu.do`, '1')).toBe('acknowledged')
})

test('connections have a bound, in all and for one site', async () => {
  await restart({ connections: 4, connectionsPerSite: 2 })
  await site('ostrand', { clientId: 'a' })
  await site('ostrand', { clientId: 'b' })
  expect(await refused({ username: 'ostrand', password: secrets.ostrand, clientId: 'c' })).toContain('Server unavailable')
  await site('kestrow', { clientId: 'a' })
  await site('kestrow', { clientId: 'b' })
  expect(await refused({ username: 'kestrow', password: secrets.kestrow, clientId: 'c' })).not.toBe('let in')
  expect(count(broker, 'brokerOverLimit')).toBeGreaterThanOrEqual(2)
})

test('a connection that says nothing for the idle time is closed', async () => {
  await restart({ idleMs: 700 })
  const s = await site('ostrand', { keepalive: 0 })
  await until('closed for being idle', () => s.events.includes('close'))
})

test('stopping ends within its time with connections open, and takes nothing afterwards', async () => {
  const all = await Promise.all(Array.from({ length: 8 }, (_, i) => site('ostrand', { clientId: `c${i}` })))
  await broker.stop({ withinMs: 1000 })
  await until('all are closed', () => all.every((s) => s.events.includes('close')))
  expect(broker.status().state).toBe('down')
  await expect(connectSender(broker.port, { username: 'ostrand', password: secrets.ostrand })).rejects.toThrow()
})

test('A10 connecting and cutting a thousand times leaves no session and no subscription behind', async () => {
  for (let i = 0; i < 1000; i += 8) {
    const some = await Promise.all(Array.from({ length: 8 }, (_, k) => connectSender(broker.port, { username: 'ostrand', password: secrets.ostrand, clientId: `c${k}` })))
    await Promise.all(some.map((s) => s.subscribe(`${PREFIX}/ostrand/note`)))
    for (const s of some) s.client.stream.destroy()
    await until('cut', () => broker.status().detail.endsWith('0 connected'))
    await Promise.all(some.map((s) => s.end()))
  }
  expect(count(broker, 'brokerConnections')).toBe(0)
  expect(count(broker, 'brokerConnects')).toBe(1000)
})
