import { existsSync } from 'node:fs'
import { expect, test } from 'vitest'
import { parse } from 'yaml'
import { z } from 'zod'
import { SETTINGS } from '../../gateway/config.ts'
import { deploy, deployText } from './readme.ts'

/** What compose.yaml uses of the Compose specification, and no more: an unknown or mistyped key fails. */
const pinned = z.string().regex(/^[a-z0-9./-]+:[\w.-]+$/, 'an image with a version')
const duration = z.string().regex(/^\d+(s|m)$/)
const service = z.strictObject({
  build: z.strictObject({ context: z.literal('..'), dockerfile: z.string() }).optional(),
  image: pinned.refine((i) => !i.endsWith(':latest')),
  command: z.array(z.string()).optional(),
  restart: z.literal('unless-stopped'),
  init: z.boolean().optional(),
  user: z
    .string()
    .regex(/^[1-9]\d*:[1-9]\d*$/)
    .optional(),
  read_only: z.literal(true).optional(),
  cap_drop: z.tuple([z.literal('ALL')]),
  cap_add: z.array(z.enum(['CHOWN', 'DAC_OVERRIDE', 'FOWNER', 'SETGID', 'SETUID'])).optional(),
  security_opt: z.tuple([z.literal('no-new-privileges:true')]),
  tmpfs: z.array(z.string().regex(/^\/\S+:size=\d+m,mode=1777$/)).optional(),
  mem_limit: z.string().regex(/^\d+g$/),
  pids_limit: z.int().positive(),
  ulimits: z.strictObject({ nofile: z.int().positive() }).optional(),
  stop_grace_period: duration.optional(),
  networks: z.array(z.string()).nonempty(),
  ports: z.array(z.string().regex(/^(127\.0\.0\.1:)?\d+:\d+$/)).optional(),
  depends_on: z.array(z.string()).optional(),
  environment: z.record(z.string(), z.string()).optional(),
  secrets: z.array(z.string()).optional(),
  volumes: z.array(z.string().regex(/^(\.\/[\w./-]+|[a-z][\w-]*):\/[\w./-]+(:ro)?$/)).optional(),
  healthcheck: z.strictObject({
    test: z.array(z.string()).min(2),
    interval: duration,
    timeout: duration,
    start_period: duration,
    retries: z.int().positive(),
  }),
  logging: z.strictObject({ driver: z.literal('local'), options: z.strictObject({ 'max-size': z.string(), 'max-file': z.string() }) }),
})
const file = z.strictObject({
  name: z.string(),
  'x-logs': z.unknown(),
  services: z.strictObject({ loopkeeper: service, mosquitto: service, influxdb: service }),
  networks: z.record(z.string(), z.strictObject({ internal: z.boolean().optional() })),
  volumes: z.record(z.string(), z.strictObject({})),
  secrets: z.record(z.string(), z.strictObject({ file: z.string().regex(/^\.\/secrets\/[\w.-]+$/) })),
})

const text = deployText('compose.yaml')
const compose = file.parse(parse(text, { merge: true }))
const services = Object.entries(compose.services)

test('compose.yaml holds only keys that are known, each with a value of its kind', () => {
  expect(services.map(([name]) => name)).toEqual(['loopkeeper', 'mosquitto', 'influxdb'])
  for (const [was, is] of [
    ['read_only: true', 'readonly: true'],
    ['influxdb:2.7', 'influxdb:latest'],
    ["'10001:10001'", "'0:0'"],
    ['cap_drop: [ALL]', 'cap_drop: []'],
  ] as const) {
    expect(text).toContain(was)
    expect(file.safeParse(parse(text.replace(was, is))).success, is).toBe(false)
  }
})

test('every volume, network and secret a service names is declared, and every declared one is used', () => {
  const named = (of: (s: (typeof services)[number][1]) => readonly string[]): string[] => [...new Set(services.flatMap(([, s]) => of(s)))].sort()
  expect(named((s) => (s.volumes ?? []).map((v) => v.split(':')[0] ?? '').filter((v) => !v.startsWith('.')))).toEqual(Object.keys(compose.volumes).sort())
  expect(named((s) => s.networks)).toEqual(Object.keys(compose.networks).sort())
  expect(named((s) => s.secrets ?? [])).toEqual(Object.keys(compose.secrets).sort())
  for (const [, s] of services) for (const d of s.depends_on ?? []) expect(Object.keys(compose.services)).toContain(d)
})

test('our own service and the broker run as an ordinary user on a read-only root file system without any capability', () => {
  for (const s of [compose.services.loopkeeper, compose.services.mosquitto]) {
    expect(s.read_only).toBe(true)
    expect(s.user).toBeDefined()
    expect(s.cap_add).toBeUndefined()
  }
})

test('only the TLS port of the broker is published to all; the page to loopback; InfluxDB not at all', () => {
  expect(compose.services.mosquitto.ports).toEqual(['8883:8883'])
  expect(compose.services.loopkeeper.ports).toEqual(['127.0.0.1:8470:8470'])
  expect(compose.services.influxdb.ports).toBeUndefined()
  expect(compose.services.influxdb.networks).toEqual(['inside'])
  expect(compose.networks.inside).toEqual({ internal: true })
})

test('every setting given to Loopkeeper is one it has, and every file it is told to read is mounted there', () => {
  const known = SETTINGS.map((s) => s.env)
  const { environment = {}, secrets = [] } = compose.services.loopkeeper
  for (const [name, value] of Object.entries(environment)) {
    expect(known).toContain(name)
    if (value.startsWith('/run/secrets/')) expect(secrets).toContain(value.slice('/run/secrets/'.length))
  }
  const conf = deployText('mosquitto/container.conf')
  const mounted = [...(compose.services.mosquitto.secrets ?? []).map((s) => `/run/secrets/${s}`), ...(compose.services.mosquitto.volumes ?? []).map((v) => v.split(':')[1] ?? '')]
  for (const m of conf.matchAll(/^(?:password_file|acl_file|cafile|certfile|keyfile) (\S+)$/gm)) expect(mounted).toContain(m[1])
  expect(mounted).toContain(compose.services.mosquitto.command?.at(-1))
})

test('every file of this repository that is mounted or built from is there', () => {
  expect(existsSync(deploy(`../${compose.services.loopkeeper.build?.dockerfile}`))).toBe(true)
  const mounts = services.flatMap(([, s]) => s.volumes ?? []).map((v) => v.split(':')[0] ?? '')
  for (const m of mounts) if (m.startsWith('./mosquitto/')) expect(existsSync(deploy(m)), m).toBe(true)
})

test('the folders in which the walk puts secrets, site files and backups are never committed, and never sent to the builder', () => {
  const folders = new Set([
    ...Object.values(compose.secrets).map((s) => s.file.split('/')[1] ?? ''),
    ...services.flatMap(([, s]) => s.volumes ?? []).flatMap((v) => /^\.\/(\w+)(?=[:/])/.exec(v)?.[1] ?? []),
  ])
  folders.delete('mosquitto')
  expect([...folders].sort()).toEqual(['backups', 'secrets', 'sites'])
  for (const f of folders) {
    expect(deployText('.gitignore').split('\n')).toContain(`/${f}/`)
    expect(deployText('Containerfile.dockerignore').split('\n')).toContain(`deploy/${f}`)
  }
})

test('no password, token or key stands in the file, and a dollar sign meant for the shell is doubled', () => {
  for (const [, s] of services) for (const [k, v] of Object.entries(s.environment ?? {})) if (/PASSWORD|TOKEN|KEY/.test(k)) expect(v).toMatch(/^\/run\/secrets\//)
  expect(text.replaceAll('$$', '').includes('$')).toBe(false)
})
