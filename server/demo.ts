/**
 * The simulated fleet beside the product: a stranger with credentials, reached only over MQTT, a program of its own. What such a
 * stranger cannot send is done here: the people of its past. The fleet keeps a file of how far its past is told; the visits and
 * calibrations in it become entries of the site log, as somebody would have written them.
 */
import { type ChildProcess, spawn } from 'node:child_process'
import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { z } from 'zod'
import type { Counter, GatewayPort } from '../gateway/port.ts'
import type { NewEntry } from '../gateway/log/entry.ts'
import type { Consumable } from '../gateway/site/site.ts'
import type { HealthBody } from './wire.ts'

export interface DemoParts {
  readonly dataDir: string
  readonly host: string
  readonly mqttPort: number
  readonly prefix: string
  readonly seed: number
  readonly fillDays: number
  readonly port: Pick<GatewayPort, 'sites' | 'site' | 'log'>
  readonly makeCredentials: (lost: (site: string) => boolean) => Promise<ReadonlyMap<string, string>>
  readonly say: (line: string) => void
}

export interface Demo {
  stop(): void
  /** How far the past is loaded; null: none is being loaded, and none was at this start. */
  fill(): HealthBody['fill']
  counters(): readonly Counter[]
}

const simulator = fileURLToPath(new URL('../simulator/main.ts', import.meta.url))
const LOOK_MS = 1000

const stateSchema = z.object({
  fromMs: z.number(),
  toMs: z.number(),
  share: z.number(),
  doneMs: z.number().nullable(),
  attended: z.array(z.object({ site: z.string(), kind: z.string(), atMs: z.number(), endMs: z.number() })),
})
type State = z.infer<typeof stateSchema>

/** Address as it stands in a URL, to be reached from this machine. */
export function hostInUrl(host: string): string {
  if (host === '0.0.0.0') return '127.0.0.1'
  if (host === '::') return '[::1]'
  return host.includes(':') ? `[${host}]` : host
}

export async function startDemo(parts: DemoParts): Promise<Demo> {
  const { dataDir, say } = parts
  const secrets = join(dataDir, 'demo-secrets.json')
  const known = secretsIn(secrets)
  for (const [site, secret] of await parts.makeCredentials((site) => known[site] === undefined)) known[site] = secret
  writeFileSync(secrets, `${JSON.stringify(known, null, 2)}\n`, { mode: 0o600 })

  const stateFile = join(dataDir, 'demo-fill.json')
  const before = stateIn(stateFile)
  // A data folder that has readings and knows of no fill was made without one.
  const fills = parts.fillDays > 0 && (before ? before.doneMs === null : parts.port.sites().every((s) => s.heardMs === null))
  const args = ['--broker', `mqtt://${hostInUrl(parts.host)}:${parts.mqttPort}`, '--fleet', 'demo', '--secrets', secrets, '--seed', String(parts.seed), '--prefix', parts.prefix]
  if (fills || before) args.push('--fill-days', String(parts.fillDays || 1), '--fill-state', stateFile)
  if (fills) {
    args.push('--labels', join(dataDir, 'demo-truth.jsonl'))
    say(
      before === null
        ? `fleet: the past ${parts.fillDays} days of the eight loops are loaded in the background, which takes a minute or two; the page is live meanwhile`
        : `fleet: the past is loaded to ${percent(before)} %, the rest follows in the background`,
    )
  }
  const child = spawn(process.execPath, ['--import', 'tsx', simulator, ...args], { stdio: ['ignore', 'pipe', 'inherit'] })
  let rest = ''
  child.stdout.setEncoding('utf8').on('data', (text: string) => {
    const lines = (rest + text).split('\n')
    rest = lines.pop() ?? ''
    for (const line of lines) if (line.trim() !== '') say(`fleet: ${line}`)
  })
  child.on('exit', (code, signal) => {
    if (code !== 0 && signal === null) console.error(`The simulated fleet ended with code ${code}; the gateway goes on. Start again to bring it back.`)
  })

  let state: State | null = before
  let logged = false
  const look = fills ? setInterval(() => void follow(), LOOK_MS) : null
  async function follow(): Promise<void> {
    state = stateIn(stateFile) ?? state
    if (state && !logged) {
      logged = true
      await writeLog(state, parts.port).catch((e: unknown) => console.error('The site log of the past could not be written:', e))
    }
    if (state?.doneMs != null && look) clearInterval(look)
  }

  return {
    stop() {
      if (look) clearInterval(look)
      end(child)
    },
    fill: () => (fills && state ? { pct: percent(state), fromMs: state.fromMs, toMs: state.toMs, done: state.doneMs !== null } : null),
    counters: () => (fills && state ? [{ name: 'demoPastPct', value: percent(state), bound: 100, what: 'How much of the past of the simulated fleet is loaded, %.' }] : []),
  }
}

/** Secrets of the simulated fleet. A file that is lost or broken costs nothing: they are made anew. */
function secretsIn(file: string): Record<string, string> {
  if (!existsSync(file)) return {}
  try {
    const raw: unknown = JSON.parse(readFileSync(file, 'utf8'))
    if (typeof raw === 'object' && raw !== null && Object.values(raw).every((v) => typeof v === 'string')) return { ...raw }
  } catch {
    // Told below, as a file with other content is.
  }
  console.error(`  ${file} holds no secrets of the simulated fleet: new ones are made`)
  return {}
}

/** 100 only when it is over: the counters come last. One that was given up keeps what it had. */
const percent = (s: State): number => Math.min(s.doneMs === null ? 99 : 100, Math.floor(100 * s.share))

function end(child: ChildProcess): void {
  child.kill('SIGTERM')
}

/** null: no such file yet, or not ours. */
function stateIn(file: string): State | null {
  try {
    const read = stateSchema.safeParse(JSON.parse(readFileSync(file, 'utf8')))
    return read.success ? read.data : null
  } catch {
    return null
  }
}

const BY = 'demo fleet'

/** Entries a technician would have made; none twice. */
async function writeLog(state: State, { log, site }: Pick<GatewayPort, 'log' | 'site'>): Promise<void> {
  const written = await log.list({ fromMs: state.fromMs, toMs: state.toMs, limit: 1000 })
  for (const a of state.attended) {
    for (const entry of entriesOf(a, site(a.site)?.site.consumables ?? [])) {
      const there = written.some((w) => w.by === BY && w.site === entry.site && w.kind === entry.kind && w.atMs === entry.atMs && w.about === entry.about)
      if (!there) await log.add(entry, BY)
    }
  }
}

/** Technicians of the simulation leave drums at least so full. */
const FILLED = 0.95

function entriesOf({ site, kind, atMs, endMs }: State['attended'][number], consumables: readonly Consumable[]): readonly NewEntry[] {
  switch (kind) {
    case 'visit':
      return [
        { site, kind: 'visit-in', atMs, text: 'Round: panel, drums, probes' },
        ...consumables.filter((c) => c.unit === 'L').map((c): NewEntry => ({ site, kind: 'refill', atMs: endMs, about: c.id, item: c.id, value: FILLED * c.full, unit: 'L' })),
        { site, kind: 'visit-out', atMs: endMs, text: 'Trips reset, drums filled, probes wiped, selectors left in auto' },
      ]
    case 'calibration':
      return [{ site, kind: 'calibration', atMs, about: 'tu', text: 'Oxygen and pH probes out of the tank for 20 minutes, set in air and buffers' }]
    case 'reseeding':
      return [{ site, kind: 'refill', atMs, about: 'tu', item: 'microbes', text: 'Fresh culture poured into the treatment unit after the crash' }]
    default:
      return []
  }
}
