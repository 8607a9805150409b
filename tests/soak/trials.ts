/**
 * The promise "a message whose PUBACK the sender has seen is stored exactly once", tried on the running gateway: killed, its broker
 * taken away, its connection cut in the middle of a packet. The small sizes run with the tests, the large ones with `npm run soak`.
 */
import { spawn, type ChildProcess } from 'node:child_process'
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { connect, createServer, type AddressInfo, type Socket } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { openEmbedded } from '../../gateway/history/embedded.ts'
import { openCredentials } from '../../gateway/intake/credentials.ts'
import { createMosquitto } from '../intake/mosquitto.ts'
import { freePort, PREFIX, realClock, until } from '../intake/parts.ts'
import { startRecorder, type Recorder } from './recorder.ts'
import { openTap } from './tap.ts'

export interface Outcome {
  /** Readings sent; each had its PUBACK in the end. */
  readonly sent: number
  readonly connections: number
  /** Acknowledged and not in the history. */
  readonly missing: number
  /** In the history more than once. */
  readonly twice: number
  /** In the history with another value than was sent. */
  readonly wrong: number
}

const SITE = 'ostrand'
const SIGNAL = 'tu.do'
const TOPIC = `${PREFIX}/${SITE}/${SIGNAL}`
const CHILD = fileURLToPath(new URL('./gateway-child.ts', import.meta.url))
const FINISH_MS = 60_000

interface Yard {
  readonly dir: string
  readonly secret: string
  readonly port: number
  /** Starts the gateway and waits until it takes messages. */
  start(...flags: string[]): Promise<ChildProcess>
  kill(child: ChildProcess): Promise<void>
  /** Compares what was acknowledged with what the history holds. `owed`: by the time of the reading; default: all that had their PUBACK. */
  judge(r: Recorder, base: number, owed?: ReadonlySet<number>): Promise<Outcome>
  remove(): void
}

async function createYard(): Promise<Yard> {
  const dir = mkdtempSync(join(tmpdir(), 'soak-'))
  const sites = join(dir, 'sites')
  mkdirSync(sites)
  writeFileSync(
    join(sites, `${SITE}.yaml`),
    `id: ${SITE}\nname: Ostrand bus depot\nzone: Europe/Lisbon\nreportEvery: 60s\ntrain: [{ stage: sump }, { stage: treatment }, { stage: finished }]\nsignals:\n  ${SIGNAL}:\n  finished.level:\n`,
  )
  const data = join(dir, 'data')
  mkdirSync(data)
  const secret = await openCredentials(join(data, 'site-credentials.json')).add(SITE)
  const port = await freePort()
  return {
    dir,
    secret,
    port,
    async start(...flags) {
      const child = spawn(process.execPath, ['--import', 'tsx', CHILD, '--data', data, '--sites', sites, '--mqtt-port', String(port), ...flags], {
        stdio: ['ignore', 'pipe', 'inherit'],
      })
      let ready = false
      child.stdout?.on('data', (d: Buffer) => (ready ||= d.toString().includes('ready')))
      await until('the gateway takes messages', () => ready || child.exitCode !== null, FINISH_MS)
      if (!ready) throw new Error(`the gateway ended with code ${child.exitCode}`)
      return child
    },
    async kill(child) {
      const ended = new Promise((resolve) => child.once('exit', resolve))
      child.kill('SIGKILL')
      await ended
    },
    async judge(r, base, owed) {
      const history = openEmbedded({ dir: data, clock: realClock })
      const stored = await history.range(`${SITE}/${SIGNAL}`, base, base + r.sent(), r.sent() + 1000)
      await history.close()
      const seen = new Map<number, number>()
      let wrong = 0
      for (const x of stored) {
        const i = x.sourceMs - base
        seen.set(i, (seen.get(i) ?? 0) + 1)
        if (x.value !== i % 20) wrong++
      }
      return {
        sent: r.sent(),
        connections: r.connections(),
        missing: (owed ? [...owed].map((t) => t - base) : [...r.acknowledged]).filter((i) => !seen.has(i)).length,
        twice: [...seen.values()].filter((n) => n > 1).length,
        wrong,
      }
    },
    remove: () => rmSync(dir, { recursive: true, force: true }),
  }
}

/** Waits for traffic and then a random moment more, so that the blow never falls at the same place. */
async function underLoad(r: Recorder): Promise<void> {
  const from = r.acknowledged.size
  await until('traffic', () => r.acknowledged.size > from + 100, FINISH_MS)
  await new Promise((resolve) => setTimeout(resolve, Math.random() * 300))
}

/** kill -9 of the gateway, `rounds` times at random moments. */
export async function killed(rounds: number): Promise<Outcome> {
  const yard = await createYard()
  const base = Date.now() - 86_400_000
  let child = await yard.start()
  const r = startRecorder({ port: yard.port, topic: TOPIC, user: SITE, secret: yard.secret, base })
  try {
    for (let round = 0; round < rounds; round++) {
      await underLoad(r)
      await yard.kill(child)
      child = await yard.start()
    }
    await underLoad(r)
    await r.finish(FINISH_MS)
    await yard.kill(child)
    return await yard.judge(r, base)
  } finally {
    r.stop()
    child.kill('SIGKILL')
    yard.remove()
  }
}

/** The gateway takes from Mosquitto; in turn the one or the other goes down and comes back. */
export async function brokerGone(rounds: number): Promise<Outcome> {
  const yard = await createYard()
  const mosquitto = await createMosquitto()
  await mosquitto.start()
  const base = Date.now() - 86_400_000
  const flags = ['--broker', `mqtt://127.0.0.1:${mosquitto.port}`]
  let child = await yard.start(...flags)
  const r = startRecorder({ port: mosquitto.port, topic: TOPIC, base })
  try {
    for (let round = 0; round < rounds; round++) {
      await underLoad(r)
      if (round % 2 === 0) {
        // On SIGTERM it writes its sessions to disk. After a kill -9 it would itself have lost what it acknowledged.
        await mosquitto.stop()
        await mosquitto.start()
      } else {
        await yard.kill(child)
        child = await yard.start(...flags)
      }
    }
    await underLoad(r)
    await r.finish(FINISH_MS)
    // Acknowledged by Mosquitto is not yet stored: it keeps the rest for us, and gives it when we are there. As long as fewer are
    // missing each time, it is not done.
    let outcome: Outcome
    let before = Number.POSITIVE_INFINITY
    for (;;) {
      await new Promise((resolve) => setTimeout(resolve, 3000))
      await yard.kill(child)
      outcome = await yard.judge(r, base)
      if (outcome.missing === 0 || outcome.missing >= before) break
      before = outcome.missing
      child = await yard.start(...flags)
    }
    return outcome
  } finally {
    r.stop()
    child.kill('SIGKILL')
    await mosquitto.remove()
    yard.remove()
  }
}

export interface BrokerKilled extends Outcome {
  /** Mosquitto acknowledged them and died before it handed them over: a matter of its own settings. */
  readonly neverHanded: number
  /** Times the gateway came back to it. */
  readonly returns: number
}

/**
 * kill -9 of Mosquitto, `rounds` times at random moments. What it had acknowledged and not written down is gone with it, whoever
 * subscribes, so what is asked is: all that it handed over and we acknowledged is stored exactly once, and readings flow again.
 */
export async function brokerKilled(rounds: number): Promise<BrokerKilled> {
  const yard = await createYard()
  const mosquitto = await createMosquitto({ saves: true })
  await mosquitto.start()
  const tap = await openTap(mosquitto.port)
  const base = Date.now() - 86_400_000
  const child = await yard.start('--broker', `mqtt://127.0.0.1:${tap.port}`)
  const r = startRecorder({ port: mosquitto.port, topic: TOPIC, base })
  try {
    // Its session is written down once a second: a broker that never wrote has nothing to come back with.
    await until('readings flow', () => tap.answered.size > 100, FINISH_MS)
    await new Promise((resolve) => setTimeout(resolve, 2500))
    for (let round = 0; round < rounds; round++) {
      const before = tap.answered.size
      await until('readings flow', () => tap.answered.size > before + 100, FINISH_MS)
      await new Promise((resolve) => setTimeout(resolve, Math.random() * 300))
      await mosquitto.stop('SIGKILL')
      await mosquitto.start()
    }
    const before = tap.answered.size
    await until('readings flow again', () => tap.answered.size > before + 100, FINISH_MS)
    await r.finish(FINISH_MS)
    await yard.kill(child)
    const outcome = await yard.judge(r, base, tap.answered)
    return { ...outcome, neverHanded: [...r.acknowledged].filter((i) => !tap.handed.has(base + i)).length, returns: tap.connections() - 1 }
  } finally {
    r.stop()
    tap.close()
    child.kill('SIGKILL')
    await mosquitto.remove()
    yard.remove()
  }
}

/** Between publisher and own broker a proxy that lets a random number of bytes through and then cuts both ways. */
export async function cut(cuts: number): Promise<Outcome> {
  const yard = await createYard()
  const base = Date.now() - 86_400_000
  const child = await yard.start()
  let left = cuts
  const open = new Set<Socket>()
  const proxy = createServer((from) => {
    const to = connect(yard.port, '127.0.0.1')
    for (const s of [from, to]) {
      open.add(s)
      s.on('error', () => undefined)
      s.on('close', () => {
        open.delete(s)
        from.destroy()
        to.destroy()
      })
    }
    // A packet has about 60 bytes up and 4 down: nearly every cut falls inside one.
    let budget = left-- > 0 ? 500 + Math.floor(Math.random() * 20_000) : Number.POSITIVE_INFINITY
    const pass = (out: Socket) => (chunk: Buffer) => {
      if (chunk.length < budget) {
        budget -= chunk.length
        out.write(chunk)
        return
      }
      out.write(chunk.subarray(0, budget), () => {
        from.destroy()
        to.destroy()
      })
      budget = 0
    }
    from.on('data', pass(to))
    to.on('data', pass(from))
  })
  await new Promise<void>((resolve) => proxy.listen(0, '127.0.0.1', resolve))
  const r = startRecorder({ port: (proxy.address() as AddressInfo).port, topic: TOPIC, user: SITE, secret: yard.secret, base })
  try {
    await until('all cuts are made', () => left < 0, cuts * 5000 + FINISH_MS)
    await r.finish(FINISH_MS)
    await yard.kill(child)
    return await yard.judge(r, base)
  } finally {
    r.stop()
    for (const s of open) s.destroy()
    proxy.close()
    child.kill('SIGKILL')
    yard.remove()
  }
}
