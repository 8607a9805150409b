/** The whole program against a real broker: history first, then live, each site with its own credential, and a clean stop. */
import { spawn } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { afterEach, expect, test } from 'vitest'
import { loadFleet } from '../../simulator/fleets/load.ts'
import { onClock } from '../../simulator/fleets/plan.ts'
import { startFill } from '../../simulator/fill.ts'
import { startRun } from '../../simulator/run.ts'
import { startBroker, until, type TestBroker } from './broker.ts'

const HOUR = 3_600_000
const fleet = loadFleet('demo', 1)
const secrets = Object.fromEntries(fleet.specs.map((s) => [s.site.id, `secret of ${s.site.id}`]))
const logins = new Map(fleet.specs.map((s) => [s.site.id, { user: s.site.id, secret: `secret of ${s.site.id}` }]))
const brokers: TestBroker[] = []
const folders: string[] = []
afterEach(async () => {
  for (const b of brokers.splice(0)) await b.stop()
  for (const f of folders.splice(0)) rmSync(f, { recursive: true, force: true })
})

async function broker(): Promise<TestBroker> {
  const b = await startBroker(secrets)
  brokers.push(b)
  return b
}

const timesOf = (payload: string): readonly number[] => {
  const o = JSON.parse(payload) as { t?: number; rows?: (readonly number[] | { t: number })[] }
  return o.rows ? o.rows.map((r) => ('t' in r ? r.t : (r[0] ?? Number.NaN))) : [o.t ?? Number.NaN]
}

test('two hours of history join the live readings without a gap, on a connection of their own, and a site gone silent is silent', async () => {
  const b = await broker()
  let nowMs = Date.UTC(2026, 10, 25, 9)
  const said: string[] = []
  const specs = fleet.specs.filter((s) => ['ullenwick-bus-north', 'saltrigg-boat-park', 'thrapplow-quarry-upper'].includes(s.site.id))
  const run = startRun({
    specs,
    plan: (startMs) => onClock(fleet.plan, startMs),
    url: b.url,
    prefix: 'loopkeeper/v1',
    logins,
    clientSuffix: 'here',
    field: true,
    speed: 1,
    pastMs: 2 * HOUR,
    atOnce: true,
    nowMs: () => nowMs,
    labels: null,
    say: (line) => void said.push(line),
  })
  const progress: string[] = []
  const fill = startFill({
    specs,
    faults: run.early,
    fromMs: run.joinMs - 2 * HOUR,
    toMs: run.joinMs,
    url: b.url,
    prefix: 'loopkeeper/v1',
    logins,
    clientSuffix: 'here-past',
    field: true,
    labels: null,
    onTold: (site, t) => void progress.push(`${site} ${t.recentMs === run.joinMs} ${t.meters}`),
    gate: run.heard,
    say: (line) => void said.push(line),
  })
  try {
    await run.live
    await fill.over
    const startMs = nowMs
    const filled = b.told.length
    const bus = (): readonly number[] =>
      [...new Set(b.told.filter((t) => t.topic === 'loopkeeper/v1/ullenwick-bus-north').flatMap((t) => timesOf(t.payload)))].sort((x, y) => x - y)
    for (const s of specs) {
      expect(progress).toContain(`${s.site.id} true true`)
      // Live readings were there first.
      expect(b.told.find((t) => t.topic.endsWith(s.site.id))?.client).toMatch(/-here$/)
      expect(b.told.filter((t) => t.topic.endsWith(s.site.id) && t.client.endsWith('-here-past')).length).toBeGreaterThan(0)
    }
    expect(bus()[0]).toBeGreaterThan(startMs - 2 * HOUR - 60_001)
    expect(bus()[0]).toBeLessThan(startMs - 2 * HOUR)
    // The clock is ours: an hour passes in a moment.
    nowMs += HOUR
    await until('the live hour of the bus depot', () => (bus().at(-1) ?? 0) > startMs + HOUR - 30_000)
    expect(b.told.length).toBeGreaterThan(filled)
    const all = bus()
    for (let i = 1; i < all.length; i++) expect((all[i] ?? 0) - (all[i - 1] ?? 0)).toBe(15_000)
    const { length } = b.told.filter((t) => t.topic.endsWith('thrapplow-quarry-upper'))
    nowMs += 10 * 60_000
    await until('ten more minutes of the bus depot', () => (bus().at(-1) ?? 0) > startMs + HOUR + 9 * 60_000)
    expect(b.told.filter((t) => t.topic.endsWith('thrapplow-quarry-upper')).length).toBe(length)
  } finally {
    await run.stop()
  }
  expect(run.summary()).toMatch(/^\d+ messages acknowledged, 0 dropped/)
  for (const t of b.told) expect(t.client).toMatch(new RegExp(`^loop-${t.topic.slice('loopkeeper/v1/'.length)}-here(-past)?$`))
}, 120_000)

interface Ended {
  readonly code: number | null
  readonly out: string
  readonly err: string
}

/** Runs the program itself; `stopWhen` sends SIGTERM once its output says so. */
function program(args: readonly string[], stopWhen?: RegExp): Promise<Ended> {
  const main = fileURLToPath(new URL('../../simulator/main.ts', import.meta.url))
  return new Promise((done) => {
    const child = spawn(process.execPath, ['--import', 'tsx', main, ...args], { cwd: fileURLToPath(new URL('../..', import.meta.url)) })
    let out = ''
    let err = ''
    let told = false
    child.stdout.on('data', (d: Buffer) => {
      out += d.toString()
      if (!told && stopWhen?.test(out)) {
        told = true
        child.kill('SIGTERM')
      }
    })
    child.stderr.on('data', (d: Buffer) => (err += d.toString()))
    child.on('close', (code) => done({ code, out, err }))
  })
}

const folder = (): string => {
  const f = mkdtempSync(join(tmpdir(), 'loopkeeper-sim-'))
  folders.push(f)
  return f
}

test('the program goes live with all eight sites, fills behind them, writes the truth beside it, and stops cleanly when told to', async () => {
  const b = await broker()
  const dir = folder()
  writeFileSync(join(dir, 'secrets.json'), JSON.stringify(secrets))
  const labels = join(dir, 'labels.jsonl')
  const ended = await program(['--url', b.url, '--secrets', join(dir, 'secrets.json'), '--fill-hours', '0.2', '--labels', labels], /filled 100 %.*\n/)
  expect(ended.err).toBe('')
  expect(ended.code).toBe(0)
  expect(ended.out).toMatch(/8 loops, settling[\s\S]*live: [\s\S]*filled 100 % in \d+ s[\s\S]*stopped: \d+ messages acknowledged/)
  expect(new Set(b.told.map((t) => t.topic.split('/').at(-1)))).toEqual(new Set(fleet.specs.map((s) => s.site.id)))
  const lines = readFileSync(labels, 'utf8')
    .trim()
    .split('\n')
    .map((l) => JSON.parse(l) as { label: string; kind?: string; a?: number })
  expect(lines.filter((l) => l.label === 'fault').map((l) => l.kind)).toContain('blower-trip')
  expect(lines.filter((l) => l.label === 'activity').every((l) => (l.a ?? 0) > 0.9 && (l.a ?? 9) < 1.1)).toBe(true)
}, 120_000)

test('the program ends by itself, without a word of complaint, when nobody reads its lines any more', async () => {
  const b = await broker()
  b.open()
  const main = fileURLToPath(new URL('../../simulator/main.ts', import.meta.url))
  const args = ['--broker', b.url, '--secrets', 'none', '--fleet', 'generated', '--loops', '1', '--fill-hours', '1']
  const child = spawn(process.execPath, ['--import', 'tsx', main, ...args], { cwd: fileURLToPath(new URL('../..', import.meta.url)) })
  let err = ''
  child.stderr.on('data', (d: Buffer) => (err += d.toString()))
  // The reader goes away after the first line, as `| head -1` does.
  child.stdout.once('data', () => child.stdout.destroy())
  const code = await new Promise((done) => child.on('close', done))
  expect([code, err]).toEqual([0, ''])
}, 120_000)

test.each([
  [[], /--secrets FILE is needed/],
  [['--secrets', 'nowhere.json'], /--secrets nowhere\.json: not readable as JSON/],
  [['--secrets', 'SECRETS', '--speed', 'fast'], /--speed fast: a number from 0\.1 to 3600 is needed/],
  [['--secrets', 'SECRETS', '--fleet', 'other'], /"other" is no fleet we have: demo, twelve/],
  [['--secrets', 'SOME'], /no secret for "bramscar-slate-yard"/],
  [['--secrets', 'SECRETS', '--speed', '60'], /--speed 60: add --behind-hours, because readings are never stamped ahead of the clock/],
] as const)('started with %j it ends with code 2 and says what is missing', async (args, message) => {
  const dir = folder()
  writeFileSync(join(dir, 'all.json'), JSON.stringify(secrets))
  writeFileSync(join(dir, 'some.json'), JSON.stringify({ 'brackfold-refuse-depot': 'x' }))
  const ended = await program(args.map((a) => (a === 'SECRETS' ? join(dir, 'all.json') : a === 'SOME' ? join(dir, 'some.json') : a)))
  expect(ended.code).toBe(2)
  expect(ended.err).toMatch(message)
  expect(ended.out).toBe('')
})
