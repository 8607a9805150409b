/** The simulated fleet as a program of its own: strangers that speak only MQTT. `--help` says what it can be told. */
import { appendFileSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { type Background, startBackground } from './background.ts'
import { begun, type FillState, readFillState, writeFillState } from './fill-state.ts'
import { readFaults } from './faults/list.ts'
import type { Fault } from './faults/fault.ts'
import { type Fleet, generatedFleet, loadFleet } from './fleets/load.ts'
import { past } from './fleets/past.ts'
import { onClock } from './fleets/plan.ts'
import { labels } from './labels.ts'
import type { Login } from './link.ts'
import { HELP, type Options, readOptions } from './options.ts'
import { startRun } from './run.ts'

const HOUR = 3_600_000
/** Site files of our fleets vouch for a hundred days, and a fill tells ninety. */
const STILL_WANTED_MS = 7 * 24 * HOUR

const say = (line: string): void => void process.stdout.write(`${line}\n`)

function fail(message: string): never {
  process.stderr.write(`${message}\n`)
  process.exit(2)
}

const why = (e: unknown): string => (e instanceof Error ? e.message : String(e))

function textOf(option: string, file: string): string {
  try {
    return readFileSync(file, 'utf8')
  } catch (e) {
    fail(`${option} ${file}: not readable: ${why(e)}`)
  }
}

/** Who each site says it is. */
function loginsOf(o: Options, sites: readonly string[]): ReadonlyMap<string, Login | null> {
  if (o.sharedUser !== null && o.sharedSecretFile !== null) {
    const login = { user: o.sharedUser, secret: textOf('--shared-secret-file', o.sharedSecretFile).trim() }
    return new Map(sites.map((s) => [s, login]))
  }
  if (o.secrets === null) fail('--secrets FILE is needed: a JSON file {"site id": "secret", ...}; "--secrets none" for a broker without logins')
  if (o.secrets === 'none') return new Map(sites.map((s) => [s, null]))
  let read: unknown
  try {
    read = JSON.parse(readFileSync(o.secrets, 'utf8'))
  } catch (e) {
    fail(`--secrets ${o.secrets}: not readable as JSON: ${why(e)}`)
  }
  if (typeof read !== 'object' || read === null || Array.isArray(read)) fail(`--secrets ${o.secrets}: an object {"site id": "secret", ...} is needed`)
  const known = read as Readonly<Record<string, unknown>>
  return new Map(
    sites.map((site) => {
      const secret = Object.hasOwn(known, site) ? known[site] : undefined
      if (secret === undefined) fail(`--secrets ${o.secrets}: no secret for "${site}"`)
      if (typeof secret !== 'string') fail(`--secrets ${o.secrets}: the secret of "${site}" is no text`)
      return [site, { user: site, secret }]
    }),
  )
}

function fleetOf(o: Options): Fleet {
  try {
    return o.fleet === 'generated' ? generatedFleet(o.loops, o.seed) : loadFleet(o.fleet, o.seed)
  } catch (e) {
    fail(`--fleet ${o.fleet}: ${why(e)}`)
  }
}

function faultsOf(o: Options, sites: readonly string[]): readonly Fault[] {
  if (o.faults === null) return []
  const read = readFaults(textOf('--faults', o.faults), sites)
  if (typeof read === 'string') fail(`--faults ${o.faults}: ${read}`)
  return read
}

const asked = readOptions(process.argv.slice(2))
if (asked.kind === 'help') {
  say(HELP)
  process.exit(0)
}
if (asked.kind === 'wrong') fail(asked.message)
const { options } = asked
const fleet = fleetOf(options)
const sites = fleet.specs.map((s) => s.site.id)
if (options.writeSites !== null) {
  mkdirSync(options.writeSites, { recursive: true })
  for (const [file, text] of fleet.files) writeFileSync(join(options.writeSites, file), text)
  say(`${fleet.files.size} site files written to ${options.writeSites}`)
  process.exit(0)
}
const logins = loginsOf(options, sites)
const given = faultsOf(options, sites)
const file = options.labels
const known = stateOf(options)
if (known && known.doneMs === null && (known.fleet !== options.fleet || known.seed !== options.seed))
  fail(`--fill-state ${options.fillState}: it is of fleet ${known.fleet} with seed ${known.seed}; give these, or another file`)
// Truth of a fill that goes on is added to what is there.
if (file !== null && (known === null || known.doneMs !== null)) writeFileSync(file, '')
const truth = file === null ? null : labels((line) => appendFileSync(file, `${line}\n`))
const bornMs = Date.now()
const behindMs = options.behindHours * HOUR
const fillMs = options.fillHours * HOUR
const clientSuffix = `${process.pid.toString(36)}${Math.floor(Math.random() * 36 ** 4).toString(36)}`

const run = startRun({
  specs: fleet.specs.map((s) => ({ ...s, biology: options.biology })),
  plan: (startMs) => (options.plan ? onClock(fleet.plan, startMs) : []),
  // What happened in the past happened once, whenever the program is started again.
  fixed: [...(options.plan ? past(fleet.specs, known?.toMs ?? bornMs - behindMs, options.fillHours / 24) : []), ...given],
  url: options.url,
  prefix: options.prefix,
  logins,
  clientSuffix,
  speed: options.speed,
  behindMs,
  pastMs: fillMs,
  atOnce: fillMs > 0 && known === null,
  field: options.field,
  nowMs: () => Date.now(),
  labels: truth && { ...truth, faults: (list) => truth.faults(list.filter((f) => !toldBefore(f))) },
  say,
})
const background = fillMs > 0 && known?.doneMs == null ? fillOrGiveUp(known ?? begun(options.fleet, options.seed, sites, run.joinMs - fillMs, run.joinMs, run.early)) : null

/** A past that was left half told for days would by now be older than the controllers' stores: it stays as it is. */
function fillOrGiveUp(state: FillState): Background | null {
  if (bornMs - state.toMs < STILL_WANTED_MS) return fill(state)
  say(`the past was told to ${Math.floor(100 * state.share)} % ${Math.floor((bornMs - state.toMs) / 24 / HOUR)} days ago; it is too old to go on with, and stays as it is`)
  if (options.fillState !== null) writeFillState(options.fillState, { ...state, doneMs: bornMs })
  return null
}

function fill(state: FillState): Background {
  const keep = (s: FillState): void => {
    if (options.fillState !== null) writeFillState(options.fillState, s)
  }
  keep(state)
  const { seed, biology, url, prefix, field, loops } = options
  return startBackground({
    begin: {
      fleet: options.fleet,
      loops,
      seed,
      biology,
      logins: Object.fromEntries(logins),
      faults: state.faults,
      url,
      prefix,
      clientSuffix: `${clientSuffix}-past`,
      field,
      labelsFile: file,
    },
    state,
    keep,
    heard: run.heard,
    nowMs: () => Date.now(),
    say,
  })
}

/** A fault of the past that the first start has written down. */
function toldBefore(f: Fault): boolean {
  return known?.doneMs === null && known.faults.some((k) => k.id === f.id && k.onsetMs === f.onsetMs)
}

function stateOf(o: Options): FillState | null {
  if (o.fillState === null) return null
  try {
    return readFillState(o.fillState)
  } catch (e) {
    fail(`--fill-state ${o.fillState}: not readable: ${why(e)}`)
  }
}

let stopping = false
async function stop(): Promise<void> {
  if (stopping) process.exit(1)
  stopping = true
  await background?.stop()
  await run.stop()
  say(`stopped: ${run.summary()}`)
  process.exit(0)
}
for (const signal of ['SIGINT', 'SIGTERM'] as const) process.on(signal, () => void stop())
// Whoever read our lines has gone: there is nobody to tell anything to.
process.stdout.on('error', () => void (stopping || stop()))
run.failed.catch((e: unknown) => fail(`simulator failed: ${e instanceof Error ? (e.stack ?? e.message) : String(e)}`))
