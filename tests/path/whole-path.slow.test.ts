import { execFileSync, spawn, spawnSync, type ChildProcess } from 'node:child_process'
import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { createServer } from 'node:net'
import { join } from 'node:path'
import { afterEach, describe, expect, test } from 'vitest'
import { alarmsBody, healthBody, historyBody, journalBody, loopDetailBody, type AlarmBody } from '../../server/wire.ts'
import { makeFolder, startProduct, threeSignals, until, type Folder, type Product } from '../product.ts'

const CLIENT = '/usr/bin/mosquitto_pub'
const BROKER = '/usr/sbin/mosquitto'
const noClient = existsSync(CLIENT) ? '' : ` (skipped: no ${CLIENT}, Debian package mosquitto-clients)`
const noBroker = noClient || (existsSync(BROKER) ? '' : ` (skipped: no ${BROKER}, Debian package mosquitto)`)
const withClient = (name: string, body: () => Promise<void>): void => test.skipIf(noClient !== '')(name + noClient, body)
const withBroker = (name: string, body: () => Promise<void>): void => test.skipIf(noBroker !== '')(name + noBroker, body)

const open: { products: Product[]; folders: Folder[]; children: ChildProcess[] } = { products: [], folders: [], children: [] }
afterEach(async () => {
  for (const p of open.products.splice(0)) await p.kill()
  for (const c of open.children.splice(0)) c.kill('SIGKILL')
  for (const f of open.folders.splice(0)) f.remove()
})

const folder = (sites: Record<string, string> = { 'yard-1.yaml': threeSignals }): Folder => {
  const f = makeFolder(sites)
  open.folders.push(f)
  return f
}
const start = async (f: Folder, args?: readonly string[]): Promise<Product> => {
  const p = await startProduct(f, args)
  open.products.push(p)
  return p
}
/** Publishes with Debian's client; its exit code 0 means the broker has acknowledged. */
const publish = (port: number, topic: string, payload: string, login: readonly string[] = []): void => {
  execFileSync(CLIENT, ['-h', '127.0.0.1', '-p', String(port), '-q', '1', '-t', topic, '-m', payload, ...login])
}
const json = async (p: Product, path: string): Promise<unknown> => (await p.api(path)).json()
const alarms = async (p: Product) => alarmsBody.parse(await json(p, '/api/alarms')).alarms
const raised = async (p: Product) => journalBody.parse(await json(p, `/api/journal?from=0&to=${Date.now() + 60_000}&limit=100`)).events.filter((e) => e.kind === 'raised')
const valueOf = async (p: Product, signal: string) => loopDetailBody.parse(await json(p, '/api/loops/yard-1')).signals.find((s) => s.id === signal)?.value
const health = async (p: Product) => healthBody.parse(await json(p, '/api/health'))
const trend = async (p: Product, signal: string, points: number) =>
  historyBody.parse(await json(p, `/api/history/yard-1/${signal}?from=${Date.now() - 3_600_000}&to=${Date.now() + 1000}&points=${points}`))
const history = async (p: Product, signal: string) => (await trend(p, signal, 60)).mean.filter((v) => v !== null)
const HIGH = 'yard-1/sump.level.high'
const standing = async (p: Product): Promise<AlarmBody> => {
  const alarm = (await alarms(p)).find((a) => a.id === HIGH)
  if (!alarm) throw new Error(`${HIGH} does not stand`)
  return alarm
}
const stands = async (p: Product) => (await alarms(p)).some((a) => a.id === HIGH)
const brief = (all: readonly AlarmBody[]) => all.map((a) => [a.id, a.state, a.occurrence, a.raisedMs, a.count])

describe('own broker, with Debian’s MQTT client', () => {
  withClient('a reading becomes history, a value and, past its limit, an alarm that one person answers', async () => {
    const p = await start(folder())
    const login = ['-u', 'yard-1', '-P', p.secrets.get('yard-1') ?? '']
    publish(p.mqttPort, 'loopkeeper/v1/yard-1/sump.level', '41', login)
    // mosquitto_pub has returned, so the reading is acknowledged, so it is stored: no waiting.
    expect(await history(p, 'sump.level')).toEqual([41])
    expect(await valueOf(p, 'sump.level')).toBe(41)
    expect(await stands(p)).toBe(false)

    publish(p.mqttPort, 'loopkeeper/v1/yard-1/sump.level', '{"v":85}', login)
    await until(
      () => stands(p),
      3000,
      () => `no alarm\n${p.printed()}`,
    )
    const alarm = await standing(p)
    expect(alarm).toMatchObject({ state: 'unacknowledged', value: 85, limit: 80, stage: 'sump' })
    for (const text of [alarm.what, alarm.cause, alarm.consequence, alarm.confirm, alarm.basis]) expect(text.length).toBeGreaterThan(5)
    expect(alarm.action.length).toBeGreaterThan(0)

    const answer = { method: 'POST', body: JSON.stringify({ occurrence: alarm.occurrence, version: alarm.version, note: 'on my way' }) }
    const path = `/api/alarms/${encodeURIComponent(HIGH)}/acknowledge`
    expect((await p.api(path, answer)).status).toBe(200)
    expect(await standing(p)).toMatchObject({ state: 'acknowledged', acknowledgedBy: 'tester', note: 'on my way' })
    const stale = await p.api(path, { method: 'POST', body: JSON.stringify({ occurrence: 'of-yesterday' }) })
    expect(stale.status).toBe(409)

    publish(p.mqttPort, 'loopkeeper/v1/yard-1', JSON.stringify({ signals: { 'sump.level': 60, 'tu.do': 7.9 } }), login)
    await until(
      async () => !(await stands(p)),
      3000,
      () => 'the alarm stayed',
    )
  })

  withClient('after kill -9 history and alarm states are the same and nothing is announced twice', async () => {
    const f = folder()
    const first = await start(f)
    const login = ['-u', 'yard-1', '-P', first.secrets.get('yard-1') ?? '']
    for (const v of [30, 50, 85]) publish(first.mqttPort, 'loopkeeper/v1/yard-1/sump.level', String(v), login)
    publish(first.mqttPort, 'loopkeeper/v1/yard-1', JSON.stringify({ signals: { 'finished.level': 55, 'tu.do': 7.9 } }), login)
    await until(
      () => stands(first),
      3000,
      () => 'no alarm',
    )
    const before = brief(await alarms(first))
    const announced = await raised(first)
    await first.kill()

    const second = await start(f)
    expect(second.secrets.size).toBe(0)
    const h = await trend(second, 'sump.level', 1)
    expect([h.count[0], h.min[0], h.max[0]]).toEqual([3, 30, 85])
    expect(brief(await alarms(second))).toEqual(before)
    // One more reading past the limit: still the same occurrence.
    publish(second.mqttPort, 'loopkeeper/v1/yard-1/sump.level', '86', login)
    await until(
      async () => (await valueOf(second, 'sump.level')) === 86,
      3000,
      () => 'the reading did not arrive',
    )
    expect(brief(await alarms(second))).toEqual(before)
    expect(await raised(second)).toEqual(announced)
  })

  withClient('what is wrong is counted with its reason and the rest goes on', async () => {
    const p = await start(folder({ 'yard-1.yaml': threeSignals, 'broken.yaml': 'id: broken\nname: Broken\nzone: Nowhere/Land\ntrain: []\nsignals: {}\n' }))
    const login = ['-u', 'yard-1', '-P', p.secrets.get('yard-1') ?? '']
    publish(p.mqttPort, 'loopkeeper/v1/yard-1/sump.level', 'forty', login)
    publish(p.mqttPort, 'loopkeeper/v1/yard-1/sump.level', 'NaN', login)
    publish(p.mqttPort, 'loopkeeper/v1/yard-1/sump.murk', '4', login)
    publish(p.mqttPort, 'loopkeeper/v1/yard-1', JSON.stringify({ signals: { 'sump.level': 44, 'tu.do': 'high' } }), login)
    expect(await history(p, 'sump.level')).toEqual([44])
    const told = await health(p)
    expect(Object.values(told.rejected).reduce((a, b) => a + b, 0)).toBe(4)
    expect(told.siteFaults[0]).toMatchObject({ file: 'broken.yaml', line: 3, field: 'zone' })
    expect(told.troubles[0]).toBe('A site file cannot be used: broken.yaml. A loop that was running goes on by its last good file; any other is not watched.')
    expect((await p.api('/api/loops/nowhere')).status).toBe(404)
    expect((await p.api('/api/history/yard-1/sump.level?from=yesterday')).status).toBe(400)
    expect((await fetch(`${p.page}/api/loops`)).status).toBe(401)
    // Without its password a site delivers nothing.
    expect(() => publish(p.mqttPort, 'loopkeeper/v1/yard-1/sump.level', '1', ['-u', 'yard-1', '-P', 'guess'])).toThrow()
    expect(await history(p, 'sump.level')).toEqual([44])
  })
})

withBroker('through a Mosquitto of its own a reading travels the same path, also after that broker was gone', async () => {
  const f = folder()
  const port = await freePort()
  const config = join(f.dir, 'mosquitto.conf')
  writeFileSync(config, `listener ${port} 127.0.0.1\nallow_anonymous true\npersistence false\nmax_queued_messages 0\nmax_inflight_messages 0\n`)
  const broker = (): ChildProcess => {
    const c = spawn(BROKER, ['-c', config], { stdio: 'ignore' })
    open.children.push(c)
    return c
  }
  const first = broker()
  const p = await start(f, ['--fleet', 'none', '--broker', `mqtt://127.0.0.1:${port}`])
  const connected = async () => (await health(p)).brokers.some((b) => b.state === 'connected')
  await until(connected, 10_000, () => `not connected\n${p.printed()}`)
  publish(port, 'loopkeeper/v1/yard-1/sump.level', '42')
  await until(
    async () => (await history(p, 'sump.level')).includes(42),
    3000,
    () => 'the reading did not arrive',
  )

  first.kill('SIGKILL')
  await until(
    async () => !(await connected()),
    10_000,
    () => 'a dead broker still counts as connected',
  )
  broker()
  await until(connected, 40_000, () => 'not connected again')
  publish(port, 'loopkeeper/v1/yard-1/sump.level', '91')
  await until(
    () => stands(p),
    5000,
    () => 'no alarm',
  )
})

describe('what keeps it from starting is one clear line and an exit code', () => {
  const run = (args: string[]): { code: number; text: string } => {
    try {
      execFileSync(process.execPath, ['--import', 'tsx', 'server/main.ts', ...args], { stdio: 'pipe', timeout: 60_000 })
      return { code: 0, text: '' }
    } catch (e) {
      const failure = e as { status: number; stderr: Buffer }
      return { code: failure.status, text: failure.stderr.toString() }
    }
  }

  test('a taken port', async () => {
    const f = folder()
    const blocker = createServer().listen(0, '127.0.0.1')
    await new Promise((r) => blocker.once('listening', r))
    const { port } = blocker.address() as { port: number }
    const page = run(['--data', f.data, '--fleet', 'none', '--mqtt-port', '0', '--port', String(port)])
    expect(page).toEqual({ code: 3, text: `Port ${port} on 127.0.0.1 is taken by another program: stop that, or choose another with --port PORT\n` })
    const mqtt = run(['--data', f.data, '--fleet', 'none', '--port', '0', '--mqtt-port', String(port)])
    expect(mqtt).toEqual({ code: 3, text: `Port ${port} on 127.0.0.1 is taken by another program: stop that, or choose another with --mqtt-port PORT\n` })
    blocker.close()
    // The failed starts have made no credential that nobody has seen: the next start shows it.
    const p = await start(f)
    expect(p.secrets.get('yard-1')).toMatch(/^\S{20,}$/)
  })

  test('a folder that cannot be written', () => {
    const f = folder()
    const r = run(['--data', join(f.dir, 'tokens', 'data'), '--fleet', 'none', '--port', '0', '--mqtt-port', '0'])
    expect(r.code).toBe(4)
    expect(r.text).toMatch(/^The folder \S+ cannot be written \(.+\): give another with --data DIR\n$/)
  })

  test.each([
    ['state.db', /^\S+state\.db cannot be opened as the state database \(alarm states, journal, site log\): file is not a database\. Put a backup back; moved away, .+\n$/],
    ['site-credentials.json', /^In \S+data: site-credentials\.json cannot be read \(no JSON\): put back a backup, or delete it and make new credentials\n$/],
  ])('%s that holds something else: it is left as it is', (name, expected) => {
    const f = folder()
    const file = join(f.data, name)
    writeFileSync(file, 'x'.repeat(9000))
    const r = run(['--data', f.data, '--fleet', 'none', '--port', '0', '--mqtt-port', '0'])
    expect(r.code).toBe(4)
    expect(r.text).toMatch(expected)
    expect(readFileSync(file, 'utf8')).toBe('x'.repeat(9000))
  })

  test('a setting that is wrong', () => {
    expect(run(['--port', 'web'])).toEqual({ code: 2, text: '--port is "web": a whole number from 0 to 65535 is needed\n' })
  })

  test('a Node that is too old', () => {
    const old = spawnSync(process.execPath, ['-e', "import('./server/prepare.mjs').then((m) => m.ensureNode('18.2.0'))"], { encoding: 'utf8' })
    expect(old.status).toBe(5)
    expect(old.stderr).toBe('Loopkeeper needs Node 20.20 or newer, this is 18.2.0. Node 24 is what we recommend.\n')
  })
})

test('SIGTERM stops the product with exit code 0', async () => {
  const p = await start(folder())
  expect(await p.stop()).toBe(0)
  expect(p.printed()).toContain('stopped')
})

const freePort = (): Promise<number> =>
  new Promise((resolve) => {
    const s = createServer().listen(0, '127.0.0.1', () => {
      const { port } = s.address() as { port: number }
      s.close(() => resolve(port))
    })
  })
