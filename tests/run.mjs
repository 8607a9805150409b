/**
 * `npm test` and `npm run check`. Prepares what is missing (packages, Debian's servers and browser when we may install
 * them, the built page), checks the house, runs the tests, names what was skipped, and closes with the runner's counts.
 * With --quick: no Debian packages, no browser, no slow tests.
 */
import { spawnSync } from 'node:child_process'
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join, relative } from 'node:path'
import { ensureNode, ensurePackages, ensurePage, root, run } from '../server/prepare.mjs'

const quick = process.argv.includes('--quick')
const say = (line) => console.log(`test: ${line}`)
const bin = (name) => join(root, 'node_modules', '.bin', name)

ensureNode()
await ensurePackages(say)
if (!quick) await ensureDebian()
if (!quick) await ensurePage(say)

const steps = [
  ['format', bin('biome'), ['format', '.']],
  ['lint', bin('oxlint'), ['--type-aware', '--deny-warnings', '.']],
  ['types', bin('tsc'), []],
  ['dead code', bin('knip'), ['--no-progress']],
]
const broken = []
for (const [name, command, args] of steps) if ((await run(say, name, command, args)) !== 0) broken.push(String(name))

const out = mkdtempSync(join(tmpdir(), 'loopkeeper-test-'))
const report = join(out, 'report.json')
const projects = quick ? ['--project', 'quick'] : []
await run(say, quick ? 'quick tests' : 'tests', bin('vitest'), ['run', ...projects, '--reporter=default', '--reporter=json', `--outputFile.json=${report}`])
const counted = existsSync(report) ? JSON.parse(readFileSync(report, 'utf8')) : null
rmSync(out, { recursive: true, force: true })
if (!counted) {
  console.log('The test runner left no report: it did not finish.')
  console.log('0 passed, 1 failed, 0 skipped')
  process.exit(1)
}
const cases = counted.testResults.flatMap((f) => f.assertionResults.map((t) => ({ file: relative(root, f.name), ...t })))
const skipped = cases.filter((t) => !['passed', 'failed'].includes(t.status))
for (const t of skipped) say(`skipped: ${t.file}: ${t.fullName}`)
// A file that fails to load has no cases of its own: count it, or a broken file would look like fewer tests.
const unloaded = counted.testResults.filter((f) => f.status === 'failed' && f.assertionResults.length === 0)
for (const f of unloaded) say(`did not load: ${relative(root, f.name)}: ${f.message}`)
for (const name of broken) say(`the ${name} check failed: its lines stand above`)
const failed = cases.filter((t) => t.status === 'failed').length + unloaded.length
const passed = cases.filter((t) => t.status === 'passed').length
const unhandled = counted.success === false && failed === 0
if (unhandled) say('the runner reports an error outside the tests: its lines stand above')
console.log(`${passed} passed, ${failed + broken.length + (unhandled ? 1 : 0)} failed, ${skipped.length} skipped`)
process.exit(failed > 0 || broken.length > 0 || unhandled || passed === 0 ? 1 : 0)

/** Real InfluxDB, Mosquitto and Chromium from Debian's packages, when this is Debian and we are root. */
async function ensureDebian() {
  const wanted = [
    ['/usr/bin/influxd', 'influxdb'],
    ['/usr/bin/influx', 'influxdb-client'],
    ['/usr/sbin/mosquitto', 'mosquitto'],
    ['/usr/bin/mosquitto_pub', 'mosquitto-clients'],
    ['/usr/bin/chromium', 'chromium'],
    ['/usr/bin/victoria-metrics', 'victoria-metrics'],
  ]
  const missing = wanted.filter(([path]) => !existsSync(path)).map(([, name]) => name)
  if (missing.length === 0) return
  if (process.getuid?.() !== 0 || !existsSync('/usr/bin/apt-get')) {
    say(`not here and not installed (that needs root on Debian): ${missing.join(', ')}. Tests that need them are skipped by name below.`)
    return
  }
  const env = { ...process.env, DEBIAN_FRONTEND: 'noninteractive' }
  if (spawnSync('apt-get', ['update', '-qq'], { stdio: ['ignore', 'ignore', 'inherit'], env }).status !== 0) say('apt-get update failed; trying with the lists as they are')
  await run(say, `installing Debian packages: ${missing.join(' ')}`, 'apt-get', ['install', '-y', '-qq', '--no-install-recommends', ...missing], {
    env,
    stdio: ['ignore', 'ignore', 'inherit'],
  })
  const still = wanted.filter(([path]) => !existsSync(path)).map(([, name]) => name)
  if (still.length > 0) say(`could not be installed: ${still.join(', ')}. Tests that need them are skipped by name below.`)
}
