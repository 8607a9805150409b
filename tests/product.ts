/**
 * The whole product as its user starts it: a process of its own, on free loopback ports, in a temporary data folder. What
 * it prints is read as a person would read it.
 */
import { type ChildProcess, spawn } from 'node:child_process'
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'

const root = fileURLToPath(new URL('..', import.meta.url))

export interface Product {
  readonly page: string
  readonly mqttPort: number
  /** Address of the one-time sign-in page. */
  readonly signIn: string
  /** MQTT password per site, of those made at this start. */
  readonly secrets: ReadonlyMap<string, string>
  /** Everything printed so far. */
  readonly printed: () => string
  /** Calls the API with the bearer token. */
  api(path: string, init?: { readonly method: string; readonly body: string }): Promise<Response>
  kill(): Promise<void>
  stop(): Promise<number | null>
}

export interface Folder {
  readonly dir: string
  readonly data: string
  remove(): void
}

export const TOKEN = 'test-token-0123456789abcdef'

/** A temporary folder with a data folder, an API token file and the given site files. */
export function makeFolder(sites: Readonly<Record<string, string>>): Folder {
  const dir = mkdtempSync(join(tmpdir(), 'loopkeeper-'))
  const data = join(dir, 'data')
  mkdirSync(join(data, 'sites'), { recursive: true })
  for (const [name, text] of Object.entries(sites)) writeFileSync(join(data, 'sites', name), text)
  writeFileSync(join(dir, 'tokens'), `tester ${TOKEN}\n`)
  return { dir, data, remove: () => rmSync(dir, { recursive: true, force: true }) }
}

/** Starts the product on `folder` and waits until it serves. Rejects with what it printed when it does not within a minute. */
export async function startProduct(folder: Folder, args: readonly string[] = ['--fleet', 'none']): Promise<Product> {
  const all = [
    '--import',
    'tsx',
    join(root, 'server', 'main.ts'),
    '--data',
    folder.data,
    '--port',
    '0',
    '--mqtt-port',
    '0',
    '--api-token-file',
    join(folder.dir, 'tokens'),
    ...args,
  ]
  const child = spawn(process.execPath, all, { cwd: root, stdio: ['ignore', 'pipe', 'pipe'] })
  let text = ''
  child.stdout.setEncoding('utf8').on('data', (d: string) => (text += d))
  child.stderr.setEncoding('utf8').on('data', (d: string) => (text += d))
  await until(
    () => text.includes('Ctrl-C stops it.') || child.exitCode !== null,
    60_000,
    () => `the product did not start:\n${text}`,
  )
  if (child.exitCode !== null) throw new Error(`the product ended with code ${child.exitCode}:\n${text}`)
  const page = /page\s+(http:\S+?)\/$/m.exec(text)?.[1] ?? ''
  const secrets = new Map([...text.matchAll(/-u (\S+) -P (\S+)/g)].map((m) => [m[1] ?? '', m[2] ?? '']))
  return {
    page,
    mqttPort: Number(/broker\s+mqtt:\/\/\S+:(\d+)/.exec(text)?.[1]),
    signIn: /sign in\s+(\S+)/.exec(text)?.[1] ?? '',
    secrets,
    printed: () => text,
    api: (path, init) => fetch(page + path, { ...init, headers: { authorization: `Bearer ${TOKEN}`, 'content-type': 'application/json' } }),
    kill: () => end(child, 'SIGKILL').then(() => undefined),
    stop: () => end(child, 'SIGTERM'),
  }
}

function end(child: ChildProcess, signal: 'SIGKILL' | 'SIGTERM'): Promise<number | null> {
  if (child.exitCode !== null || child.signalCode !== null) return Promise.resolve(child.exitCode)
  return new Promise((resolve) => {
    child.once('exit', (code) => resolve(code))
    child.kill(signal)
  })
}

/** Waits until `holds`, looking every 25 ms; rejects with `why` after `withinMs`. */
export async function until(holds: () => boolean | Promise<boolean>, withinMs: number, why: () => string): Promise<void> {
  const deadline = performance.now() + withinMs
  while (!(await holds())) {
    if (performance.now() > deadline) throw new Error(why())
    await new Promise((r) => setTimeout(r, 25))
  }
}

/** A site of three signals, its alarms without delay, for tests that want to see one rise at once. */
export const threeSignals = `id: yard-1
name: Ellmarsh Bus Works, wash lane
area: Town and rail
zone: Europe/Lisbon
train:
  - { stage: sump, volumeL: 1100 }
  - { stage: treatment, volumeL: 2300, retention: carriers }
  - { stage: bio, volumeL: 7600 }
  - { stage: finished, volumeL: 5700 }
  - { stage: washer, lanceLPerMin: 23 }
signals:
  tu.do:
  sump.level: { reportEvery: 10s, sampleEvery: 10s }
  finished.level:
alarms:
  sump.level.high: { limit: 80, deadband: 2, onDelay: 0s, offDelay: 0s, why: "a test wants to see it at once" }
`
