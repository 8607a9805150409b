import { copyFileSync, existsSync, readFileSync, statSync, writeFileSync } from 'node:fs'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { parse } from 'yaml'
import { mosquittoPath, withoutMosquitto } from '../intake/mosquitto.ts'
import { startProduct, TOKEN, until, type Product } from '../product.ts'
import { makeBroker, type Broker } from './broker.ts'
import { deployText, makeServer, type Server } from './readme.ts'

const real = test.skipIf(mosquittoPath === null)
const HOST = { 'loops.example.org': 'localhost' }
let server: Server
let broker: Broker
let product: Product | null = null

beforeAll(async () => {
  server = makeServer()
  if (mosquittoPath === null) return
  for (const [name, instead] of [
    ['certificates', HOST],
    ['accounts', {}],
    ['first-site', {}],
    ['first-credential', {}],
  ] as const)
    expect(server.run(name, instead), name).toMatchObject({ status: 0 })
  for (const f of ['ca.crt', 'server.crt', 'server.key']) copyFileSync(server.at(`/trusted/${f}`), server.at(`/etc/mosquitto/loopkeeper/${f}`))
  broker = await makeBroker(server)
  await broker.start()
})
afterAll(async () => {
  await product?.stop()
  await broker?.stop()
  server.remove()
})

/** Starts the product with the settings of the unit's Mosquitto drop-in, the credential where systemd would put it. */
async function start(): Promise<Product> {
  const flags = [...deployText('systemd/with-mosquitto.conf').matchAll(/^Environment=LOOPKEEPER_(\w+)=(.*)$/gm)].flatMap(([, name, value]) => [
    `--${(name ?? '').toLowerCase().replaceAll('_', '-')}`,
    (value ?? '').replace('%d', server.at('/etc/loopkeeper')).replace(':1883', `:${broker.localPort}`),
  ])
  expect(flags).toHaveLength(6)
  writeFileSync(server.at('/tokens'), `tester ${TOKEN}\n`)
  const folder = { dir: server.dir, data: server.at('/var/lib/loopkeeper'), remove: () => undefined }
  const running = await startProduct(folder, ['--fleet', 'none', ...flags])
  await until(
    async () => JSON.stringify(await (await running.api('/api/health')).json()).includes('subscribed to loopkeeper/v1/#'),
    15_000,
    () => `the gateway did not subscribe:\n${running.printed()}\n${broker.log()}`,
  )
  return running
}
const valueOf = async (running: Product): Promise<unknown> => {
  const loop = (await (await running.api('/api/loops/yard-1')).json()) as {
    readonly signals: readonly { readonly signal?: string; readonly id?: string; readonly value?: unknown }[]
  }
  return loop.signals.find((s) => (s.signal ?? s.id) === 'tu.do')?.value
}

real(`a reading sent by the README's line, over TLS with the site's password, is on the page of the product as the unit starts it${withoutMosquitto}`, async () => {
  product = await start()
  const running = product
  expect(server.run('first-reading', { ...HOST, '-p 8883': `-p ${broker.tlsPort}` })).toMatchObject({ status: 0, err: '' })
  await until(
    async () => (await valueOf(running)) === 7.2,
    10_000,
    () => `the reading did not come:\n${running.printed()}`,
  )
})

real(`what is sent while the product is stopped is there after its next start${withoutMosquitto}`, async () => {
  expect(await product?.stop()).toBe(0)
  expect(server.run('first-reading', { ...HOST, '-p 8883': `-p ${broker.tlsPort}`, '-m 7.2': '-m 6.9' })).toMatchObject({ status: 0 })
  product = await start()
  const running = product
  await until(
    async () => (await valueOf(running)) === 6.9,
    10_000,
    () => `the reading did not come:\n${running.printed()}`,
  )
})

real(`the running product is backed up by the README's line, gives sign-in links, and its backup passes the restore test${withoutMosquitto}`, async () => {
  expect(server.run('backup')).toMatchObject({ status: 0, err: '' })
  expect(server.run('restore-test')).toMatchObject({ status: 0, out: expect.stringContaining(' 0 faults\n') as string })
  const path = /\/signin\?once=\S+/.exec(server.run('sign-in').out)?.[0] ?? ''
  expect((await fetch(`${product?.page}${path}`)).status).toBe(200)
  expect((await fetch(`${product?.page}${path}x`)).status).toBe(401)
})

test('the first site of the README is one the product takes', () => {
  expect(server.run('first-site')).toMatchObject({ status: 0, err: '' })
})

test('a credential of the own broker is made, listed and taken away by the commands of the README', () => {
  const ran = server.run('own-broker-credential')
  expect(ran).toMatchObject({ status: 0, err: '' })
  expect(ran.out).toMatch(/password shown only now:\n\S{32}\nyard-1 {2}made \d{4}-[\s\S]*credential revoked/)
})

real(`the secrets the README makes for the containers are all those of compose.yaml that need no certificate or InfluxDB${withoutMosquitto}`, () => {
  expect(server.run('container-secrets')).toMatchObject({ status: 0 })
  const declared = Object.values((parse(deployText('compose.yaml'), { merge: true }) as { secrets: Record<string, { file: string }> }).secrets).map((s) => s.file)
  const made = declared.filter((f) => existsSync(server.at(`/trusted/${f}`)))
  expect(declared.filter((f) => !made.includes(f)).sort()).toEqual(['./secrets/influx-write-token', './secrets/server.key'])
  for (const f of made) {
    expect(statSync(server.at(`/trusted/${f}`)).mode & 0o077, f).toBe(0)
    expect(readFileSync(server.at(`/trusted/${f}`), 'utf8').length).toBeGreaterThan(20)
  }
})
