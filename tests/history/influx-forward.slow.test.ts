import { spawn } from 'node:child_process'
import { createServer, type Server } from 'node:http'
import type { AddressInfo } from 'node:net'
import { afterAll, beforeAll, describe, expect, onTestFinished, test } from 'vitest'
import { createInflux1Sender, type Influx1Address } from '../../gateway/history/influx-http.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import { reading } from '../history.contract.ts'
import { until } from '../intake/parts.ts'
import { drained, expectSame, forwardTo, openRecord } from './influx.ts'
import { createInfluxd, influxdPath, withoutInfluxd, type Influxd } from './influxd.ts'
import { openStore, tempFolder } from './store.ts'

const T0 = Date.UTC(2026, 0, 5, 6)
const KEYS = Array.from({ length: 40 }, (_, k) => `bus depot ${k % 4}/signal, ${k}`)

/** Message `i` of a fleet that also sends late, doubtful and empty readings. */
function message(i: number): Reading[] {
  return KEYS.map((key, k) => {
    const late = (i * 7 + k) % 50 === 0
    const sourceMs = T0 + i * 10_000 - (late ? 3_600_123 : 0) + (late ? i : 0)
    const receivedMs = T0 + i * 10_000 + 180
    if ((i + k) % 97 === 0) return reading(key, sourceMs, null, { receivedMs, sub: 'sensor_failure' })
    if ((i + k) % 31 === 0) return reading(key, sourceMs, 99.5 + i, { receivedMs, quality: 'bad', sub: 'eu_exceeded', qc: 4 })
    return reading(key, sourceMs, Math.sin(i / 100 + k) * 10 ** (k % 5), { receivedMs, ...((i + k) % 17 === 0 && { quality: 'uncertain', sub: 'not_accurate', qc: 3 }) })
  })
}

describe.skipIf(influxdPath === null)(`forwarding to InfluxDB 1.x${withoutInfluxd}`, () => {
  let influxd: Influxd | null = null
  let made = 0
  const server = (): Influxd => {
    if (!influxd) throw new Error('influxd was not started')
    return influxd
  }
  const address = (): Influx1Address => ({ url: server().url, database: `forward ${made++}`, user: null, password: null, deadlineMs: 5_000 })
  beforeAll(async () => {
    influxd = await createInfluxd()
    await influxd.start()
  })
  afterAll(() => influxd?.remove())

  test('what is committed, late readings too, is in InfluxDB a moment later, field for field, and again after a restart of ours', async () => {
    const dir = tempFolder()
    const to = address()
    const store = openStore(dir)
    const first = forwardTo(to, store)
    for (let i = 0; i < 300; i++) store.commit(message(i))
    await drained(first)
    await expectSame(store, openRecord(to), KEYS)
    await first.stop()
    for (let i = 300; i < 400; i++) store.commit(message(i))
    await store.sealAll()
    await store.close()
    const again = openStore(dir)
    const second = forwardTo(to, again)
    await drained(second)
    await expectSame(again, openRecord(to), KEYS)
    // Only what was not acknowledged was sent.
    expect(second.counter('recordForwarded')).toBe(100 * KEYS.length)
  })

  test('a store that is older than its InfluxDB sends what is sealed too', async () => {
    const store = openStore(tempFolder())
    for (let i = 0; i < 200; i++) store.commit(message(i))
    await store.sealAll()
    for (let i = 200; i < 260; i++) store.commit(message(i))
    const to = address()
    const f = forwardTo(to, store)
    await drained(f)
    await expectSame(store, openRecord(to), KEYS)
  })

  test('InfluxDB away under load: readings are committed as ever, a person is told, and after it is back both are equal', async () => {
    const to = address()
    const store = openStore(tempFolder(), { sealAfterMs: 0 })
    const f = forwardTo(to, store, { patienceMs: 300 })
    let i = 0
    const load = async (messages: number): Promise<void> => {
      for (const end = i + messages; i < end; i++) {
        store.commit(message(i))
        if (i % 20 === 0) store.sealStep(5)
        if (i % 10 === 0) await new Promise((resolve) => setImmediate(resolve))
      }
    }
    await load(200)
    await server().stop()
    // A day of a reading every 10 s.
    await load(8_640)
    await until('it is told', () => f.forwarder.trouble() !== null, 10_000)
    expect(f.forwarder.trouble()).toMatch(/^InfluxDB at 127\.0\.0\.1:\d+, database forward \d+ has taken nothing for 0 min: .*Readings wait on disk/)
    expect(f.feed.stats().backlogBytes).toBeGreaterThan(1_000_000)
    expect(store.stats()).toMatchObject({ conflicts: 0 })
    await server().start()
    await load(200)
    await drained(f)
    expect(f.forwarder.trouble()).toBeNull()
    await expectSame(store, openRecord(to), KEYS)
    // What is in InfluxDB is no longer kept in the inbox.
    await store.sealAll()
    expect((await store.check()).inboxRows).toBe(0)
  })

  test('a backlog at its bound lets the oldest go and sends them from the sealed blocks: nothing is missing after', async () => {
    const to = address()
    const store = openStore(tempFolder(), { sealAfterMs: 0 })
    await server().stop()
    const f = forwardTo(to, store, {}, 200_000)
    for (let i = 0; i < 1_500; i++) {
      store.commit(message(i))
      store.sealStep(50)
      if (i % 100 === 0) await new Promise((resolve) => setImmediate(resolve))
    }
    for (let k = 0; k < 100; k++) store.sealStep(50)
    const { backlogBytes, skipped } = f.feed.stats()
    expect(backlogBytes).toBeLessThan(400_000)
    expect(skipped).toBeGreaterThan(10_000)
    expect(f.forwarder.trouble()).toMatch(/left the backlog; they are sent from the sealed history/)
    await server().start()
    await drained(f)
    expect(f.feed.stats().skipped).toBe(0)
    await expectSame(store, openRecord(to), KEYS)
  })

  test('InfluxDB killed in mid-write ten times: both are equal after', async () => {
    const to = address()
    const store = openStore(tempFolder(), { sealAfterMs: 0 })
    const f = forwardTo(to, store, { batchLines: 500, inFlight: 4 })
    let i = 0
    for (let kill = 0; kill < 10; kill++) {
      for (const end = i + 100; i < end; i++) store.commit(message(i))
      store.sealStep(20)
      const before = f.counter('recordForwarded')
      await until('it is taking lines', () => f.counter('recordForwarded') > before, 30_000)
      await server().stop('SIGKILL')
      await server().start()
    }
    await drained(f)
    await expectSame(store, openRecord(to), KEYS)
  })

  test('our own process killed while committing, sealing and forwarding: both are equal after, and nothing forwarded long ago is sent again', async () => {
    const to = address()
    const dir = tempFolder()
    const here = (file: string): string => JSON.stringify(new URL(`../../gateway/history/${file}`, import.meta.url).href)
    const program = `
      const { openEmbedded } = await import(${here('embedded.ts')})
      const { startForwarder } = await import(${here('forwarder.ts')})
      const { createInflux1Sender } = await import(${here('influx-http.ts')})
      const clock = { nowMs: () => Date.now(), steadyMs: () => performance.now() }
      const to = ${JSON.stringify(to)}
      const store = openEmbedded({ dir: process.argv[1], clock, sealAfterMs: 0 })
      const feed = store.feed({ name: to.url + ' ' + to.database, maxBacklogBytes: 2 ** 30 })
      const forwarder = startForwarder({ feed, sender: createInflux1Sender(to), clock, idleMs: 2, batchLines: 500, backlogBound: 2 ** 30 })
      let n = Math.max(-1, ...[...(await store.latest(['k/0', 'k/1', 'k/2'])).values()].map((r) => r.value)) + 1
      setInterval(() => {
        for (let k = 0; k < 200; k++, n++)
          store.commit([{ key: 'k/' + (n % 3), sourceMs: ${T0} + n * 1000, receivedMs: ${T0} + n * 1000, value: n, quality: 'good', sub: 'ok', qc: 1, clock: 'ok', live: true }])
        store.sealStep(2)
        console.log(forwarder.counters().find((c) => c.name === 'recordForwarded').value)
      }, 1)`
    for (let kill = 0; kill < 4; kill++) {
      const child = spawn(process.execPath, ['--import', 'tsx', '--input-type=module', '--eval', program, dir], { stdio: ['ignore', 'pipe', 'inherit'] })
      onTestFinished(() => void child.kill('SIGKILL'))
      await new Promise<void>((resolve, reject) => {
        child.stdout.on('data', (bytes: Buffer) => {
          if (Number(bytes.toString().trimEnd().split('\n').at(-1)) > 3_000 + kill * 777) child.kill('SIGKILL')
        })
        child.on('exit', (_, signal) => (signal === 'SIGKILL' ? resolve() : reject(new Error('the child ended by itself'))))
      })
    }
    const store = openStore(dir)
    const f = forwardTo(to, store)
    await drained(f)
    const { unsealed, sealed } = store.stats()
    expect(unsealed + sealed).toBeGreaterThan(12_000)
    expect(f.counter('recordForwarded')).toBeLessThan(unsealed + sealed)
    await expectSame(store, openRecord(to), ['k/0', 'k/1', 'k/2'])
  })

  test('poison points are parked with the reason of the server, the rest is stored, and it is told', async () => {
    const to = address()
    await server().query(`CREATE DATABASE "${to.database}"`)
    const week = T0 + 30 * 86_400_000
    // Another program has written text where we write figures, for that week.
    await createInflux1Sender(to).send(`reading,signal=other,site=other v="text" ${week}\n`)
    const store = openStore(tempFolder())
    const f = forwardTo(to, store, { batchLines: 1_000 })
    const poison = [11, 12, 500].map((n) => reading(KEYS[0] ?? '', week + n, n))
    const never = reading(KEYS[1] ?? '', Date.UTC(2300, 0, 1), 7)
    for (let i = 0; i < 100; i++) {
      store.commit(i === 50 ? [...message(i), ...poison, never] : message(i))
    }
    await drained(f)
    expect(f.feed.stats().parked).toBe(4)
    expect(f.forwarder.trouble()).toMatch(/will not take 4 readings, which are parked/)
    const record = openRecord(to)
    await expectSame(store, record, KEYS.slice(2))
    expect(await record.range(KEYS[0] ?? '', 0, 2 ** 45, 1e6)).toEqual(await store.range(KEYS[0] ?? '', 0, week, 1e6))
    store.commit(message(101))
    await drained(f)
    await expectSame(store, record, KEYS.slice(2))
  })

  test('a wrong database name that may not be made is told at once, and nothing is lost', async () => {
    const closed = await answering(404, '{"error":"database not found: \\"x\\""}')
    const store = openStore(tempFolder())
    const f = forwardTo({ url: closed.url, database: 'x', user: null, password: null }, store)
    store.commit(message(0))
    await until('it is told', () => f.forwarder.trouble() !== null, 5_000)
    expect(f.forwarder.trouble()).toMatch(/HTTP 404: database not found: "x"\. Correct its user, password, database or token/)
    expect(f.feed.stats().backlogBytes).toBeGreaterThan(0)
  })

  test('a server that never answers holds nothing up: every request ends at its deadline, and stopping does not wait', async () => {
    const mute = await answering(null, '')
    const store = openStore(tempFolder())
    const f = forwardTo({ url: mute.url, database: 'x', user: null, password: null, deadlineMs: 100 }, store)
    store.commit(message(0))
    await until('two requests were given up', () => f.counter('recordForwardFailures') >= 2, 10_000)
    await f.stop()
    expect(f.feed.stats().backlogBytes).toBeGreaterThan(0)
  })
})

/** A server that gives every request one answer, or with null none. */
async function answering(status: number | null, body: string): Promise<{ url: string; server: Server }> {
  const server = createServer((request, response) => {
    request.resume()
    if (status !== null) request.once('end', () => response.writeHead(status).end(body))
  })
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  onTestFinished(() => {
    server.closeAllConnections()
    server.close()
  })
  return { url: `http://127.0.0.1:${(server.address() as AddressInfo).port}`, server }
}
