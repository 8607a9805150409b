/**
 * Messages a second through the whole intake, every one checked, parsed and committed to the embedded history before it is
 * acknowledged, against a plain mqtt.js subscriber that only counts, in the same run. `npm run bench intake`.
 *
 *   intake.qos1.*   from Mosquitto; baseline: the counting subscriber on the same Mosquitto
 *   intake.own.*    through the own broker; baseline: the counting subscriber on the bare broker library in its own process
 *   intake.script.*  the whole gateway against the shortest script, see intake-script.ts
 *   intake.design.*  processor time and memory at the design load, see intake-design.ts
 *   single, batch40 one reading a message, 40 readings a message
 *
 * Publisher in its own process, QoS 1. Ours and the plain one take turns, medians of the rounds. Every reading is looked
 * for in the history afterwards: a fast run that lost one ends the bench.
 */
import { spawn, type ChildProcess } from 'node:child_process'
import { mkdtempSync, rmSync } from 'node:fs'
import { cpus, loadavg, tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import mqtt from 'mqtt'
import { startAnyBroker } from '../../gateway/intake/any-broker.ts'
import { openCredentials } from '../../gateway/intake/credentials.ts'
import { createIntake, type Intake } from '../../gateway/intake/intake.ts'
import type { Message } from '../../gateway/intake/message.ts'
import { openEmbedded } from '../../gateway/history/embedded.ts'
import { startOwnBroker } from '../../gateway/intake/own-broker.ts'
import { createMosquitto, mosquittoPath, withoutMosquitto } from '../intake/mosquitto.ts'
import { freePort, PREFIX, realClock, until } from '../intake/parts.ts'
import { median, printFigures, type Figure } from './figure.ts'
import { designLoad } from './intake-design.ts'
import { batchOf, loop, SIGNALS, SITE, single } from './intake-load.ts'
import { againstScript } from './intake-script.ts'

type Kind = 'single' | 'batch40'
const COUNT: Readonly<Record<Kind, number>> = { single: 40_000, batch40: 8_000 }
const READINGS: Readonly<Record<Kind, number>> = { single: 1, batch40: SIGNALS.length }
/** Share of the counting subscriber's rate that is asked for; a bare insert and commit of each message reached 0.80 and 0.56. */
const SHARE: Readonly<Record<Kind, number>> = { single: 0.6, batch40: 0.4 }
const ROUNDS = 5
const WITHIN_MS = 120_000

const here = (name: string): string => fileURLToPath(new URL(name, import.meta.url))
const run = (file: string, ...args: string[]): ChildProcess => spawn(process.execPath, ['--import', 'tsx', here(file), ...args], { stdio: ['ignore', 'pipe', 'inherit'] })

async function publish(port: number, kind: Kind, user = '', secret = ''): Promise<void> {
  const child = run('./intake-publisher.ts', String(port), user, secret, kind, String(COUNT[kind]))
  let ended = false
  child.on('exit', () => (ended = true))
  await until('the publisher is done', () => ended, WITHIN_MS)
  if (child.exitCode !== 0) throw new Error('the publisher failed')
}

/** Messages a second between the first and the last of COUNT. */
interface Meter {
  count(): void
  full(): boolean
  rate(): number
}
function meter(kind: Kind): Meter {
  let seen = 0
  let first = 0
  let last = 0
  return {
    count() {
      if (seen++ === 0) first = performance.now()
      if (seen === COUNT[kind]) last = performance.now()
    },
    full: () => seen >= COUNT[kind],
    rate: () => ((COUNT[kind] - 1) * 1000) / (last - first),
  }
}

async function plain(port: number, kind: Kind): Promise<number> {
  const m = meter(kind)
  const client = await mqtt.connectAsync(`mqtt://127.0.0.1:${port}`, { clientId: 'plain' })
  client.on('message', () => m.count())
  await client.subscribeAsync(`${PREFIX}/#`, { qos: 1 })
  await publish(port, kind)
  await until('all are counted', () => m.full(), WITHIN_MS)
  await client.endAsync()
  return m.rate()
}

async function ours(kind: Kind, receive: (intake: Intake, m: Meter, dir: string) => Promise<() => Promise<void>>): Promise<number> {
  const dir = mkdtempSync(join(tmpdir(), 'bench-intake-'))
  const history = openEmbedded({ dir, clock: realClock })
  const sites = new Map([[SITE, loop()]])
  const intake = createIntake({ sites: () => sites, history, clock: realClock, prefix: PREFIX, onReadings: () => undefined })
  const sealing = setInterval(() => history.sealStep(15), 250)
  const m = meter(kind)
  const stop = await receive(intake, m, dir)
  await until('all are taken', () => m.full(), WITHIN_MS)
  await stop()
  clearInterval(sealing)
  const stats = history.stats()
  const stored = stats.sealed + stats.unsealed
  await history.close()
  rmSync(dir, { recursive: true, force: true })
  if (stored !== COUNT[kind] * READINGS[kind]) throw new Error(`${stored} readings in the history, ${COUNT[kind] * READINGS[kind]} were sent`)
  return m.rate()
}

const counted =
  (intake: Intake, meter: Meter) =>
  (m: Message, done: (refused: Error | null) => void): void =>
    intake.offer(m, (refused) => {
      if (!refused) meter.count()
      done(refused)
    })

const fromBroker = (port: number, kind: Kind, round: number): Promise<number> =>
  ours(kind, async (intake, m) => {
    const broker = startAnyBroker({
      url: `mqtt://127.0.0.1:${port}`,
      prefix: PREFIX,
      clock: realClock,
      instance: `bench-${kind}-${round}`,
      offer: counted(intake, m),
    })
    await until('connected', () => broker.status().state === 'connected')
    await publish(port, kind)
    return () => broker.stop({ withinMs: 1000 })
  })

const throughOwn = (kind: Kind): Promise<number> =>
  ours(kind, async (intake, m, dir) => {
    const credentials = openCredentials(join(dir, 'site-credentials.json'))
    const secret = await credentials.add(SITE)
    const broker = await startOwnBroker({
      host: '127.0.0.1',
      port: 0,
      prefix: PREFIX,
      clock: realClock,
      credentials,
      offer: counted(intake, m),
      limits: { messagesPerS: 1e9, burst: 1e9 },
    })
    await publish(broker.port, kind, SITE, secret)
    return () => broker.stop({ withinMs: 1000 })
  })

const figures: Figure[] = []
async function compare(name: string, kind: Kind, one: (round: number) => Promise<number>, other: () => Promise<number>): Promise<void> {
  const rates: number[] = []
  const baselines: number[] = []
  for (let round = 0; round <= ROUNDS; round++) {
    const [a, b] = [await one(round), await other()]
    // The first round warms both.
    if (round > 0) {
      rates.push(a)
      baselines.push(b)
    }
  }
  const readings = COUNT[kind] * READINGS[kind]
  figures.push({
    bench: `intake.${name}.${kind}`,
    value: median(rates),
    unit: 'msg/s',
    baseline: median(baselines),
    target: SHARE[kind] * median(baselines),
    better: 'more',
    n: `${ROUNDS} rounds of ${COUNT[kind]} messages, ${readings} readings; ${Math.round(Math.min(...rates))} to ${Math.round(Math.max(...rates))}`,
  })
}

console.log(
  `${cpus().length} x ${cpus()[0]?.model ?? '?'}, Node ${process.version}, load ${loadavg()
    .map((l) => l.toFixed(1))
    .join(' ')}; ${single(Date.now(), 1).length} and ${batchOf(Date.now(), 1).length} bytes a message`,
)
if (mosquittoPath === null) console.log(`intake.qos1.single, intake.qos1.batch40: not measured${withoutMosquitto}`)
else {
  const mosquitto = await createMosquitto({ inFlight: 0 })
  await mosquitto.start()
  for (const kind of ['single', 'batch40'] as const)
    await compare(
      'qos1',
      kind,
      (round) => fromBroker(mosquitto.port, kind, round),
      () => plain(mosquitto.port, kind),
    )
  await mosquitto.remove()
}
const port = await freePort()
const bare = run('./intake-plain-broker.ts', String(port))
await new Promise((resolve) => bare.stdout?.once('data', resolve))
for (const kind of ['single', 'batch40'] as const)
  await compare(
    'own',
    kind,
    () => throughOwn(kind),
    () => plain(port, kind),
  )
bare.kill()
figures.push(...(await againstScript()), ...(await designLoad()))
printFigures(figures)
