import { spawnSync } from 'node:child_process'
import { existsSync, readdirSync, readFileSync, statSync } from 'node:fs'
import { expect, test } from 'vitest'
import { SETTINGS } from '../../gateway/config.ts'
import { blocksOf, deploy, deployText } from './readme.ts'

const readme = deployText('README.md')
const blocks = blocksOf(readme)

test('every block of commands is a shell can read, and every script too', () => {
  expect(blocks.length).toBeGreaterThan(20)
  for (const b of blocks) {
    const r = spawnSync('sh', ['-n'], { input: b.text, encoding: 'utf8' })
    expect(r.stderr, b.text).toBe('')
    expect(r.status).toBe(0)
  }
  for (const script of ['loopkeeper', 'prepare.sh', 'backup.sh', 'restore.sh']) {
    expect(spawnSync('sh', ['-n', deploy(script)]).status, script).toBe(0)
    expect(deployText(script)).toMatch(/^set -eu$/m)
  }
  for (const script of ['loopkeeper', 'prepare.sh']) expect(statSync(deploy(script)).mode & 0o111, script).toBe(0o111)
})

test('every named block is run by a test, by that name', () => {
  const tests = readdirSync(new URL('.', import.meta.url))
    .filter((n) => n.endsWith('.test.ts') && n !== 'readme.test.ts')
    .map((n) => readFileSync(new URL(n, import.meta.url), 'utf8'))
    .join('\n')
  const names = blocks.flatMap((b) => b.name ?? [])
  expect(new Set(names).size).toBe(names.length)
  for (const name of names) expect(tests.includes(`'${name}'`), name).toBe(true)
})

test('every file of the folder stands in its README, and every file the README names is there', () => {
  const table = readme.slice(0, readme.indexOf('## What has been tried'))
  for (const f of readdirSync(deploy('.')))
    if (!['README.md', '.gitignore', 'Containerfile.dockerignore', 'loopkeeper.env', 'secrets', 'sites', 'backups'].includes(f))
      expect(table, f).toContain(`\`${f}${statSync(deploy(f)).isDirectory() ? '/' : ''}\``)
  const named = [...readme.matchAll(/current\/deploy\/([\w./-]+)|`((?:systemd|mosquitto)\/[\w.-]+)`|\b((?:with-[\w-]+|nginx|client-certificates)\.conf)\b/g)]
  expect(named.length).toBeGreaterThan(10)
  for (const m of named) {
    const name = m[1] ?? m[2] ?? m[3] ?? ''
    expect(
      ['', 'systemd/', 'mosquitto/'].some((d) => existsSync(deploy(d + name))),
      name,
    ).toBe(true)
  }
})

test('every setting and every command of loopkeeper that the README or a shipped file names exists', () => {
  const known = new Set([...SETTINGS.map((s) => s.env), 'LOOPKEEPER_NODE'])
  const shipped = [
    'README.md',
    'loopkeeper',
    'backup.sh',
    'restore.sh',
    'compose.yaml',
    'Containerfile',
    'loopkeeper.env',
    ...readdirSync(deploy('systemd')).map((f) => `systemd/${f}`),
  ]
  for (const f of shipped) for (const m of deployText(f).matchAll(/LOOPKEEPER_[A-Z_0-9]+/g)) expect(known, `${m[0]} in ${f}`).toContain(m[0])
  const verbs = new Set([...deployText('loopkeeper').matchAll(/^ {2}([a-z-]+)\) file=/gm)].map((m) => m[1]))
  const used = blocks.flatMap((b) => [...b.text.matchAll(/^(?:[A-Z_]+=\S+ )?loopkeeper (\S+)/gm)].map((m) => m[1]))
  expect(used.length).toBeGreaterThan(6)
  for (const verb of used) expect(verbs, `loopkeeper ${verb}`).toContain(verb)
})

/** Figures of the README's first table, by the words its rows begin with. */
const base = (row: string): number => Number((new RegExp(`^\\| ${row}[^|]*\\| ([\\d,.]+)`, 'm').exec(readme)?.[1] ?? 'NaN').replaceAll(',', ''))

test('the rows of the sizing table follow from the measured figures above them', () => {
  const bytes = base('disk for a stored reading')
  const most = base('intake at the own broker')
  const [idle, signal, unsealed] = [base('memory of the product without loops') * 1e6, base('memory for a signal') * 1e3, base('memory for a reading not sealed yet') * 1e3]
  const embedded = readFileSync(new URL('../../gateway/history/embedded.ts', import.meta.url), 'utf8')
  expect(embedded).toContain('sealAfterMs: options.sealAfterMs ?? HOUR_MS, sealAtReadings: options.sealAtReadings ?? 4_000_000')
  const rows = [...readme.matchAll(/^\| ([\d,]+) (normal|rich) \| ([\d,]+) \| ([\d,]+) MB \| ([\d.]+) GB \| ([\d.]+) % \| ([\d.]+) GB \|/gm)]
  expect(rows.length).toBe(4)
  for (const [, loopsText, kind, perS, mbADay, gbAYear, share, memory] of rows) {
    const n = (text: string | undefined): number => Number((text ?? '').replaceAll(',', ''))
    const signals = n(loopsText) * (kind === 'rich' ? 40 : 22)
    const rate = signals / (kind === 'rich' ? 10 : 60)
    const near = (told: number, is: number): void => expect(Math.abs(told - is), `${told} is told, ${is} follows`).toBeLessThanOrEqual(0.05 * is)
    near(n(perS), rate)
    near(n(gbAYear), (rate * bytes * 86_400 * 365) / 1e9)
    near(n(share), (rate / most) * 100)
    near(n(memory), (idle + signals * signal + Math.min(4e6, rate * 3600) * unsealed) / 1e9)
    expect(Math.abs(n(mbADay) - (rate * bytes * 86_400) / 1e6)).toBeLessThanOrEqual(0.5)
  }
})

test('what the README says of the queue follows from its bound and the measured size of a message', () => {
  const bound = Number(/^max_queued_bytes (\d+)$/m.exec(deployText('mosquitto/loopkeeper.conf'))?.[1])
  const messages = bound / 60
  const told = /(\d+) MiB are ([\d.]+) million messages of 60 bytes, ([\d.]+) GB of memory, ([\d.]+) hours of 2,000 normal loops/.exec(readme)
  expect(told?.slice(1).map(Number)).toEqual([
    bound / 1024 / 1024,
    Number((messages / 1e6).toFixed(1)),
    Number(((messages * base('a message of 60 bytes waiting in Mosquitto') * 1000) / 1e9).toFixed(1)),
    Number((messages / 733 / 3600).toFixed(1)),
  ])
})
