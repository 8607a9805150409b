import { spawnSync } from 'node:child_process'
import { chmodSync, existsSync, mkdirSync, readdirSync, writeFileSync } from 'node:fs'
import { dirname, join } from 'node:path'
import { afterAll, expect, test } from 'vitest'
import { EXIT, readConfig, SETTINGS } from '../../gateway/config.ts'
import { deploy, deployText, makeServer, repository } from './readme.ts'

const ANALYZE = '/usr/bin/systemd-analyze'
const without = existsSync(ANALYZE) ? '' : ' (skipped: no systemd-analyze on this machine, apt-get install systemd)'
const analysed = test.skipIf(without !== '')
const UNITS = ['loopkeeper.service', 'loopkeeper-backup.service', 'loopkeeper-backup.timer']
const DROP_INS = ['with-mosquitto.conf', 'with-influxdb.conf', 'with-api-tokens.conf']
const server = makeServer()
afterAll(() => server.remove())

/** `Key=value` lines of a section, in order. */
function lines(text: string, section: string): readonly (readonly [string, string])[] {
  const part = new RegExp(`^\\[${section}\\]\\n([\\s\\S]*?)(?=^\\[|(?![\\s\\S]))`, 'm').exec(text)?.[1] ?? ''
  return [...part.matchAll(/^(\w+)=(.*)$/gm)].map((m) => [m[1] ?? '', m[2] ?? ''] as const)
}
const valuesOf = (unit: string, key: string, section = 'Service'): readonly string[] => lines(deployText(`systemd/${unit}`), section).flatMap(([k, v]) => (k === key ? [v] : []))

/** Variables a service starts with: its Environment lines, its drop-ins', and the environment file, with %S and %d put in. */
function environmentOf(unit: string, dropIns: readonly string[]): Record<string, string> {
  const pairs = [unit, ...dropIns].flatMap((f) => valuesOf(f, 'Environment'))
  const fromFile = deployText('loopkeeper.env')
    .split('\n')
    .filter((l) => /^[A-Z]/.test(l))
  return Object.fromEntries(
    [...pairs, ...fromFile].map((p) => {
      const at = p.indexOf('=')
      return [
        p.slice(0, at),
        p
          .slice(at + 1)
          .replace('%S', '/var/lib')
          .replace('%d', '/run/credentials/loopkeeper.service'),
      ]
    }),
  )
}

/** A root folder as `systemd-analyze` wants it: the units with their drop-ins, and what they start, present. */
function installed(): string {
  const root = server.at('/units')
  const units = join(root, 'etc/systemd/system')
  for (const u of UNITS) put(join(units, u), deployText(`systemd/${u}`))
  for (const d of DROP_INS) put(join(units, 'loopkeeper.service.d', d), deployText(`systemd/${d}`))
  for (const u of ['loopkeeper.service', 'loopkeeper-backup.service']) {
    const program = join(root, valuesOf(u, 'ExecStart')[0]?.split(' ')[0] ?? '')
    put(program, '#!/bin/sh\n')
    chmodSync(program, 0o755)
  }
  // The targets they name, as systemd has them.
  for (const t of ['network-online', 'multi-user', 'timers', 'sysinit', 'basic', 'shutdown', 'network']) put(join(units, `${t}.target`), '[Unit]\nDescription=of the test\n')
  return root
}
function put(file: string, text: string): void {
  mkdirSync(dirname(file), { recursive: true })
  writeFileSync(file, text)
}
const analyze = (...args: string[]): { readonly status: number | null; readonly said: string } => {
  const r = spawnSync(ANALYZE, args, { encoding: 'utf8', env: { ...process.env, SYSTEMD_LOG_LEVEL: 'warning', SYSTEMD_COLORS: '0' } })
  return { status: r.status, said: `${r.stdout}${r.stderr}` }
}

analysed(`systemd finds nothing wrong with the units and their drop-ins, and does with a mistyped line${without}`, () => {
  const root = installed()
  const verify = (): ReturnType<typeof analyze> => analyze('verify', '--man=no', `--root=${root}`, ...UNITS)
  const about = (said: string): string[] => said.split('\n').filter((l) => /loopkeeper|with-/.test(l))
  expect(about(verify().said)).toEqual([])
  put(join(root, 'etc/systemd/system/loopkeeper.service.d/with-mistake.conf'), '[Service]\nRestrt=always\nProtectSystem=strictly\n')
  expect(about(verify().said).join('\n')).toMatch(/Restrt[\s\S]*strictly|strictly[\s\S]*Restrt/)
})

analysed.each([
  ['loopkeeper.service', 20],
  ['loopkeeper-backup.service', 20],
] as const)(`systemd rates the exposure of %s at %i of 100 or less${without}`, (unit, most) => {
  const r = analyze('security', '--offline=true', `--threshold=${most}`, deploy(`systemd/${unit}`))
  expect(r.status, r.said.split('\n').slice(-4).join('\n')).toBe(0)
  expect(analyze('security', '--offline=true', '--threshold=5', deploy(`systemd/${unit}`)).status).toBe(1)
})

test('the service runs as its own user, writes to its own folder only, comes back after a failure, and does not retry what cannot get better', () => {
  const one = (key: string): string | undefined => valuesOf('loopkeeper.service', key).at(-1)
  expect([one('User'), one('ProtectSystem'), one('StateDirectory'), one('Restart'), one('NoNewPrivileges'), one('CapabilityBoundingSet')]).toEqual([
    'loopkeeper',
    'strict',
    'loopkeeper',
    'on-failure',
    'yes',
    '',
  ])
  expect(one('ReadWritePaths')).toBeUndefined()
  // V8 writes machine code at run time.
  expect(one('MemoryDenyWriteExecute')).toBeUndefined()
  expect(one('RestartPreventExitStatus')).toBe(`${EXIT.usage} ${EXIT.nodeTooOld}`)
  expect(valuesOf('loopkeeper.service', 'StartLimitIntervalSec', 'Unit')).toEqual(['0'])
})

test('every setting of unit, drop-ins and environment file is one the product has, and together they are accepted', () => {
  const known = new Set(SETTINGS.map((s) => s.env))
  const env = environmentOf('loopkeeper.service', DROP_INS)
  for (const name of Object.keys(env)) if (name.startsWith('LOOPKEEPER_')) expect(known, name).toContain(name)
  const read = readConfig(valuesOf('loopkeeper.service', 'ExecStart')[0]?.split(' server/main.ts')[1]?.split(' ').filter(Boolean) ?? [], env)
  expect(read).toMatchObject({
    ok: true,
    config: {
      host: '127.0.0.1',
      dataDir: '/var/lib/loopkeeper',
      fleet: 'none',
      synchronous: 'full',
      brokers: [{ url: 'mqtt://127.0.0.1:1883', user: 'loopkeeper', passwordFile: '/run/credentials/loopkeeper.service/broker-password' }],
      influx: { bucket: 'readings', tokenFile: '/run/credentials/loopkeeper.service/influx-write-token' },
      apiTokenFile: '/run/credentials/loopkeeper.service/api-tokens',
    },
  })
})

test('a secret comes as a credential: whatever is read from the credentials folder is loaded into it, and no secret stands in a unit', () => {
  for (const d of DROP_INS) {
    const loaded = valuesOf(d, 'LoadCredential').map((v) => v.split(':')[0])
    const read = valuesOf(d, 'Environment').flatMap((v) => /=%d\/(\S+)$/.exec(v)?.[1] ?? [])
    expect(read.length).toBeGreaterThan(0)
    expect(read).toEqual(loaded)
  }
  for (const f of readdirSync(deploy('systemd'))) expect(deployText(`systemd/${f}`)).not.toMatch(/^Environment=\S*(PASSWORD|TOKEN|SECRET)(?!_FILE)\S*=/m)
})

test('what the units start is in the repository', () => {
  expect(valuesOf('loopkeeper.service', 'ExecStart')).toEqual(['/opt/node/bin/node --import tsx server/main.ts'])
  expect(existsSync(join(repository, 'server/main.ts'))).toBe(true)
  expect(valuesOf('loopkeeper-backup.service', 'ExecStart')[0]).toMatch(/^\/opt\/loopkeeper\/current\/deploy\/loopkeeper backup %S\/loopkeeper-backups --keep \d+$/)
  expect(valuesOf('loopkeeper-backup.service', 'StateDirectory')).toEqual(['loopkeeper loopkeeper-backups'])
})
