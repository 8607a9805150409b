import { spawnSync } from 'node:child_process'
import { mkdtempSync, readdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { afterEach, beforeEach, expect, test } from 'vitest'
import { createCurrent } from '../../gateway/current.ts'
import { adopt } from '../../gateway/site/adopt.ts'
import { guessOf, type SeenFigures } from '../../gateway/site/guess.ts'
import { createSiteWatch } from '../../gateway/site-watch.ts'
import { intakeWith, message, NOW } from '../intake/parts.ts'

const FILE = `# Ostrand, behind the wash hall
id: ostrand
name: Ostrand bus depot
zone: Europe/Lisbon
train: [{ stage: sump }, { stage: treatment }] # no bio tank yet
signals:
  # the probe from 2024
  tu.do:
  sump.level: { range: [0, 105] } # ultrasonic

# what the permit asks for
dataPlanMb: 20
`
let dir: string
beforeEach(() => void (dir = mkdtempSync(join(tmpdir(), 'sites-'))))
afterEach(() => rmSync(dir, { recursive: true, force: true }))

test('a signal is adopted into the text of a site file, and every line a person wrote stays', () => {
  const plain = adopt('o.yaml', FILE, { signal: 'tu.ph' })
  expect(plain.ok && plain.site.signals.map((s) => s.id)).toEqual(['tu.do', 'sump.level', 'tu.ph'])
  const more = adopt('o.yaml', FILE, { signal: 'panel.x7', quantity: 'temperature', name: 'Cabinet', unit: 'Cel' })
  if (!plain.ok || !more.ok) throw new Error('not adopted')
  for (const line of FILE.split('\n')) for (const text of [plain.text, more.text]) expect(text).toContain(line.trim())
  expect(plain.text).toMatch(/^ {2}tu\.ph:$/m)
  expect(more.text).toMatch(/^ {2}panel\.x7: \{ quantity: "temperature", name: "Cabinet", unit: "Cel" \}$/m)
  // One line more and nothing else.
  expect(
    plain.text
      .split('\n')
      .filter((l) => l !== '  tu.ph:')
      .join('\n'),
  ).toBe(FILE)
  const alone = adopt('o.yaml', FILE.slice(0, FILE.indexOf('\n# what')).trimEnd(), { signal: 'tu.ph' })
  expect(alone.ok && alone.text.endsWith('# ultrasonic\n  tu.ph:\n')).toBe(true)
  const deep = adopt('o.yaml', FILE.replace('sump.level: { range: [0, 105] }', 'sump.level:\n    range: [0, 105]\n    digits: 1'), { signal: 'tu.ph' })
  expect(deep.ok && deep.site.signals.map((s) => s.id)).toEqual(['tu.do', 'sump.level', 'tu.ph'])
})

const FOREIGN = `${FILE}foreign:
  - topic: quay/unit7
    rows: ch # one per input
    signals:
      tu.do: { path: val, when: { path: n, is: AI1 } }
`
test('a field of a foreign payload is adopted with its mapping, in two lines, and the line told is that of the signal', () => {
  const r = adopt('o.yaml', FOREIGN, { signal: 'tu.ph', quantity: 'ph', from: { topic: 'quay/unit7', path: 'val', when: { path: 'n', is: 'AI2' } } })
  if (!r.ok) throw new Error(r.message)
  const lines = r.text.split('\n')
  expect(lines[r.line - 1]).toBe('  tu.ph: { quantity: "ph" }')
  expect(r.text).toContain('      tu.ph: { path: "val", when: {"path":"n","is":"AI2"} }\n')
  expect(lines.length).toBe(FOREIGN.split('\n').length + 2)
  expect(r.site.foreign[0]?.signals.map((s) => [s.signal, s.when?.is])).toEqual([
    ['tu.do', 'AI1'],
    ['tu.ph', 'AI2'],
  ])
  // Written above its signals, the mapping moves them one line down.
  const above = FOREIGN.slice(FOREIGN.indexOf('foreign:')) + FILE
  const moved = adopt('o.yaml', above, { signal: 'tu.ph', from: { topic: 'quay/unit7', path: 'x', when: null } })
  if (!moved.ok) throw new Error(moved.message)
  expect(moved.text.split('\n')[moved.line - 1]).toBe('  tu.ph:')
})

test('a field is not adopted where the file maps no such topic, or in a unit that cannot be converted', () => {
  const why = (over: object): string => {
    const r = adopt('o.yaml', FOREIGN, { signal: 'tu.ph', quantity: 'ph', ...over })
    return r.ok ? '' : r.message
  }
  expect(why({ from: { topic: 'quay/unit8', path: 'x', when: null } })).toBe('o.yaml maps no topic "quay/unit8" under foreign: add it there, with its signals.')
  expect(why({ unit: 'Cel', from: { topic: 'quay/unit7', path: 'x', when: null } })).toContain('"Cel" found, and the signal is in "[pH]"')
})

test('what would not be a good site file is not written, and says why', () => {
  const why = (signal: string, over = {}): string => {
    const r = adopt('o.yaml', FILE, { signal, ...over })
    return r.ok ? '' : r.message
  }
  expect(why('tu.do')).toBe('tu.do is in o.yaml already.')
  expect(why('panel.x7')).toContain('cannot tell what "panel.x7" measures')
  expect(why('panel.x7', { quantity: 'smell' })).toContain('"smell" found')
  expect(why('Panel X')).toContain('lower-case parts joined by dots')
  expect(adopt('o.yaml', 'id: [', { signal: 'tu.ph' })).toMatchObject({ ok: false })
})

const seen = (over: Partial<SeenFigures>): SeenFigures => ({ min: 1, max: 2, whole: false, rising: false, count: 20, ...over })
test.each([
  ['bio2.do', {}, 'do'],
  ['ai.o2_1', { min: 4, max: 9 }, 'do'],
  ['x.ph-b', { min: 6.8, max: 7.4 }, 'ph'],
  // A name that says pH and figures that cannot be: no guess from the name.
  ['x.ph-b', { min: 200, max: 400 }, null],
  ['cab.temp', { min: 12, max: 30 }, 'temperature'],
  ['di.4', { min: 0, max: 1, whole: true }, 'run'],
  ['ct.9', { min: 10, max: 90, whole: true, rising: true }, 'pulses'],
  ['zz.9', { min: 3, max: 90 }, null],
  ['__proto__', {}, null],
] as const)('a guess for %s with figures %j: %s', (signal, over, quantity) => {
  expect(guessOf(signal, seen(over))?.quantity ?? null).toBe(quantity)
})

test('unassigned signals are listed with last value, rate and a guess, and after adoption they are taken', () => {
  writeFileSync(join(dir, 'o.yaml'), FILE)
  const watch = createSiteWatch(dir)
  const { intake, history } = intakeWith({ sites: () => watch.sites() })
  for (let i = 0; i < 4; i++) intake.take(message('ostrand/tu.ph', `{"v":${7 + i / 10},"t":${NOW - 180_000 + i * 60_000}}`, { receivedMs: NOW - 180_000 + i * 60_000 }))
  expect(intake.unassigned()).toMatchObject([{ site: 'ostrand', signal: 'tu.ph', count: 4, lastValue: 7.3, perMin: 1, guess: { quantity: 'ph', unit: '[pH]' } }])
  const command = fileURLToPath(new URL('../../gateway/sites.ts', import.meta.url))
  const run = (...args: string[]) => spawnSync(process.execPath, ['--import', 'tsx', command, ...args], { encoding: 'utf8' })
  expect(run('adopt', 'ostrand', 'tu.ph', '--sites', dir)).toMatchObject({ status: 0 })
  expect(run('adopt', 'ostrand', 'tu.ph', '--sites', dir)).toMatchObject({ status: 1 })
  expect(run('adopt', 'kestrow', 'tu.ph', '--sites', dir).stderr).toContain('No site file in')
  expect(readdirSync(dir)).toEqual(['o.yaml'])
  expect(watch.poll()).toBe(true)
  intake.take(message('ostrand/tu.ph', '7.4'))
  expect(history.stored).toMatchObject([{ key: 'ostrand/tu.ph', value: 7.4, live: true }])
})

test('a site file that breaks or goes keeps its last good version, is told as a fault, and is followed when it is back', () => {
  const file = join(dir, 'o.yaml')
  writeFileSync(file, FILE)
  const watch = createSiteWatch(dir)
  const first = watch.sites()
  expect(watch.poll()).toBe(false)
  writeFileSync(file, FILE.replace('zone: Europe/Lisbon', 'zone: Nowhere/Else'))
  expect(watch.poll()).toBe(false)
  expect(watch.sites()).toBe(first)
  expect(
    watch
      .faults()
      .map((f) => f.message)
      .join(),
  ).toMatch(/Nowhere\/Else.*last good version stays in force/)
  renameSync(file, `${file}.away`)
  watch.poll()
  expect(watch.sites().get('ostrand')).toBe(first.get('ostrand'))
  expect(watch.faults()).toMatchObject([{ field: 'id' }])
  writeFileSync(file, FILE.replace('dataPlanMb: 20', 'dataPlanMb: 50'))
  expect(watch.poll()).toBe(true)
  expect(watch.sites().get('ostrand')?.dataPlanMb).toBe(50)
  expect(watch.faults()).toEqual([])
  expect(readFileSync(file, 'utf8')).toContain('# ultrasonic')
})

test('what is known of a loop stays when its file changes, and a new loop begins silent', () => {
  writeFileSync(join(dir, 'o.yaml'), FILE)
  const watch = createSiteWatch(dir)
  const current = createCurrent(watch.sites(), new Map())
  const at = { sourceMs: NOW, receivedMs: NOW, value: 7, quality: 'good', sub: 'ok', qc: 1, clock: 'ok', live: true } as const
  current.take([
    { key: 'ostrand/tu.do', ...at },
    { key: 'ostrand/sump.level', ...at },
  ])
  current.heard('ostrand', NOW)
  writeFileSync(join(dir, 'o.yaml'), FILE.replace(/ {2}sump\.level.*\n/, '').replace('dataPlanMb: 20', 'dataPlanMb: 21'))
  writeFileSync(join(dir, 'k.yaml'), FILE.replace('id: ostrand', 'id: kestrow'))
  expect(watch.poll()).toBe(true)
  current.follow(watch.sites())
  expect(current.all().map((s) => [s.site.id, s.heardMs, s.silent, [...s.latest.keys()]])).toEqual([
    ['ostrand', NOW, true, ['tu.do']],
    ['kestrow', null, true, []],
  ])
})
