/**
 * The simulated fleet as a program of its own: eight strangers that speak only MQTT. Each site has its own connection and its own
 * credential. Before going live it can fill the past hours, so that trends open with a history.
 *
 *   simulator/main.ts --url mqtt://127.0.0.1:1883 --secrets FILE [--fleet demo] [--seed 1] [--speed 1]
 *                     [--prefix loopkeeper/v1] [--fill-hours 24] [--labels FILE] [--no-plan]
 *
 * A speed above 1 makes the stamps run ahead of the wall clock: for tests, not for a gateway that checks clocks.
 */
import { appendFileSync, readFileSync, writeFileSync } from 'node:fs'
import { parseArgs } from 'node:util'
import { type Fleet, loadFleet } from './fleets/load.ts'
import { onClock } from './fleets/plan.ts'
import { labels } from './labels.ts'
import { startRun } from './run.ts'

const { values } = parseArgs({
  options: {
    url: { type: 'string', default: 'mqtt://127.0.0.1:1883' },
    fleet: { type: 'string', default: 'demo' },
    secrets: { type: 'string' },
    seed: { type: 'string', default: '1' },
    speed: { type: 'string', default: '1' },
    prefix: { type: 'string', default: 'loopkeeper/v1' },
    'fill-hours': { type: 'string', default: '0' },
    labels: { type: 'string' },
    'no-plan': { type: 'boolean', default: false },
  },
})

const say = (line: string): void => void process.stdout.write(`${line}\n`)

function fail(message: string): never {
  process.stderr.write(`${message}\n`)
  process.exit(2)
}

function numberOf(name: 'seed' | 'speed' | 'fill-hours', low: number, high: number): number {
  const v = Number(values[name])
  if (!Number.isFinite(v) || v < low || v > high) fail(`--${name} ${values[name]}: a number from ${low} to ${high} is needed`)
  return v
}

function secretsOf(file: string | undefined): Readonly<Record<string, string>> {
  if (file === undefined) fail('--secrets FILE is needed: a JSON file {"site id": "secret", ...}')
  let read: unknown
  try {
    read = JSON.parse(readFileSync(file, 'utf8'))
  } catch (e) {
    fail(`--secrets ${file}: not readable as JSON: ${e instanceof Error ? e.message : String(e)}`)
  }
  if (typeof read !== 'object' || read === null || Array.isArray(read)) fail(`--secrets ${file}: an object {"site id": "secret", ...} is needed`)
  const out: Record<string, string> = {}
  for (const [site, secret] of Object.entries(read)) {
    if (typeof secret !== 'string') fail(`--secrets ${file}: the secret of "${site}" is no text`)
    out[site] = secret
  }
  return out
}

function fleetOf(name: string, seed: number): Fleet {
  try {
    return loadFleet(name, seed)
  } catch (e) {
    fail(`--fleet ${name}: ${e instanceof Error ? e.message : String(e)}`)
  }
}

const secrets = secretsOf(values.secrets)
const speed = numberOf('speed', 0.1, 3600)
const fillHours = numberOf('fill-hours', 0, 24 * 60)
const fleet = fleetOf(values.fleet, numberOf('seed', 0, 2 ** 31))
for (const s of fleet.specs) if (secrets[s.site.id] === undefined) fail(`--secrets ${values.secrets}: no secret for "${s.site.id}"`)

const file = values.labels
if (file !== undefined) writeFileSync(file, '')
const truth = file === undefined ? null : labels((line) => appendFileSync(file, `${line}\n`))

const run = startRun({
  specs: fleet.specs,
  plan: (startMs) => (values['no-plan'] ? [] : onClock(fleet.plan, startMs)),
  url: values.url,
  prefix: values.prefix,
  secrets,
  speed,
  fillHours,
  nowMs: () => Date.now(),
  labels: truth,
  say,
})

let stopping = false
for (const signal of ['SIGINT', 'SIGTERM'] as const)
  process.on(signal, () => {
    if (stopping) process.exit(1)
    stopping = true
    void run.stop().then(() => {
      say(`stopped: ${run.summary()}`)
      process.exit(0)
    })
  })
run.failed.catch((e: unknown) => fail(`simulator failed: ${e instanceof Error ? (e.stack ?? e.message) : String(e)}`))
