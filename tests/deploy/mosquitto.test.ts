import { copyFileSync, existsSync, readFileSync, writeFileSync } from 'node:fs'
import type { IClientOptions, MqttClient } from 'mqtt'
import { afterAll, afterEach, beforeAll, expect, test } from 'vitest'
import { mosquittoPath, withoutMosquitto } from '../intake/mosquitto.ts'
import { until } from '../product.ts'
import { connectOnce, makeBroker, type Broker } from './broker.ts'
import { deployText, makeServer, type Server } from './readme.ts'

const real = test.skipIf(mosquittoPath === null)
const HOST = { 'loops.example.org': 'localhost' }
let server: Server
let broker: Broker
let ca = ''
const password = (name: string): string => readFileSync(server.at(name), 'utf8').trim()
const clients: MqttClient[] = []
const connect = async (url: string, options: IClientOptions = {}, heard?: (topic: string, payload: Buffer) => void): Promise<MqttClient> => {
  const client = await connectOnce(url, options, heard)
  client.on('error', () => undefined)
  clients.push(client)
  return client
}
const tls = (user: string, secret: string, more: IClientOptions = {}): Promise<MqttClient> =>
  connect(`mqtts://localhost:${broker.tlsPort}`, { ca, username: user, password: secret, ...more })
const gateway = (more: IClientOptions = {}, heard?: (topic: string, payload: Buffer) => void): Promise<MqttClient> =>
  connect(`mqtt://127.0.0.1:${broker.localPort}`, { username: 'loopkeeper', password: password('/etc/loopkeeper/broker-password'), ...more }, heard)

/** Topics that reach the gateway of what `send` publishes; ends with a marker of another site, so that what was refused has had its time. */
async function reaching(send: () => Promise<unknown>): Promise<readonly string[]> {
  const taker = await gateway()
  const seen: string[] = []
  taker.on('message', (topic) => seen.push(topic))
  await taker.subscribeAsync('loopkeeper/v1/#', { qos: 1 })
  await send()
  const marker = await tls('yard-9', 'marker-of-the-test')
  await marker.publishAsync('loopkeeper/v1/yard-9/end', '1', { qos: 1 })
  await until(
    () => seen.at(-1) === 'loopkeeper/v1/yard-9/end',
    10_000,
    () => `the marker did not come: ${seen.join(' ')}`,
  )
  return seen.slice(0, -1)
}

/** The commands of the README, in its order, on an empty folder. */
beforeAll(async () => {
  server = makeServer()
  if (mosquittoPath === null) return
  for (const name of ['certificates', 'accounts', 'first-credential']) expect(server.run(name, name === 'certificates' ? HOST : {}), name).toMatchObject({ status: 0 })
  for (const site of ['yard-2', 'yard-9', 'yard-10']) server.sh(`mosquitto_passwd -b /etc/mosquitto/loopkeeper/passwords ${site} marker-of-the-test`)
  expect(server.run('client-certificate')).toMatchObject({ status: 0 })
  for (const f of ['ca.crt', 'server.crt', 'server.key', 'revoked.crl']) copyFileSync(server.at(`/trusted/${f}`), server.at(`/etc/mosquitto/loopkeeper/${f}`))
  ca = readFileSync(server.at('/trusted/ca.crt'), 'utf8')
  broker = await makeBroker(server, { certificates: true })
  await broker.start()
})
afterEach(async () => {
  for (const client of clients.splice(0)) await client.endAsync(true)
})
afterAll(async () => {
  await broker?.stop()
  server.remove()
})

real(`the certificates of the README hold for the name, and their keys are readable by their owner only${withoutMosquitto}`, () => {
  expect(server.sh('openssl verify -CAfile ca.crt -purpose sslserver -verify_hostname localhost server.crt')).toMatchObject({ status: 0, out: 'server.crt: OK\n' })
  expect(server.sh('openssl verify -CAfile ca.crt -purpose sslserver -verify_hostname other.example.org server.crt').status).not.toBe(0)
  expect(server.sh('openssl verify -CAfile ca.crt -purpose sslclient server.crt').status).not.toBe(0)
  expect(server.sh('stat -c %a ca.key server.key yard-2.key').out).toBe('600\n600\n600\n')
})

real(`a site publishes below its own prefix, with every form of topic the gateway reads${withoutMosquitto}`, async () => {
  const topics = ['loopkeeper/v1/yard-1/tu.do', 'loopkeeper/v1/yard-1', 'loopkeeper/v1/yard-1/deeper/still']
  const seen = await reaching(async () => {
    const site = await tls('yard-1', password('/trusted/yard-1.password'))
    for (const topic of topics) await site.publishAsync(topic, '7.2', { qos: 1 })
  })
  expect(seen).toEqual(topics)
})

real.each(['loopkeeper/v1/yard-2/tu.do', 'loopkeeper/v1/yard-10/tu.do', 'loopkeeper/v1/loopkeeper/x', 'loopkeeper/v1', 'other/topic'])(
  `a site's message to %s reaches nobody, and MQTT 5 says so${withoutMosquitto}`,
  async (topic) => {
    const seen = await reaching(async () => {
      const old = await tls('yard-1', password('/trusted/yard-1.password'))
      await old.publishAsync(topic, '1', { qos: 1 })
      await old.endAsync()
      const five = await tls('yard-1', password('/trusted/yard-1.password'), { protocolVersion: 5 })
      await expect(five.publishAsync(topic, '1', { qos: 1 })).rejects.toThrow(/not authorized/i)
    })
    expect(seen).toEqual([])
  },
)

real(`a site's will is held to the same rights${withoutMosquitto}`, async () => {
  const seen = await reaching(async () => {
    const secret = password('/trusted/yard-1.password')
    // A connection cut without a goodbye is what a will is for. The next one with the same name makes the broker notice.
    for (const topic of ['loopkeeper/v1/yard-2/gone', 'loopkeeper/v1/yard-1/gone']) {
      const site = await tls('yard-1', secret, { will: { topic, payload: Buffer.from('1'), qos: 1, retain: false } }).catch(() => null)
      site?.stream.destroy()
      const next = await tls('yard-1', secret)
      await next.endAsync()
    }
  })
  expect(seen).toEqual(['loopkeeper/v1/yard-1/gone'])
})

real(`a site that subscribes to everything is given nothing: not another site's readings, not its own, not $SYS${withoutMosquitto}`, async () => {
  const site = await tls('yard-2', 'marker-of-the-test')
  const heard: string[] = []
  site.on('message', (topic) => heard.push(topic))
  for (const filter of ['#', 'loopkeeper/v1/#', 'loopkeeper/v1/yard-1/tu.do', '$SYS/#', '$share/g/loopkeeper/v1/#'])
    await site.subscribeAsync(filter, { qos: 1 }).catch(() => undefined)
  const seen = await reaching(async () => {
    const other = await tls('yard-1', password('/trusted/yard-1.password'))
    await other.publishAsync('loopkeeper/v1/yard-1/tu.do', '7.2', { qos: 1 })
    await site.publishAsync('loopkeeper/v1/yard-2/tu.do', '7.1', { qos: 1 })
  })
  expect(seen).toEqual(['loopkeeper/v1/yard-1/tu.do', 'loopkeeper/v1/yard-2/tu.do'])
  expect(heard).toEqual([])
})

real(`the gateway's account publishes nothing, and the watcher reads the broker's own figures only${withoutMosquitto}`, async () => {
  const seen = await reaching(async () => {
    for (const topic of ['loopkeeper/v1/yard-1/tu.do', 'loopkeeper/v1/loopkeeper/x']) {
      const five = await gateway({ protocolVersion: 5 })
      await expect(five.publishAsync(topic, '1', { qos: 1 })).rejects.toThrow(/not authorized/i)
    }
    const watch = await connect(`mqtt://127.0.0.1:${broker.localPort}`, { username: 'watch', password: password('/etc/loopkeeper/watch-password') })
    const heard: string[] = []
    watch.on('message', (topic) => heard.push(topic))
    await watch.subscribeAsync(['#', '$SYS/#'], { qos: 1 })
    const site = await tls('yard-1', password('/trusted/yard-1.password'))
    await site.publishAsync('loopkeeper/v1/yard-1/tu.do', '7.2', { qos: 1 })
    await until(
      () => ['$SYS/broker/publish/messages/dropped', '$SYS/broker/store/messages/count'].every((t) => heard.includes(t)),
      15_000,
      () => `of $SYS came: ${heard.join(' ')}`,
    )
    expect(heard.filter((t) => !t.startsWith('$SYS/'))).toEqual([])
  })
  expect(seen).toEqual(['loopkeeper/v1/yard-1/tu.do'])
})

real(`nobody is let in without a name, with a wrong password, without TLS on the sites' port, or past another CA${withoutMosquitto}`, async () => {
  const url = `mqtts://localhost:${broker.tlsPort}`
  await expect(connectOnce(url, { ca })).rejects.toThrow(/not authorized/i)
  await expect(connectOnce(`mqtt://127.0.0.1:${broker.localPort}`, {})).rejects.toThrow(/not authorized/i)
  await expect(tls('yard-1', 'wrong')).rejects.toThrow(/not authorized/i)
  await expect(tls('yard-77', 'marker-of-the-test')).rejects.toThrow(/not authorized/i)
  await expect(connectOnce(`mqtt://127.0.0.1:${broker.tlsPort}`, { username: 'yard-2', password: 'marker-of-the-test' })).rejects.toThrow()
  await expect(connectOnce(url, { username: 'yard-2', password: 'marker-of-the-test' })).rejects.toThrow(/self.signed|unable to (get|verify)/i)
  await expect(tls('yard-2', 'marker-of-the-test', { maxVersion: 'TLSv1.1', minVersion: 'TLSv1' } as IClientOptions)).rejects.toThrow()
})

real(`a site cannot end another's connection by taking its client id${withoutMosquitto}`, async () => {
  const one = await tls('yard-1', password('/trusted/yard-1.password'), { clientId: 'controller' })
  let ended = false
  one.on('close', () => (ended = true))
  const two = await tls('yard-2', 'marker-of-the-test', { clientId: 'yard-1' })
  const three = await tls('yard-10', 'marker-of-the-test', { clientId: 'controller' })
  await three.publishAsync('loopkeeper/v1/yard-10/tu.do', '1', { qos: 1 })
  await one.publishAsync('loopkeeper/v1/yard-1/tu.do', '1', { qos: 1 })
  expect([ended, two.connected, three.connected]).toEqual([false, true, true])
})

real(`a message as large as the intake reads passes, one over the bound of a packet ends the connection${withoutMosquitto}`, async () => {
  const seen = await reaching(async () => {
    const site = await tls('yard-1', password('/trusted/yard-1.password'))
    await site.publishAsync('loopkeeper/v1/yard-1', Buffer.alloc(300_000, 32), { qos: 1 })
    const closed = new Promise<void>((resolve) => site.once('close', () => resolve()))
    void site.publishAsync('loopkeeper/v1/yard-1', Buffer.alloc(600_000, 32), { qos: 1 }).catch(() => undefined)
    await closed
  })
  expect(seen).toEqual(['loopkeeper/v1/yard-1'])
})

real(`20,000 readings sent while the gateway is away wait for it, all of them${withoutMosquitto}`, async () => {
  const session: IClientOptions = { clean: false, clientId: 'loopkeeper-gateway-1' }
  const first = await gateway(session)
  await first.subscribeAsync('loopkeeper/v1/#', { qos: 1 })
  await first.endAsync()
  const site = await tls('yard-1', password('/trusted/yard-1.password'))
  for (let i = 0; i < 20_000; i += 500) await Promise.all(Array.from({ length: 500 }, (_, k) => site.publishAsync('loopkeeper/v1/yard-1/tu.do', String(i + k), { qos: 1 })))
  const values = new Set<number>()
  const again = await gateway(session, (_, payload) => void values.add(Number(payload.toString())))
  await until(
    () => values.size === 20_000,
    20_000,
    () => `${values.size} of 20,000 came`,
  )
  await again.unsubscribeAsync('loopkeeper/v1/#')
})

real(`a certificate is an account: its name is the site, a foreign one and none are refused, a revoked one from the next start on${withoutMosquitto}`, async () => {
  const url = `mqtts://localhost:${broker.certificatePort}`
  const own = { ca, cert: readFileSync(server.at('/trusted/yard-2.crt')), key: readFileSync(server.at('/trusted/yard-2.key')) }
  const seen = await reaching(async () => {
    const site = await connect(url, own)
    await site.publishAsync('loopkeeper/v1/yard-2/tu.do', '7', { qos: 1 })
    await site.publishAsync('loopkeeper/v1/yard-1/tu.do', '7', { qos: 1 })
  })
  expect(seen).toEqual(['loopkeeper/v1/yard-2/tu.do'])
  await expect(connectOnce(url, { ca, username: 'yard-2', password: 'marker-of-the-test' })).rejects.toThrow()
  const stranger = server.sh('mkdir stranger; cd stranger; openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -keyout k -out c -subj /CN=yard-2')
  expect(stranger.status).toBe(0)
  await expect(connectOnce(url, { ca, cert: readFileSync(server.at('/trusted/stranger/c')), key: readFileSync(server.at('/trusted/stranger/k')) })).rejects.toThrow()
  expect(server.run('revoke-certificate')).toMatchObject({ status: 0 })
  copyFileSync(server.at('/trusted/revoked.crl'), server.at('/etc/mosquitto/loopkeeper/revoked.crl'))
  await broker.stop()
  await broker.start()
  await expect(connectOnce(url, own)).rejects.toThrow()
})

real(`the reading of the README is taken from its own command line${withoutMosquitto}`, async () => {
  if (!existsSync('/usr/bin/mosquitto_pub')) throw new Error('mosquitto_pub is not here: apt-get install mosquitto-clients')
  const seen = await reaching(async () => {
    expect(server.run('first-reading', { ...HOST, '-p 8883': `-p ${broker.tlsPort}` })).toMatchObject({ status: 0, err: '' })
  })
  expect(seen).toEqual(['loopkeeper/v1/yard-1/tu.do'])
})

real(`a credential that is taken away is refused after a reload, and its open session ends${withoutMosquitto}`, async () => {
  const site = await tls('yard-10', 'marker-of-the-test')
  let ended = false
  site.on('close', () => (ended = true))
  server.sh('mosquitto_passwd -D /etc/mosquitto/loopkeeper/passwords yard-10')
  broker.reload()
  await until(
    () => ended,
    5000,
    () => 'the session of a removed account goes on',
  )
  await expect(tls('yard-10', 'marker-of-the-test')).rejects.toThrow(/not authorized/i)
})

real(`a controller with topics of its own is let in by the lines the file of rights shows for it, and writes to those topics only${withoutMosquitto}`, async () => {
  const acl = deployText('mosquitto/acl')
  const shown = [...acl.matchAll(/^# {3}(.+)$/gm)].map((m) => m[1] ?? '')
  expect(shown).toEqual(['user quay-1', 'topic write quay/unit7/telemetry', 'topic read quay/unit7/telemetry'])
  const changed = acl.replace('user loopkeeper\n', `user loopkeeper\n${shown[2]}\n`).replace(/^pattern/m, `${shown[0]}\n${shown[1]}\n\npattern`)
  writeFileSync(server.at('/etc/mosquitto/loopkeeper/acl'), changed)
  server.sh('mosquitto_passwd -b /etc/mosquitto/loopkeeper/passwords quay-1 marker-of-the-test')
  broker.reload()
  let site: MqttClient | null = null
  await until(
    async () => (site = await tls('quay-1', 'marker-of-the-test', { protocolVersion: 5 }).catch(() => null)) !== null,
    5000,
    () => 'the new account is not let in',
  )
  const heard: string[] = []
  const taker = await gateway({}, (topic) => heard.push(topic))
  await taker.subscribeAsync('quay/unit7/telemetry', { qos: 1 })
  await (site as unknown as MqttClient).publishAsync('quay/unit7/telemetry', '{}', { qos: 1 })
  await until(
    () => heard.length === 1,
    5000,
    () => 'the message did not reach the gateway',
  )
  await expect((site as unknown as MqttClient).publishAsync('quay/unit8/telemetry', '{}', { qos: 1 })).rejects.toThrow(/not authorized/i)
})

test('the configuration for the container differs from the one for Debian in where things lie, and in nothing else', () => {
  const lines = (name: string): readonly string[] =>
    deployText(`mosquitto/${name}`)
      .split('\n')
      .filter((l) => l !== '' && !l.startsWith('#'))
  const [debian, container] = [lines('loopkeeper.conf'), lines('container.conf')]
  expect(container.slice(0, 3)).toEqual(['persistence true', 'persistence_location /mosquitto/data/', 'log_dest stdout'])
  const moved = debian.map((l) =>
    l
      .replace('listener 1883 127.0.0.1', 'listener 1883')
      .replace('/etc/mosquitto/loopkeeper/passwords', '/run/secrets/mosquitto-passwords')
      .replace('/etc/mosquitto/loopkeeper/server.key', '/run/secrets/mosquitto-server-key'),
  )
  expect(container.slice(3)).toEqual(moved)
})
