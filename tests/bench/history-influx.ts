/** The record in InfluxDB 1.x: forwarding against ready-made lines sent plainly to the same server, and trends against the bare query. */
import http from 'node:http'
import type { Clock } from '../../gateway/clock.ts'
import { openEmbedded } from '../../gateway/history/embedded.ts'
import { startForwarder } from '../../gateway/history/forwarder.ts'
import { createInflux1Sender } from '../../gateway/history/influx-http.ts'
import { openInflux1 } from '../../gateway/history/influx1.ts'
import { lineOf, lineStart } from '../../gateway/history/line.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import { createInfluxd, influxdPath, type Influxd } from '../history/influxd.ts'
import { median, type Figure } from './figure.ts'
import { Noise, reading, valueOf } from './history-load.ts'

const clock: Clock = { nowMs: () => Date.now(), steadyMs: () => performance.now() }
const T0 = Date.UTC(2026, 0, 5)
const STEP_MS = 10_000
const SIGNALS = 8_000
const ROUNDS = 60
const LINES = 5_000
const DAYS = 90

export async function influx(dir: string): Promise<Figure[]> {
  if (influxdPath === null) {
    console.log('history.forward and history.influxTrend are left out: no influxd on this machine')
    return []
  }
  const influxd = await createInfluxd()
  try {
    await influxd.start()
    return [...(await forward(dir, influxd)), ...(await trend(dir, influxd))]
  } finally {
    await influxd.remove()
  }
}

async function forward(dir: string, influxd: Influxd): Promise<Figure[]> {
  const noise = new Noise(17)
  const keys = Array.from({ length: SIGNALS }, (_, i) => `yard-${Math.floor(i / 40)}/signal-${i % 40}`)
  const rounds = Array.from({ length: ROUNDS }, (_, round) =>
    keys.map((key, i) => reading(key, T0 + round * STEP_MS + (i % 9_000), T0 + round * STEP_MS + 9_200, valueOf(i, round * 10, noise))),
  )
  const readings = SIGNALS * ROUNDS
  const plain: number[] = []
  const ours: number[] = []
  for (let turn = 0; turn < 3; turn++) {
    plain.push(await plainRate(influxd, `plain ${turn}`, rounds))
    const store = openEmbedded({ dir: `${dir}/forward-${turn}`, clock })
    for (const batch of rounds) store.commit(batch)
    const feed = store.feed({ name: 'bench', maxBacklogBytes: 2 ** 32 })
    const from = performance.now()
    const sender = createInflux1Sender({ url: influxd.url, database: `forward ${turn}`, user: null, password: null })
    const forwarder = startForwarder({ feed, sender, clock, idleMs: 5, backlogBound: 2 ** 32 })
    while (feed.stats().backlogBytes > 0) await new Promise((resolve) => setTimeout(resolve, 2))
    ours.push((1_000 * readings) / (performance.now() - from))
    await forwarder.stop({ withinMs: 5_000 })
    await store.close()
    const counted = JSON.stringify(await influxd.query('SELECT count(tr) FROM reading', `forward ${turn}`))
    if (!counted.includes(`,${readings}]`)) throw new Error(`InfluxDB holds ${counted}, not ${readings}`)
  }
  return [
    {
      bench: 'history.forward',
      value: median(ours),
      unit: 'readings/s',
      baseline: median(plain),
      target: 0.7 * median(plain),
      better: 'more',
      n: `${readings.toLocaleString('en-US')} readings of ${SIGNALS.toLocaleString('en-US')} signals, from disk, packed, 5,000 a request, 4 under way; baseline the same lines ready-made, not packed, 4 under way; median of 3`,
    },
  ]
}

/** Lines made beforehand, sent as they are, four requests under way. */
async function plainRate(influxd: Influxd, database: string, rounds: readonly (readonly Reading[])[]): Promise<number> {
  await influxd.query(`CREATE DATABASE "${database}"`)
  const lines = rounds.flat().map((r) => lineOf(lineStart(r.key), r.sourceMs, r.receivedMs, r.value ?? Number.NaN, 0))
  const bodies: Buffer[] = []
  for (let i = 0; i < lines.length; i += LINES) bodies.push(Buffer.from(lines.slice(i, i + LINES).join('')))
  const agent = new http.Agent({ keepAlive: true, maxSockets: 4 })
  const from = performance.now()
  const send = async (): Promise<void> => {
    for (let body = bodies.shift(); body; body = bodies.shift()) {
      const whole = body
      await new Promise<void>((resolve, reject) => {
        const request = http.request(
          `${influxd.url}/write?db=${encodeURIComponent(database)}&precision=ms`,
          { agent, method: 'POST', headers: { 'content-length': whole.length } },
          (response) => {
            response.resume()
            if (response.statusCode !== 204) reject(new Error(`HTTP ${response.statusCode}`))
            response.once('end', resolve)
          },
        )
        request.once('error', reject)
        request.end(whole)
      })
    }
  }
  await Promise.all([send(), send(), send(), send()])
  agent.destroy()
  return (1_000 * lines.length) / (performance.now() - from)
}

async function trend(dir: string, influxd: Influxd): Promise<Figure[]> {
  const noise = new Noise(19)
  const key = 'quarry-yard/tu.do'
  const steps = (DAYS * 86_400_000) / STEP_MS
  const store = openEmbedded({ dir: `${dir}/trend`, clock })
  const address = { url: influxd.url, database: 'trend', user: null, password: null, deadlineMs: 60_000 }
  const feed = store.feed({ name: 'trend', maxBacklogBytes: 2 ** 32 })
  const forwarder = startForwarder({ feed, sender: createInflux1Sender(address), clock, idleMs: 5, backlogBound: 2 ** 32 })
  for (let i = 0; i < steps; i += 8_000) {
    store.commit(Array.from({ length: Math.min(8_000, steps - i) }, (_, k) => reading(key, T0 + (i + k) * STEP_MS, T0 + (i + k) * STEP_MS + 150, valueOf(0, (i + k) * 10, noise))))
    store.sealStep(20)
  }
  while (feed.stats().backlogBytes > 0) await new Promise((resolve) => setTimeout(resolve, 5))
  await forwarder.stop({ withinMs: 5_000 })
  await store.sealAll()
  const record = openInflux1(address)
  const toMs = T0 + DAYS * 86_400_000
  const bucketMs = Math.ceil((toMs - T0) / 1_000)
  const bare = `SELECT count(v), min(v), max(v), mean(v), first(v), last(v) FROM reading WHERE site = 'quarry-yard' AND signal = 'tu.do' AND time >= ${T0}ms AND time < ${toMs}ms GROUP BY time(${bucketMs}ms, ${T0 % bucketMs}ms) fill(none)`
  const through: number[] = []
  const bareMs: number[] = []
  const own: number[] = []
  const timed = async (work: () => Promise<unknown>): Promise<number> => {
    const from = performance.now()
    await work()
    return performance.now() - from
  }
  await record.buckets([key], T0, toMs, 1_000)
  await store.buckets([key], T0, toMs, 1_000)
  for (let round = 0; round < 5; round++) {
    bareMs.push(await timed(() => influxd.query(bare, 'trend')))
    through.push(await timed(() => record.buckets([key], T0, toMs, 1_000)))
    own.push(await timed(() => store.buckets([key], T0, toMs, 1_000)))
  }
  const counted = (await record.buckets([key], T0, toMs, 1_000))[0]?.buckets.reduce((s, b) => s + b.count, 0)
  if (counted !== steps) throw new Error(`the trend through InfluxDB counted ${counted}, not ${steps}`)
  await record.close()
  await store.close()
  const n = `1 signal, ${steps.toLocaleString('en-US')} readings -> 1,000 spans, median of 5`
  return [
    {
      bench: 'history.influxTrend',
      value: median(through),
      unit: 'ms',
      baseline: median(bareMs),
      target: 1.3 * median(bareMs),
      better: 'less',
      n: `${n}; baseline the bare query`,
    },
    {
      bench: 'history.ownTrend',
      value: median(own),
      unit: 'ms',
      baseline: median(bareMs),
      target: median(bareMs) / 5,
      better: 'less',
      n: `${n}; baseline the bare query of InfluxDB`,
    },
  ]
}
