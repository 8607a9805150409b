/**
 * Who may import whom, as one table, and the check that reads it. A file belongs to the first room whose pattern fits.
 * `tests/house.test.ts` runs it over the tree and over planted violations.
 */
import { readdirSync, readFileSync } from 'node:fs'
import { join, posix } from 'node:path'

export interface Room {
  readonly name: string
  readonly holds: RegExp
  /** Repository paths it may import. */
  readonly house: readonly RegExp[]
  /** Packages it may import, by name; `node:*` stands for Node's own. */
  readonly packages: readonly string[]
  /** May it touch the world: Date, Math.random, console, process, timers. */
  readonly pure: boolean
}

const PURE_GATEWAY =
  /^gateway\/(site|process|trends|vitals|outlook|crash)\/|^gateway\/alarms\/(?!journal|keeper)|^gateway\/log\/entry|^gateway\/intake\/(payload|topic|mapping|checks|qartod|message|reject-codes)|^gateway\/history\/(history|csv\/(cells|pages|long|wide))\.ts|^gateway\/(port|clock)\.ts$/

export const ROOMS: readonly Room[] = [
  { name: 'pure gateway', holds: PURE_GATEWAY, house: [PURE_GATEWAY], packages: ['zod', 'yaml'], pure: true },
  {
    name: 'gateway shell',
    holds: /^gateway\//,
    house: [/^gateway\//],
    pure: false,
    packages: ['node:*', 'zod', 'yaml', 'mqtt', 'aedes', 'influx', '@influxdata/influxdb-client', 'better-sqlite3', 'kysely'],
  },
  { name: 'wire', holds: /^server\/wire(-\w+)?\.ts$/, house: [/^server\/wire-\w+\.ts$/], packages: ['zod'], pure: true },
  { name: 'server main', holds: /^server\/(main|start|prepare)\./, house: [/^server\//, /^gateway\//, /^simulator\/fleets\/fleets\.ts$/], packages: ['node:*'], pure: false },
  { name: 'server', holds: /^server\//, house: [/^server\//, PURE_GATEWAY], packages: ['node:*', 'zod', 'fastify', 'ws'], pure: false },
  { name: 'web chart', holds: /^web\/chart\//, house: [/^web\//, /^server\/wire\.ts$/], packages: ['preact', '@preact/signals', 'uplot'], pure: false },
  { name: 'web state', holds: /^web\/(state|words)\//, house: [/^web\/(state|words)\//, /^server\/wire\.ts$/], packages: ['@preact/signals'], pure: false },
  {
    name: 'web',
    holds: /^web\//,
    house: [/^web\//, /^server\/wire\.ts$/],
    packages: ['preact', '@preact/signals', 'zod', '@fontsource-variable/atkinson-hyperlegible-next'],
    pure: false,
  },
  { name: 'simulator', holds: /^simulator\//, house: [/^simulator\//, /^gateway\/(site|process)\//], packages: ['node:*', 'mqtt', 'yaml'], pure: false },
]

const WORLD = /\b(Date\s*\(|new Date\b|Date\.(now|parse|UTC)|Math\.random|console\.|process\.(?!ts)|setTimeout\(|setInterval\(|setImmediate\()/

export interface Breach {
  readonly file: string
  readonly line: number
  readonly message: string
}

/** Breaches of one file, given its repository path (with `/`) and its text. */
export function inspect(file: string, text: string): readonly Breach[] {
  const room = ROOMS.find((r) => r.holds.test(file))
  if (!room) return /^(tests|deploy)\/|^[^/]+$/.test(file) ? [] : [{ file, line: 1, message: `stands in no room of the house: ${file}` }]
  const out: Breach[] = []
  const clean = withoutComments(text)
  for (const m of clean.matchAll(
    /(?:^|[\s;}])(?:import|export)\s(?:[^'"`;]*?\sfrom\s*)?['"]([^'"]+)['"]|\bimport\s*\(\s*['"]([^'"]+)['"]\s*\)|\brequire\s*\(\s*['"]([^'"]+)['"]\s*\)/g,
  )) {
    const target = m[1] ?? m[2] ?? m[3] ?? ''
    const line = clean.slice(0, (m.index ?? 0) + m[0].length).split('\n').length
    if (target.startsWith('.')) {
      const path = posix.normalize(posix.join(posix.dirname(file), target))
      if (!room.house.some((h) => h.test(path))) out.push({ file, line, message: `${room.name} may not import ${path}` })
    } else {
      const name = target.startsWith('node:') ? 'node:*' : target.startsWith('@') ? target.split('/').slice(0, 2).join('/') : (target.split('/')[0] ?? target)
      if (!room.packages.includes(name)) out.push({ file, line, message: `${room.name} may not import ${target}` })
    }
  }
  if (room.pure) {
    clean.split('\n').forEach((l, i) => {
      const hit = WORLD.exec(l)
      if (hit) out.push({ file, line: i + 1, message: `${room.name} may not touch the world: ${hit[0].trim()}` })
    })
  }
  return out
}

/** Comments become spaces, line breaks stay, so that line numbers hold. Strings are left alone. */
function withoutComments(text: string): string {
  return text.replace(
    /("(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*'|`(?:\\.|[^`\\])*`)|\/\*[\s\S]*?\*\/|\/\/[^\n]*/g,
    (all, literal: string | undefined) => literal ?? all.replace(/[^\n]/g, ' '),
  )
}

/** All TypeScript files below `root`, as repository paths. */
export function sources(root: string): readonly string[] {
  const out: string[] = []
  const walk = (dir: string): void => {
    for (const e of readdirSync(join(root, dir), { withFileTypes: true })) {
      if (e.name.startsWith('.') || e.name === 'node_modules' || e.name === 'dist') continue
      const path = dir ? `${dir}/${e.name}` : e.name
      if (e.isDirectory()) walk(path)
      else if (/\.(ts|tsx|mjs)$/.test(e.name)) out.push(path)
    }
  }
  for (const top of ['gateway', 'server', 'web', 'simulator']) walk(top)
  return out
}

export const inspectTree = (root: string): readonly Breach[] => sources(root).flatMap((f) => inspect(f, readFileSync(join(root, f), 'utf8')))
