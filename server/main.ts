/** The product in one process: gateway and server joined, the simulated fleet beside it as a program of its own. */
import { existsSync, readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { EXIT, readConfig, settingsHelp, type Config } from '../gateway/config.ts'
import { portFault, readText, startGateway, systemClock, type RunningGateway } from '../gateway/main.ts'
import { StartFault } from '../gateway/start-fault.ts'
import { fleetDir } from '../simulator/fleets/fleets.ts'
import { buildApp } from './app.ts'
import { type Demo, startDemo } from './demo.ts'
import { createAccess, readTokens, type Token } from './people/access.ts'

const root = fileURLToPath(new URL('..', import.meta.url))
const say = (line: string): void => console.log(line)

process.on('unhandledRejection', (e) => {
  console.error('BUG: a failure nobody was waiting for:', e)
  process.exit(EXIT.failed)
})

if (process.argv.includes('--help')) {
  console.log(settingsHelp())
  process.exit(0)
}
const settings = readConfig(process.argv.slice(2), process.env)
if (!settings.ok) {
  console.error(settings.message)
  process.exit(EXIT.usage)
}
try {
  await start(settings.config)
} catch (e) {
  console.error(e instanceof StartFault ? e.message : e)
  process.exit(e instanceof StartFault ? e.exit : EXIT.failed)
}

async function start(config: Config): Promise<void> {
  const ownSites = config.sitesDir ?? join(config.dataDir, 'sites')
  const siteDir = config.fleet === 'demo' ? fleetDir('demo') : ownSites
  if (config.sitesDir !== null && !existsSync(config.sitesDir))
    throw new StartFault(EXIT.folder, `--sites ${config.sitesDir} is not there: give the folder that holds the site files`)
  const clock = systemClock
  const tokens = config.apiTokenFile === null ? [] : tokensOf(config.apiTokenFile)
  const gateway = await startGateway(config, clock, siteDir)
  const access = await createAccess({ dataDir: config.dataDir, clock, tokens })
  const { version } = JSON.parse(readFileSync(join(root, 'package.json'), 'utf8')) as { version: string }
  const pageDir = join(root, 'web', 'dist')
  let demo: Demo | null = null
  const app = await buildApp({ gateway: gateway.port, clock, access, version, pageDir: existsSync(pageDir) ? pageDir : null, demo: () => demo })
  try {
    await app.server.listen({ port: config.port, host: config.host })
  } catch (e) {
    await gateway.stop({ withinMs: 1000 })
    throw portFault(e, config.port, config.host, '--port')
  }
  const address = app.server.server.address()
  const pagePort = typeof address === 'object' && address !== null ? address.port : config.port
  const host = config.host.includes(':') ? `[${config.host}]` : config.host
  const page = `http://${host}:${pagePort}`

  say('')
  say(`Loopkeeper ${version}: ${gateway.sites.size === 1 ? '1 loop' : `${gateway.sites.size} loops`} from ${config.fleet === 'demo' ? 'the simulated demo fleet' : siteDir}`)
  say(`  page     ${page}/`)
  say(`  sign in  ${page}${access.newLink()}   (works once, for 15 minutes; another: npm run signin-link -- --data ${config.dataDir})`)
  say(`  broker   mqtt://${host}:${gateway.mqttPort}`)
  say(`  data     ${config.dataDir}`)
  for (const f of gateway.port.health().siteFaults) console.error(`  site file ${f.file}: line ${f.line}${f.field ? `, ${f.field}` : ''}: ${f.message}`)
  if (config.fleet === 'demo') tellUnread(ownSites)
  if (config.fleet === 'none') tellSecrets(gateway, await gateway.makeCredentials(), host, config)
  say('Ctrl-C stops it.')
  say('')

  if (config.fleet === 'demo') {
    const { dataDir, host, prefix, seed, fillDays } = config
    demo = await startDemo({ dataDir, host, prefix, seed, fillDays, mqttPort: gateway.mqttPort, port: gateway.port, makeCredentials: gateway.makeCredentials, say })
  }
  let stopping = false
  const stop = (signal: string): void => {
    if (stopping) return
    stopping = true
    say(`${signal}: stopping`)
    // The history is written out in full before it closes, which takes seconds when millions of readings wait.
    const forced = setTimeout(() => process.exit(EXIT.failed), 60_000)
    void (async () => {
      demo?.stop()
      await app.stop({ withinMs: 2000 })
      await gateway.stop({ withinMs: 3000 })
      clearTimeout(forced)
      say('stopped')
      process.exit(EXIT.stopped)
    })().catch((e: unknown) => {
      console.error('stopping failed:', e)
      process.exit(EXIT.failed)
    })
  }
  for (const signal of ['SIGINT', 'SIGTERM', 'SIGHUP'] as const) process.on(signal, () => stop(signal))
}

function tokensOf(file: string): readonly Token[] {
  const text = readText(file, '--api-token-file')
  try {
    return readTokens(text)
  } catch (e) {
    throw new StartFault(4, `--api-token-file ${file}: ${e instanceof Error ? e.message : String(e)}`)
  }
}

/** Somebody put site files where they are read only without the demo fleet. */
function tellUnread(dir: string): void {
  const files = existsSync(dir) ? readdirSync(dir).filter((n) => /\.ya?ml$/.test(n)).length : 0
  if (files > 0) say(`  ${files === 1 ? 'A site file' : `${files} site files`} in ${dir} not read: the demo fleet has its own. Start with --fleet none to watch your loops.`)
}

/** Secrets of sites that had no credential yet, with a line that can be pasted; many sites are told to use the command. */
function tellSecrets(gateway: RunningGateway, secrets: ReadonlyMap<string, string>, host: string, config: Config): void {
  if (gateway.sites.size === 0) say(`  no loops yet: put a site file into ${config.sitesDir ?? join(config.dataDir, 'sites')} and start again (README, "Your own loop")`)
  const fresh = [...secrets]
  if (fresh.length === 0) return
  say('')
  say(
    `Credentials made for ${fresh.length} ${fresh.length === 1 ? 'site' : 'sites'} that had none. Shown only now; a lost one is replaced by "npm run sites credential add SITE -- --data ${config.dataDir}".`,
  )
  for (const [site, secret] of fresh) {
    const signal = gateway.sites.get(site)?.signals[0]?.id ?? 'signal'
    say(`  mosquitto_pub -h ${host} -p ${gateway.mqttPort} -u ${site} -P ${secret} -q 1 -t ${config.prefix}/${site}/${signal} -m 1`)
  }
}
