/** Controllers that are no neighbours of our form, on real brokers: mapped topics, TLS, a sender that sends too much. */
import { spawnSync } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import mqtt from 'mqtt'
import { afterEach, beforeEach, expect, test } from 'vitest'
import { startAnyBroker } from '../../gateway/intake/any-broker.ts'
import { openCredentials, type Credentials } from '../../gateway/intake/credentials.ts'
import { createIntake, type Intake } from '../../gateway/intake/intake.ts'
import { startOwnBroker, type OwnBroker, type OwnBrokerParts } from '../../gateway/intake/own-broker.ts'
import type { Site } from '../../gateway/site/site.ts'
import { createMosquitto, mosquittoPath, withoutMosquitto } from './mosquitto.ts'
import { count, fakeHistory, PREFIX, realClock, until, yard, type FakeHistory } from './parts.ts'
import { connectSender } from './sender.ts'

const MAPPED = 'foreign: [{ topic: quay/unit7, time: { path: ts }, signals: { tu.do: { path: o2 } } }]'
let sites: ReadonlyMap<string, Site>
let history: FakeHistory
let intake: Intake
let dir: string
let credentials: Credentials
let closing: (() => Promise<unknown>)[]

beforeEach(() => {
  sites = new Map([
    ['ostrand', yard('ostrand', MAPPED)],
    ['kestrow', yard('kestrow')],
  ])
  history = fakeHistory()
  intake = createIntake({ sites: () => sites, history, clock: realClock, prefix: PREFIX, onReadings: () => undefined })
  dir = mkdtempSync(join(tmpdir(), 'foreign-'))
  credentials = openCredentials(join(dir, 'site-credentials.json'))
  closing = []
})
afterEach(async () => {
  for (const close of closing.reverse()) await close()
  rmSync(dir, { recursive: true, force: true })
})

const own = async (over: Partial<OwnBrokerParts> = {}): Promise<OwnBroker> => {
  const b = await startOwnBroker({ host: '127.0.0.1', port: 0, prefix: PREFIX, clock: realClock, credentials, offer: intake.offer, maps: intake.maps, ...over })
  closing.push(() => b.stop({ withinMs: 1000 }))
  return b
}
const sender = async (port: number, site: string, over = {}) => {
  const s = await connectSender(port, { username: site, password: await credentials.add(site), ...over })
  closing.push(() => s.end())
  return s
}

test('MQT-61 the own broker takes a mapped topic from the site whose file maps it, and from no other', async () => {
  const broker = await own()
  const [theirs, other] = [await sender(broker.port, 'ostrand'), await sender(broker.port, 'kestrow')]
  const body = JSON.stringify({ ts: Date.now(), o2: 7.2 })
  expect(await other.send('quay/unit7', body)).toBe('acknowledged')
  expect(history.stored).toEqual([])
  expect(intake.quarantine().rejected).toEqual({ WRONG_SITE: 1 })
  expect(await theirs.send('quay/unit7', body)).toBe('acknowledged')
  expect(history.stored).toMatchObject([{ key: 'ostrand/tu.do', value: 7.2 }])
  expect(await theirs.send('quay/unit8', body)).toBe('acknowledged')
  expect(intake.quarantine().rejected).toEqual({ WRONG_SITE: 1, TOPIC: 1 })
  expect(await other.subscribe('quay/unit7')).toBe(128)
  expect(count(broker, 'brokerWrongSite')).toBe(2)
})

test('MQT-64 a connection that sends more than its share is read more slowly, and nothing of it is lost', async () => {
  const broker = await own({ limits: { messagesPerS: 1000, burst: 50 } })
  const s = await sender(broker.port, 'ostrand')
  const base = Date.now() - 1000
  await Promise.all(Array.from({ length: 300 }, (_, i) => s.send(`${PREFIX}/ostrand/tu.do`, `{"v":${i % 20},"t":${base + i}}`)))
  expect(history.stored.length).toBe(300)
  expect(count(broker, 'brokerSlowed')).toBeGreaterThan(100)
})

const real = test.skipIf(mosquittoPath === null)
real.each([4, 5] as const)(`MQTT version %i: mapped topics of another broker are asked for, also those added later${withoutMosquitto}`, async (protocol) => {
  const m = await createMosquitto()
  closing.push(() => m.remove())
  await m.start()
  const b = startAnyBroker({
    url: `mqtt://127.0.0.1:${m.port}`,
    prefix: PREFIX,
    clock: realClock,
    offer: intake.offer,
    foreignTopics: intake.foreignTopics,
    protocol,
    backoff: { firstMs: 20, capMs: 200 },
  })
  closing.push(() => b.stop({ withinMs: 1000 }))
  const client = await mqtt.connectAsync(`mqtt://127.0.0.1:${m.port}`)
  closing.push(() => client.endAsync(true))
  let n = 0
  /** Sends until one comes: a subscription takes a moment. */
  const comes = async (topic: string): Promise<void> => {
    const before = history.stored.length
    for (let i = 0; i < 200 && history.stored.length === before; i++) {
      await client.publishAsync(topic, JSON.stringify({ ts: Date.now() + n++, o2: 7 }), { qos: 1 })
      await new Promise((resolve) => setTimeout(resolve, 20))
    }
    expect(history.stored.length).toBeGreaterThan(before)
  }
  await comes('quay/unit7')
  sites = new Map([['ostrand', yard('ostrand', MAPPED.replaceAll('unit7', 'unit9'))]])
  b.follow()
  await comes('quay/unit9')
  await m.stop()
  await until('the loss is seen', () => b.status().state !== 'connected')
  await m.start()
  await comes('quay/unit9')
})

const tool = 'openssl'
const openssl = spawnSync(tool, ['version']).status === 0
test.skipIf(!openssl)(`MQT-60 sites reach the own broker over TLS 1.2 and later, with the same rules${openssl ? '' : ' (skipped: no openssl on this machine)'}`, async () => {
  const made = spawnSync(
    tool,
    'req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 2 -subj /CN=yard -addext subjectAltName=IP:127.0.0.1 -keyout k.pem -out c.pem'.split(' '),
    { cwd: dir, encoding: 'utf8' },
  )
  if (made.status !== 0) throw new Error(made.stderr)
  const [cert, key] = [readFileSync(join(dir, 'c.pem'), 'utf8'), readFileSync(join(dir, 'k.pem'), 'utf8')]
  const broker = await own({ tls: { port: 0, cert, key } })
  const port = broker.tlsPort ?? 0
  expect(broker.status().detail).toContain(`TLS on ${port}`)
  const secret = await credentials.add('ostrand')
  const connect = (over: mqtt.IClientOptions) =>
    mqtt.connectAsync(`mqtts://127.0.0.1:${port}`, { ca: cert, username: 'ostrand', password: secret, reconnectPeriod: 0, ...over }, false)
  const client = await connect({})
  closing.push(() => client.endAsync(true))
  await client.publishAsync(`${PREFIX}/ostrand/tu.do`, '7.2', { qos: 1 })
  expect(history.stored).toMatchObject([{ key: 'ostrand/tu.do', value: 7.2 }])
  await expect(connect({ password: 'wrong' })).rejects.toThrow(/Bad username or password/)
  await expect(connect({ maxVersion: 'TLSv1.1', minVersion: 'TLSv1' } as mqtt.IClientOptions)).rejects.toThrow()
  await expect(mqtt.connectAsync(`mqtt://127.0.0.1:${port}`, { reconnectPeriod: 0, connectTimeout: 500 }, false)).rejects.toThrow()
  await until('counted', () => count(broker, 'brokerTlsFailed') >= 1)
  credentials.revoke('ostrand')
  expect(broker.dropRevoked()).toBe(1)
})
