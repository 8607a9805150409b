/** The gateway as a running thing: its parts (compose.ts), the brokers in front of them, and the clock that drives them. */
import { accessSync, constants, existsSync, mkdirSync, readFileSync, statSync } from 'node:fs'
import { dirname, join, resolve } from 'node:path'
import { monitorEventLoopDelay } from 'node:perf_hooks'
import type { Clock } from './clock.ts'
import { compose } from './compose.ts'
import type { Config } from './config.ts'
import { gatewayId } from './gateway-id.ts'
import { HistoryRefused } from './history/refused.ts'
import { startAnyBroker, type AnyBroker } from './intake/any-broker.ts'
import { openCredentialUse } from './intake/credential-use.ts'
import { openCredentials, type Credentials } from './intake/credentials.ts'
import { startOwnBroker, type OwnBroker } from './intake/own-broker.ts'
import type { GatewayPort } from './port.ts'
import type { Site } from './site/site.ts'
import { StartFault } from './start-fault.ts'

export const systemClock: Clock = { nowMs: () => Date.now(), steadyMs: () => performance.now() }

export interface RunningGateway {
  readonly port: GatewayPort
  readonly mqttPort: number
  /** null: no TLS listener. */
  readonly mqttTlsPort: number | null
  readonly sites: ReadonlyMap<string, Site>
  /**
   * Makes credentials for sites that have none, and anew for those of `lost`; gives their secrets, which can be read only here.
   * To be called when everything listens: a start that fails must not leave secrets behind that nobody has seen.
   */
  makeCredentials(lost?: (site: string) => boolean): Promise<ReadonlyMap<string, string>>
  stop(options: { withinMs: number }): Promise<void>
}

export async function startGateway(config: Config, clock: Clock, siteDir: string): Promise<RunningGateway> {
  makeFolder(config.dataDir)
  const credentials = credentialsIn(config.dataDir)
  const use = openCredentialUse(join(config.dataDir, 'site-credentials-used.json'))
  const noteUse = (site: string): void => use.note(site, credentials.stamp(site), clock.nowMs())
  const parts = await compose(config, clock, siteDir).catch((e: unknown) => {
    throw e instanceof HistoryRefused ? new StartFault(4, e.message) : e
  })
  const { intake, sites, history } = parts

  const delay = monitorEventLoopDelay({ resolution: 20 })
  delay.enable()
  let lastMinuteP99: number | null = null
  let own: OwnBroker | null = null
  const others: AnyBroker[] = []
  // The door opens before the brokers do: a reading that is stored must also be judged.
  const core = parts.start({
    brokers: () => [...(own ? [own.status()] : []), ...others.map((o) => o.status())],
    counters: () => [
      ...(own?.counters() ?? []),
      // One name, one counter: those of further brokers carry a number.
      ...others.flatMap((o, i) => o.counters().map((c) => (i === 0 ? c : { ...c, name: `${c.name}${i + 1}` }))),
      {
        name: 'eventLoopDelayP99Ms',
        value: Math.round((lastMinuteP99 ?? delay.percentile(99)) / 1e6),
        what: 'Longest wait of the process in the last minute, 99 of 100 times, ms. Over 50 it is too busy.',
      },
    ],
    credentials: {
      locked:
        config.fleet === 'demo'
          ? 'The credentials of the demo fleet are held by the simulated fleet beside the gateway: start with --fleet none and site files of your own to give credentials out.'
          : null,
      outside: config.brokers.map((b) => new URL(b.url).host),
      list: () => credentials.list().map((c) => ({ ...c, usedMs: use.lastMs(c.site, credentials.stamp(c.site)) })),
      async replace(site) {
        const secret = await credentials.add(site)
        own?.dropRevoked()
        return secret
      },
      withdraw(site) {
        const had = credentials.revoke(site)
        own?.dropRevoked()
        return had
      },
    },
    troubles: () => [
      ...(own?.troubles() ?? []),
      ...others.flatMap((o) => (o.status().state === 'down' ? [`No connection to the broker ${o.status().name}: ${o.status().detail}`] : [])),
    ],
  })

  const tls = config.mqttTls && {
    port: config.mqttTls.port,
    cert: readText(config.mqttTls.certFile, '--mqtt-cert-file'),
    key: readText(config.mqttTls.keyFile, '--mqtt-key-file'),
  }
  const listening = await startOwnBroker({
    host: config.host,
    port: config.mqttPort,
    prefix: config.prefix,
    clock,
    credentials: {
      ...credentials,
      async verify(site, secret) {
        const verdict = await credentials.verify(site, secret)
        if (verdict === 'right') noteUse(site)
        return verdict
      },
    },
    offer(m, done) {
      if (m.site !== null) noteUse(m.site)
      intake.offer(m, done)
    },
    maps: intake.maps,
    turnedAway: (code, who, detail) => {
      intake.noteTurnedAway(code, who, detail, clock.nowMs())
      sayOnce(`own broker: ${who}: ${detail}`)
    },
    ...(tls && { tls }),
  }).catch((e: unknown) => {
    throw brokerFault(e, config)
  })
  own = listening
  const instance = gatewayId(config.dataDir)
  for (const b of config.brokers) {
    others.push(
      startAnyBroker({
        url: b.url,
        prefix: config.prefix,
        instance,
        clock,
        offer: intake.offer,
        foreignTopics: intake.foreignTopics,
        protocol: b.protocol,
        ...(b.user !== null && { username: b.user }),
        ...(b.passwordFile !== null && { password: firstLine(b.passwordFile, '--broker-password-file') }),
        ...(b.caFile !== null && { ca: readText(b.caFile, '--broker-ca-file') }),
        ...(b.certFile !== null && { cert: readText(b.certFile, '--broker-cert-file') }),
        ...(b.keyFile !== null && { key: readText(b.keyFile, '--broker-key-file') }),
      }),
    )
  }

  core.tick()
  const second = setInterval(() => core.tick(), 1000)
  const sites5s = setInterval(() => {
    if (parts.followSites()) for (const o of others) o.follow()
  }, 5000)
  void parts.lookAfterHistory()
  const minute = setInterval(() => {
    lastMinuteP99 = delay.percentile(99)
    delay.reset()
    use.keep()
    void parts.lookAfterHistory()
  }, 60_000)
  // Small steps, so that a reading never waits long behind the sealing of others; while there is more, the next comes soon.
  let sealing: NodeJS.Timeout
  const seal = (): void => {
    sealing = setTimeout(seal, history.sealStep(15) ? 30 : 250)
  }
  seal()

  return {
    port: core.port,
    mqttPort: listening.port,
    mqttTlsPort: listening.tlsPort,
    sites,
    async makeCredentials(lost = () => false) {
      const secrets = new Map<string, string>()
      const known = new Set(credentials.list().map((c) => c.site))
      for (const id of sites.keys()) if (!known.has(id) || lost(id)) secrets.set(id, await credentials.add(id))
      return secrets
    },
    async stop({ withinMs }) {
      clearInterval(second)
      clearInterval(sites5s)
      clearInterval(minute)
      clearTimeout(sealing)
      await Promise.all([listening.stop({ withinMs }), ...others.map((o) => o.stop({ withinMs }))])
      await parts.stop()
      use.keep()
      delay.disable()
    },
  }
}

/** One folder after the other: `recursive` never comes back where folders cannot be made at all, as below /proc. */
function makePath(dir: string): void {
  if (existsSync(dir)) return
  makePath(dirname(dir))
  mkdirSync(dir)
}

/** Says a line on the console unless it was said within the last ten minutes; at most 500 lines are remembered. */
const saidAtMs = new Map<string, number>()
function sayOnce(line: string): void {
  const nowMs = performance.now()
  if (nowMs - (saidAtMs.get(line) ?? Number.NEGATIVE_INFINITY) < 600_000) return
  if (saidAtMs.size >= 500) saidAtMs.clear()
  saidAtMs.set(line, nowMs)
  console.warn(line)
}

/** Makes the data folder, or says why it cannot be used. */
function makeFolder(dir: string): void {
  try {
    makePath(resolve(dir))
    if (!statSync(dir).isDirectory()) throw new Error('a file of that name is in the way')
    accessSync(dir, constants.W_OK | constants.R_OK)
  } catch (e) {
    throw new StartFault(4, `The folder ${dir} cannot be written (${e instanceof Error ? e.message : String(e)}): give another with --data DIR`)
  }
}

function credentialsIn(dataDir: string): Credentials {
  try {
    return openCredentials(join(dataDir, 'site-credentials.json'))
  } catch (e) {
    throw new StartFault(4, `In ${dataDir}: ${e instanceof Error ? e.message : String(e)}`)
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

/** A failed listen of the own broker: which of its two ports, or a certificate that is none. */
function brokerFault(e: unknown, config: Config): unknown {
  if (config.mqttTls && e instanceof Error && 'code' in e && String(e.code).startsWith('ERR_OSSL'))
    return new StartFault(4, `--mqtt-cert-file ${config.mqttTls.certFile} and --mqtt-key-file ${config.mqttTls.keyFile} are no certificate and its key (${e.message})`)
  const atTls = config.mqttTls !== null && e instanceof Error && 'port' in e && e.port === config.mqttTls.port
  return atTls ? portFault(e, config.mqttTls.port, config.host, '--mqtt-tls-port') : portFault(e, config.mqttPort, config.host, '--mqtt-port')
}

export function readText(file: string, flag: string): string {
  try {
    return readFileSync(file, 'utf8')
  } catch (e) {
    throw new StartFault(4, `${flag} ${file} cannot be read: ${e instanceof Error ? e.message : String(e)}`)
  }
}

const firstLine = (file: string, flag: string): string => (readText(file, flag).split('\n')[0] ?? '').trim()
