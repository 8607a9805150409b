/**
 * What must be true before anything of ours can run: a Node new enough, the packages installed, the page built. Plain
 * JavaScript without packages, because it runs before they are there. Each step says what it does and how long it has taken.
 */
import { spawn, spawnSync } from 'node:child_process'
import { createHash } from 'node:crypto'
import { existsSync, readdirSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'

export const root = fileURLToPath(new URL('..', import.meta.url))
const LEAST = [20, 20]

/** Ends the process with exit code 5 and one line when Node is older than we run on. */
export function ensureNode(version = process.versions.node) {
  const [major, minor] = version.split('.').map(Number)
  if (major > LEAST[0] || (major === LEAST[0] && minor >= LEAST[1])) return
  console.error(`Loopkeeper needs Node ${LEAST.join('.')} or newer, this is ${version}. Node 24 is what we recommend.`)
  process.exit(5)
}

const digest = (texts) => createHash('sha256').update(texts.join('\0')).digest('hex')

/** Installs the packages of the lock file when they are not those already there. */
export async function ensurePackages(say) {
  const stamp = join(root, 'node_modules', '.loopkeeper-installed')
  const want = digest([readFileSync(join(root, 'package-lock.json'), 'utf8'), process.versions.modules])
  if (existsSync(stamp) && readFileSync(stamp, 'utf8') === want) return
  const code = await run(say, 'installing packages (the database driver may be compiled: about a minute)', 'npm', ['ci', '--no-audit', '--no-fund', '--loglevel=error'])
  if (code !== 0) {
    console.error('npm ci did not finish: the lines above say why. Is the npm registry reachable, and python3, make and g++ installed?')
    process.exit(6)
  }
  const probe = spawnSync(process.execPath, ['-e', "new (require(process.argv[1]))(':memory:').close()", 'better-sqlite3'], { cwd: root })
  if (probe.status !== 0) {
    const built = await run(say, 'building the database driver', 'npm', ['rebuild', 'better-sqlite3', '--foreground-scripts', '--ignore-scripts=false', '--loglevel=error'])
    if (built !== 0) {
      console.error('The database driver (better-sqlite3) could not be built: python3, make and g++ are needed.')
      process.exit(6)
    }
  }
  writeFileSync(stamp, want)
}

/** Builds the page into web/dist when its sources have changed since the last build. */
export async function ensurePage(say) {
  const stamp = join(root, 'web', 'dist', '.built-from')
  const want = digest([...pageSources('web'), 'server/wire.ts', 'vite.config.ts', 'package-lock.json'].map((f) => f + readFileSync(join(root, f), 'utf8')))
  if (existsSync(stamp) && readFileSync(stamp, 'utf8') === want) return
  const code = await run(say, 'building the page', process.execPath, [join(root, 'node_modules', 'vite', 'bin', 'vite.js'), 'build', '--logLevel', 'warn'])
  if (code !== 0) {
    console.error('The page could not be built: the lines above say why.')
    process.exit(6)
  }
  writeFileSync(stamp, want)
}

function pageSources(dir) {
  return readdirSync(join(root, dir), { withFileTypes: true })
    .sort((a, b) => (a.name < b.name ? -1 : 1))
    .flatMap((e) => (e.name === 'dist' ? [] : e.isDirectory() ? pageSources(`${dir}/${e.name}`) : [`${dir}/${e.name}`]))
}

/** Runs a command with its errors shown, saying every few seconds that it is still at it. Gives the exit code. */
export function run(say, what, command, args, options = {}) {
  const began = Date.now()
  say(`${what} ...`)
  const beat = setInterval(() => say(`${what}: ${Math.round((Date.now() - began) / 1000)} s so far`), 10_000)
  return new Promise((resolve) => {
    const child = spawn(command, args, { cwd: root, stdio: ['ignore', 'inherit', 'inherit'], ...options })
    const done = (code) => {
      clearInterval(beat)
      if (code === 0) say(`${what}: done in ${Math.round((Date.now() - began) / 1000)} s`)
      resolve(code)
    }
    child.on('error', (e) => {
      console.error(`${command} could not be started: ${e.message}`)
      done(6)
    })
    child.on('exit', (code, signal) => done(code ?? (signal ? 1 : 0)))
  })
}
