import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { expect, test } from 'vitest'
import { inspect, inspectTree, sources } from './house.ts'

const root = fileURLToPath(new URL('..', import.meta.url))

test('every import and every touch of the world stays inside the table', () => {
  const breaches = inspectTree(root)
  expect(breaches.map((b) => `${b.file}:${b.line} ${b.message}`)).toEqual([])
  expect(sources(root).length).toBeGreaterThan(15)
})

test.each([
  ['gateway/alarms/limit.ts', "import { readFileSync } from 'node:fs'", 'pure gateway may not import node:fs'],
  ['gateway/site/site.ts', "import mqtt from 'mqtt'", 'pure gateway may not import mqtt'],
  ['gateway/process/oxygen.ts', 'const t = Date.now()', 'pure gateway may not touch the world: Date.now'],
  ['gateway/process/oxygen.ts', 'const t = new Date()', 'pure gateway may not touch the world: new Date'],
  ['gateway/trends/ewma.ts', 'const r = Math.random()', 'pure gateway may not touch the world: Math.random'],
  ['gateway/alarms/engine.ts', "import { open } from './journal.ts'", 'pure gateway may not import gateway/alarms/journal.ts'],
  ['gateway/history/embedded.ts', "import { app } from '../../server/app.ts'", 'gateway shell may not import server/app.ts'],
  ['server/routes/loops.ts', "import { openEmbedded } from '../../gateway/history/embedded.ts'", 'server may not import gateway/history/embedded.ts'],
  ['server/routes/loops.ts', "import mqtt from 'mqtt'", 'server may not import mqtt'],
  ['web/views/fleet.tsx', "import type { Site } from '../../gateway/site/site.ts'", 'web may not import gateway/site/site.ts'],
  ['web/views/trend.tsx', "import uPlot from 'uplot'", 'web may not import uplot'],
  ['web/state/fleet.ts', "import { h } from 'preact'", 'web state may not import preact'],
  ['simulator/main.ts', "import { createIntake } from '../gateway/intake/intake.ts'", 'simulator may not import gateway/intake/intake.ts'],
  ['simulator/main.ts', "const x = await import('../server/app.ts')", 'simulator may not import server/app.ts'],
  ['helpers/thing.ts', 'export const a = 1', 'stands in no room of the house: helpers/thing.ts'],
])('a forbidden line planted in %s is found: %s', (file, line, message) => {
  expect(inspect(file, `// a comment\n${line}\n`)).toEqual([{ file, line: message.startsWith('stands') ? 1 : 2, message }])
})

test('a forbidden import in a comment is no breach, and one over several lines is', () => {
  expect(inspect('gateway/alarms/limit.ts', "// import fs from 'node:fs'\n/* Date.now() */\n")).toEqual([])
  expect(inspect('gateway/alarms/limit.ts', "import {\n  readFileSync,\n} from 'node:fs'\n")).toHaveLength(1)
})

test('the top level holds only what the design names', () => {
  const allowed = [
    'README.md',
    'DEVELOPERS.md',
    'LICENSE',
    'package.json',
    'package-lock.json',
    'tsconfig.json',
    'biome.json',
    'knip.json',
    'vite.config.ts',
    'vitest.config.ts',
    'gateway',
    'server',
    'web',
    'simulator',
    'tests',
    'deploy',
  ]
  const local = ['node_modules', 'data']
  const found = readdirSync(root).filter((n) => !n.startsWith('.') && !local.includes(n))
  expect(found.filter((n) => !allowed.includes(n))).toEqual([])
})

test('comments speak of the house alone: nothing of how or in which order it was built', () => {
  const told = /\b[Pp]arts? \d\b|\b[Ii]ssue #?\d|\bTODO\b|\bFIXME\b/
  const found = sources(root).flatMap((f) =>
    readFileSync(join(root, f), 'utf8')
      .split('\n')
      .flatMap((line, i) => (told.test(line) ? [`${f}:${i + 1}: ${line.trim()}`] : [])),
  )
  expect(found).toEqual([])
})
