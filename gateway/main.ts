/** Composition of the gateway: builds the parts from the settings, in the order a reading meets them, and stops them in that order. */
import { accessSync, constants, mkdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { monitorEventLoopDelay } from 'node:perf_hooks'
import { defaultAlarms } from './alarms/defaults.ts'
import { openJournal } from './alarms/journal.ts'
import { startAlarmKeeper } from './alarms/keeper.ts'
import type { Clock } from './clock.ts'
import type { Config } from './config.ts'
import { createCurrent } from './current.ts'
import { openDatabase } from './database.ts'
import { createGateway, type GatewayCore } from './gateway.ts'
import { openEmbedded, type EmbeddedHistory } from './history/embedded.ts'
import { HistoryRefused } from './history/refused.ts'
import { startAnyBroker, type AnyBroker } from './intake/any-broker.ts'
import { openCredentials } from './intake/credentials.ts'
import { createIntake } from './intake/intake.ts'
import { startOwnBroker } from './intake/own-broker.ts'
import { openSiteLog } from './log/site-log.ts'
import type { GatewayPort } from './port.ts'
import { keyOf } from './site/reading.ts'
import { readSiteFolder } from './site-folder.ts'
import type { Site } from './site/site.ts'

export const systemClock: Clock = { nowMs: () => Date.now(), steadyMs: () => performance.now() }

/** Something a person must put right before the product can start; `exit` is the exit code. */
export class StartFault extends Error {
  readonly exit: number
  constructor(exit: number, message: string) {
    super(message)
    this.exit = exit
  }
}

export interface RunningGateway {
  readonly port: GatewayPort
  readonly mqttPort: number
  readonly sites: ReadonlyMap<string, Site>
  /** Credentials made at this start for sites that had none; the only moment their secrets can be read. */
  readonly newSecrets: ReadonlyMap<string, string>
  stop(options: { withinMs: number }): Promise<void>
}

export async function startGateway(config: Config, clock: Clock, siteDir: string): Promise<RunningGateway> {
  makeFolder(config.dataDir)
  const folder = readSiteFolder(siteDir)
  const sites = folder.sites
  const definitions = [...sites.values()].map((s) => ({ site: s, ...defaultAlarms(s) }))
  const siteFaults = [...folder.faults, ...definitions.flatMap((d) => d.faults.map((message) => ({ file: `${d.site.id}.yaml`, line: 1, field: 'alarms', message })))]

  const database = await openDatabase(join(config.dataDir, 'state.db'))
  const history = openHistory(config, clock)
  const keys = [...sites.values()].flatMap((s) => s.signals.map((x) => keyOf(s.id, x.id)))
  const stored = await history.latest(keys)
  const current = createCurrent(sites, stored)
  const journal = await openJournal(database)
  let core: GatewayCore | null = null
  const keeper = await startAlarmKeeper({
    sites,
    defs: definitions.flatMap((d) => d.defs),
    journal,
    clock,
    latest: stored,
    history,
    emit: (event, view) => core?.onAlarm(event, view),
  })
  const intake = createIntake({
    sites: () => sites,
    history,
    clock,
    prefix: config.prefix,
    onReadings: (readings) => core?.onReadings(readings),
    onHeard: (site, atMs) => core?.onHeard(site, atMs),
    seed: (key) => stored.get(key)?.sourceMs,
  })

  const credentials = openCredentials(join(config.dataDir, 'site-credentials.json'))
  const newSecrets = new Map<string, string>()
  const known = new Set(credentials.list().map((c) => c.site))
  for (const id of sites.keys()) if (!known.has(id)) newSecrets.set(id, await credentials.add(id))

  const delay = monitorEventLoopDelay({ resolution: 20 })
  delay.enable()
  const own = await startOwnBroker({ host: config.host, port: config.mqttPort, prefix: config.prefix, clock, credentials, take: (m) => intake.take(m) }).catch((e: unknown) => {
    throw portFault(e, config.mqttPort, config.host, '--mqtt-port')
  })
  const others: AnyBroker[] = []
  if (config.broker !== null) {
    const b = config.broker
    others.push(
      startAnyBroker({
        url: b.url,
        prefix: config.prefix,
        clock,
        take: (m) => intake.take(m),
        ...(b.user !== null && { username: b.user }),
        ...(b.passwordFile !== null && { password: firstLine(b.passwordFile, '--broker-password-file') }),
        ...(b.caFile !== null && { ca: readText(b.caFile, '--broker-ca-file') }),
      }),
    )
  }

  core = createGateway({
    clock,
    current,
    keeper,
    history,
    log: openSiteLog(database, clock),
    siteFaults,
    rejected: () => intake.quarantine(),
    brokers: () => [own.status(), ...others.map((o) => o.status())],
    counters: () => [
      ...intake.counters(),
      ...own.counters(),
      ...others.flatMap((o) => o.counters()),
      ...historyCounters(history.stats()),
      { name: 'eventLoopDelayP99Ms', value: Math.round(delay.percentile(99) / 1e6), what: 'Longest wait of the process, 99 of 100 times, ms. Over 50 it is too busy.' },
    ],
    troubles: () => [
      ...intake.troubles(),
      ...own.troubles(),
      ...others.flatMap((o) => (o.status().state === 'down' ? [`No connection to the broker ${o.status().name}: ${o.status().detail}`] : [])),
    ],
  })

  const running = core
  running.tick()
  const second = setInterval(() => running.tick(), 1000)
  // Small steps, so that a reading never waits long behind the sealing of others.
  const sealing = setInterval(() => history.sealStep(15), 250)

  return {
    port: running.port,
    mqttPort: own.port,
    sites,
    newSecrets,
    async stop({ withinMs }) {
      clearInterval(second)
      clearInterval(sealing)
      await Promise.all([own.stop({ withinMs }), ...others.map((o) => o.stop({ withinMs }))])
      await keeper.stop()
      await history.close()
      await database.destroy()
      delay.disable()
    },
  }
}

function historyCounters(s: ReturnType<ReturnType<typeof openEmbedded>['stats']>) {
  return [
    { name: 'historySignals', value: s.signals, what: 'Signals the history holds.' },
    { name: 'historyUnsealed', value: s.unsealed, what: 'Readings not yet in compressed blocks.' },
    { name: 'historySealed', value: s.sealed, what: 'Readings in compressed blocks.' },
    { name: 'historyConflicts', value: s.conflicts, what: 'Readings that gave another value for a time already stored; kept as corrections.' },
    { name: 'historyFileBytes', value: s.fileBytes, what: 'Size of the history file, bytes.' },
    { name: 'historyWalBytes', value: s.walBytes, what: 'Size of its write-ahead file, bytes.' },
  ]
}

function openHistory(config: Config, clock: Clock): EmbeddedHistory {
  try {
    return openEmbedded({ dir: config.dataDir, clock, synchronous: config.synchronous })
  } catch (e) {
    throw e instanceof HistoryRefused ? new StartFault(4, e.message) : e
  }
}

/** Makes the data folder, or says why it cannot be used. */
function makeFolder(dir: string): void {
  try {
    mkdirSync(dir, { recursive: true })
    accessSync(dir, constants.W_OK | constants.R_OK)
  } catch (e) {
    throw new StartFault(4, `The folder ${dir} cannot be written (${e instanceof Error ? e.message : String(e)}): give another with --data DIR`)
  }
}

/** The fault behind a failed listen. */
export function portFault(e: unknown, port: number, host: string, flag: string): unknown {
  const code = e instanceof Error && 'code' in e ? e.code : ''
  if (code === 'EADDRINUSE') return new StartFault(3, `Port ${port} on ${host} is taken by another program: stop that, or choose another with ${flag} PORT`)
  if (code === 'EACCES') return new StartFault(3, `Port ${port} on ${host} may not be used by this user: choose one above 1023 with ${flag} PORT`)
  if (code === 'EADDRNOTAVAIL' || code === 'ENOTFOUND') return new StartFault(2, `${host} is no address of this machine: give another with --host`)
  return e
}

export function readText(file: string, flag: string): string {
  try {
    return readFileSync(file, 'utf8')
  } catch (e) {
    throw new StartFault(4, `${flag} ${file} cannot be read: ${e instanceof Error ? e.message : String(e)}`)
  }
}

const firstLine = (file: string, flag: string): string => (readText(file, flag).split('\n')[0] ?? '').trim()
