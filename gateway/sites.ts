/**
 * `npm run sites <command>`: looks after site files and the credentials of own-broker sites.
 *
 *   check DIR                          reads every site file, says what is wrong, exit code 1 if anything is
 *   adopt SITE SIGNAL [--quantity Q] [--unit U] [--name N] [--in STAGE] [--sites DIR]
 *                                      takes a signal that arrives unassigned into the site file; comments stay
 *   credential add SITE [--sites DIR] [--data DIR]
 *                                      makes a credential (the old one ends) and shows its secret once
 *   credential list [--data DIR]
 *   credential revoke SITE [--data DIR]
 */
import { existsSync } from 'node:fs'
import { join } from 'node:path'
import { defaultAlarms } from './alarms/defaults.ts'
import { openCredentials, type Credentials } from './intake/credentials.ts'
import { adoptInto } from './site-adopt.ts'
import { readSiteFolder } from './site-folder.ts'
import { faultText } from './site/site-file.ts'

const USAGE =
  'npm run sites check DIR\nnpm run sites adopt SITE SIGNAL -- [--quantity Q] [--unit UCUM] [--name TEXT] [--in STAGE] [--sites DIR]\nnpm run sites credential add SITE -- [--sites DIR] [--data DIR]\nnpm run sites credential list -- [--data DIR]\nnpm run sites credential revoke SITE -- [--data DIR]'

const args = process.argv.slice(2)
/** Takes `--flag value` out of the arguments. */
function flag(name: string): string | undefined {
  const at = args.indexOf(`--${name}`)
  return at >= 0 ? args.splice(at, 2)[1] : undefined
}
const dataDir = flag('data') ?? process.env.LOOPKEEPER_DATA ?? 'data'
const flagOf = { quantity: flag('quantity'), unit: flag('unit'), name: flag('name'), in: flag('in') }
const sitesDir = flag('sites') ?? process.env.LOOPKEEPER_SITES
try {
  process.exitCode = await main(args)
} catch (e) {
  console.error(e instanceof Error ? e.message : String(e))
  process.exitCode = 1
}

async function main([noun, verb, site, ...rest]: readonly string[]): Promise<number> {
  const stray = rest[0] ?? (noun === 'check' || verb === 'list' ? site : undefined)
  if (stray !== undefined) {
    console.error(`"${stray}" is one word too many. With npm, options stand behind a lone "--":\n${USAGE}`)
    return 2
  }
  if (noun === 'check' && verb !== undefined) return check(verb)
  if (noun === 'adopt' && verb !== undefined && site !== undefined) return adoptOne(verb, site)
  if (noun === 'credential') {
    if (verb === 'list') return list()
    if (verb === 'add' && site !== undefined) return addOne(site)
    if (verb === 'revoke' && site !== undefined) return revokeOne(site)
  }
  console.error(USAGE)
  return noun === '--help' ? 0 : 2
}

function credentials(): Credentials {
  return openCredentials(join(dataDir, 'site-credentials.json'))
}

function list(): number {
  const all = credentials().list()
  console.log(all.length === 0 ? `no credentials in ${dataDir}` : all.map((c) => `${c.site}  made ${new Date(c.createdMs).toISOString()}`).join('\n'))
  return 0
}

async function addOne(site: string): Promise<number> {
  const dir = sitesDir ?? join(dataDir, 'sites')
  const known = readSiteFolder(dir)
  const has = credentials()
  // The demo fleet keeps its site files elsewhere: a site that had a credential before is known as well.
  if (!known.sites.has(site) && !has.list().some((c) => c.site === site)) {
    const ids = [...known.sites.keys()]
    console.error(
      `no site file in ${dir} has the id "${site}"${ids.length > 0 ? `: it has ${ids.slice(0, 12).join(', ')}` : ', it holds none that can be used'}. Give the folder with --sites DIR.`,
    )
    return 1
  }
  const secret = await has.add(site)
  console.log(`site ${site}: MQTT user "${site}", which a running gateway knows within 5 s; password shown only now:\n${secret}`)
  return 0
}

function revokeOne(site: string): number {
  const had = credentials().revoke(site)
  console.log(had ? `site ${site}: credential revoked; a running gateway ends its session within 5 s` : `site ${site} has no credential in ${dataDir}`)
  return had ? 0 : 1
}

function adoptOne(site: string, signal: string): number {
  const dir = sitesDir ?? join(dataDir, 'sites')
  const given = Object.fromEntries((['quantity', 'unit', 'name', 'in'] as const).flatMap((f) => (flagOf[f] === undefined ? [] : [[f, flagOf[f]]])))
  const result = adoptInto(dir, site, { signal, ...given })
  if (!result.ok) {
    console.error(result.message)
    return 1
  }
  console.log(`${signal} is in ${result.file}, line ${result.line}. A running gateway takes its readings within 5 s, and watches its alarms from then on.`)
  return 0
}

function check(dir: string): number {
  if (!existsSync(dir)) {
    console.error(`${dir} is not there: give the folder that holds the site files`)
    return 1
  }
  const folder = readSiteFolder(dir)
  let faults = folder.faults.length
  for (const f of folder.faults) console.error(faultText(f))
  for (const s of folder.sites.values()) {
    const alarms = defaultAlarms(s)
    faults += alarms.faults.length
    for (const f of alarms.faults) console.error(faultText(folder.alarmFault(s.id, f)))
    for (const w of alarms.warnings) console.log(`${s.id}: note: ${w}`)
    console.log(`${s.id}: ${s.name}: ${s.stages.length} stages, ${s.signals.length} signals (${s.instrumentation}), ${alarms.defs.length} alarms`)
  }
  const of = (n: number, word: string): string => `${n} ${word}${n === 1 ? '' : 's'}`
  console.log(`${of(folder.files, 'file')}, ${of(folder.sites.size, 'loop')}, ${of(faults, 'fault')}`)
  return faults > 0 || folder.files === 0 ? 1 : 0
}
