import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, test } from 'vitest'
import type { SiteFileAsk, SiteFileTried } from '../../gateway/port.ts'
import { openCredentialUse } from '../../gateway/intake/credential-use.ts'
import { openSiteFiles } from '../../gateway/site-files.ts'

const FILE = `id: ostrand
name: Ostrand bus depot
zone: Europe/Lisbon
reportEvery: 60s
train:
  - { stage: sump, volumeL: 1100 }
  - { stage: treatment, volumeL: 2300, retention: carriers }
  - { stage: finished, volumeL: 5700 }
equipment:
  blower: { kind: aerator, serves: [tu] }
signals:
  # ultrasonic
  sump.level:
  tu.do:
  tu.temperature:
alarms:
  sump.level.high: { limit: 80, why: "a small sump" }
`
let dir: string
let nowMs = Date.UTC(2026, 2, 4, 12)
beforeEach(() => {
  dir = mkdtempSync(join(tmpdir(), 'sites-'))
  writeFileSync(join(dir, 'ostrand.yaml'), FILE)
})
afterEach(() => rmSync(dir, { recursive: true, force: true }))

const files = (locked: string | null = null) => openSiteFiles({ dir, locked, layers: () => new Map(), nowMs: () => nowMs })
const onDisk = (file = 'ostrand.yaml'): string => readFileSync(join(dir, file), 'utf8')
const mark = (file = 'ostrand.yaml'): string => {
  const r = files().read(file)
  if (!r.ok) throw new Error(r.message)
  return r.mark
}
const tried = (ask: Omit<SiteFileAsk, 'mark'>): SiteFileTried => {
  const r = files().preview('ostrand.yaml', { mark: mark(), ...ask })
  if (!r.ok) throw new Error(r.message)
  return r
}

test('a preview tells which signals, alarms and vitals come, go and change, with old and new figures, and saves nothing', () => {
  const without = tried({ text: FILE.replace('  tu.do:\n', '') })
  expect(without.difference?.signals.gone.map((s) => s.id)).toEqual(['tu.do'])
  expect(without.difference?.alarms.gone.map((a) => a.id)).toContain('ostrand/tu.do.low')
  expect(without.difference?.vitals.lost.map((v) => v.id)).toContain('tu.do.saturation')
  const more = tried({ text: FILE.replace('  tu.do:\n', '  tu.do:\n  tu.ph:\n') })
  expect(more.difference?.signals.added).toEqual([{ id: 'tu.ph', name: 'pH, treatment unit' }])
  expect(more.difference?.alarms.added.length).toBeGreaterThan(0)
  expect(more.difference?.alarms.gone).toEqual([])
  const limit = tried({ text: FILE.replace('limit: 80', 'limit: 70') })
  expect(limit.difference?.alarms.changed.find((a) => a.id === 'ostrand/sump.level.high')?.moved).toEqual([{ field: 'limit', was: 80, is: 70 }])
  expect(limit.diff.flat().flatMap((l) => (l.kind === 'stays' ? [] : [`${l.kind} ${l.line}`]))).toEqual(['goes 17', 'comes 17'])
  expect(onDisk()).toBe(FILE)
  expect(readdirSync(dir)).toEqual(['ostrand.yaml'])
})

test('what is wrong is told with line and field, and cannot be saved', () => {
  const wrong = tried({ edits: [{ path: ['zone'], value: 'Europe/Nowhere' }] })
  expect(wrong.faults).toEqual([{ file: 'ostrand.yaml', line: 3, field: 'zone', message: '"Europe/Nowhere" found: an IANA time zone, such as "Europe/Lisbon"' }])
  expect(wrong.difference).toBeNull()
  expect(tried({ text: FILE.replace('limit: 80', 'limit: 900') }).faults).toMatchObject([{ line: 17, field: 'alarms.sump.level.high' }])
  expect(tried({ text: FILE.replace('id: ostrand', 'id: other') }).faults).toMatchObject([{ field: 'id', message: expect.stringContaining('a loop keeps its id') }])
  expect(tried({ text: FILE.replace('name:', 'nmae:') }).faults.map((f) => f.line)).toContain(2)
  expect(files().save('ostrand.yaml', { mark: mark(), edits: [{ path: ['zone'], value: 'x' }] })).toMatchObject({
    ok: false,
    code: 'not-saved',
    message: expect.stringContaining('line 3, zone'),
  })
  expect(files().save('ostrand.yaml', { mark: mark(), edits: [] })).toMatchObject({ ok: false, code: 'not-saved', message: expect.stringContaining('nothing would change') })
  expect(files().save('ostrand.yaml', { mark: mark(), edits: [{ path: ['id'], value: 'x' }] })).toMatchObject({
    ok: false,
    message: expect.stringContaining('no field of the form'),
  })
  expect(onDisk()).toBe(FILE)
})

test('whoever saves a version that is no longer on disk is refused, and what is there stays', () => {
  const seen = mark()
  expect(files().save('ostrand.yaml', { mark: seen, edits: [{ path: ['area'], value: 'Hill yards' }] })).toMatchObject({ ok: true, site: 'ostrand' })
  const first = onDisk()
  expect(first).toContain('area: Hill yards')
  expect(files().save('ostrand.yaml', { mark: seen, edits: [{ path: ['customer'], value: 'X' }] })).toMatchObject({ ok: false, code: 'stale-file' })
  const second = mark()
  writeFileSync(join(dir, 'ostrand.yaml'), `${first}# by hand\n`)
  expect(files().preview('ostrand.yaml', { mark: second, edits: [] })).toMatchObject({ ok: false, code: 'stale-file' })
  expect(files().save('ostrand.yaml', { mark: second, text: FILE })).toMatchObject({ ok: false, code: 'stale-file' })
  expect(onDisk()).toBe(`${first}# by hand\n`)
})

test('the file before is kept, at most fifty of a site, and those of a site whose id begins alike are left alone', () => {
  writeFileSync(join(dir, 'ostrand-2.yaml'), FILE.replace('id: ostrand', 'id: ostrand-2'))
  const change = (file: string, i: number): void => {
    nowMs += 1000
    expect(files().save(file, { mark: mark(file), edits: [{ path: ['area'], value: `Area ${i}` }] })).toMatchObject({ ok: true })
  }
  change('ostrand-2.yaml', 0)
  for (let i = 0; i < 53; i++) change('ostrand.yaml', i)
  const kept = readdirSync(join(dir, '.before')).sort()
  expect(kept.filter((k) => k.startsWith('ostrand-2-'))).toHaveLength(1)
  expect(kept).toHaveLength(51)
  expect(readFileSync(join(dir, '.before', kept.at(-1) ?? ''), 'utf8')).toContain('Area 51')
  // They are no site files.
  expect(
    files()
      .list()
      .map((f) => f.file),
  ).toEqual(['ostrand-2.yaml', 'ostrand.yaml'])
})

test('a file that another is just writing is not written, and the message names what is in the way', () => {
  writeFileSync(join(dir, 'ostrand.yaml.new'), 'half')
  const r = files().save('ostrand.yaml', { mark: mark(), edits: [{ path: ['area'], value: 'X' }] })
  expect(r).toMatchObject({ ok: false, code: 'not-saved', message: expect.stringContaining('ostrand.yaml.new') })
  expect(onDisk()).toBe(FILE)
})

test('files of the demo fleet are looked at and tried, never saved', () => {
  const demo = files('The site files of the demo fleet are part of the program: start with --fleet none.')
  expect(demo.preview('ostrand.yaml', { mark: mark(), edits: [{ path: ['area'], value: 'X' }] })).toMatchObject({ ok: true })
  expect(demo.save('ostrand.yaml', { mark: mark(), edits: [{ path: ['area'], value: 'X' }] })).toMatchObject({
    ok: false,
    code: 'not-saved',
    message: expect.stringContaining('--fleet none'),
  })
  expect(onDisk()).toBe(FILE)
})

test('only files of the folder are reached, whatever the name says', () => {
  writeFileSync(join(dir, '..', 'beside.yaml'), FILE)
  for (const name of ['../beside.yaml', '..%2Fbeside.yaml', '/etc/passwd', 'ostrand.yaml/../ostrand.yaml', '.before/x.yaml', '']) {
    expect(files().read(name)).toMatchObject({ ok: false, code: 'unknown-file' })
    expect(files().save(name, { mark: 'new', text: FILE })).toMatchObject({ ok: false })
  }
  rmSync(join(dir, '..', 'beside.yaml'))
  expect(readdirSync(dir)).toEqual(['ostrand.yaml'])
})

test('a new site begins as a file that can be saved at once, and neither id nor file is given twice', () => {
  const draft = files().draft({ id: 'north-quay', name: 'North quay', zone: 'Europe/Lisbon' })
  if (!draft.ok) throw new Error(draft.message)
  expect(draft).toMatchObject({ file: 'north-quay.yaml', isNew: true, faults: [] })
  expect(files().save('north-quay.yaml', { mark: draft.mark, text: draft.text })).toMatchObject({ ok: true, isNew: true, site: 'north-quay' })
  expect(existsSync(join(dir, '.before'))).toBe(false)
  expect(files().draft({ id: 'north-quay', name: 'Again', zone: 'Europe/Lisbon' })).toMatchObject({ ok: false, code: 'stale-file' })
  expect(files().draft({ id: 'North Quay', name: 'x', zone: 'Europe/Lisbon' })).toMatchObject({ ok: false, message: expect.stringContaining('is no id') })
  expect(files().preview('second.yaml', { mark: 'new', text: FILE })).toMatchObject({ ok: true, faults: [{ field: 'id' }] })
  expect(files().draft({ id: 'copy', name: 'Copy', zone: 'Europe/Lisbon', copyOf: 'nothing.yaml' })).toMatchObject({ ok: false, code: 'unknown-file' })
})

test('a list of many files reads only those that have changed, and tells the faults of one that breaks', () => {
  for (let i = 0; i < 300; i++) writeFileSync(join(dir, `yard-${i}.yaml`), FILE.replace('id: ostrand', `id: yard-${i}`))
  let asked = 0
  const long = Date.now() + 3_600_000
  const readable = new Map(readdirSync(dir).map((file) => [file, { id: file.slice(0, -5), name: 'as followed' }]))
  const many = openSiteFiles({ dir, locked: null, layers: () => new Map(), nowMs: () => long, readable: () => (asked++, readable) })
  expect(many.list().every((f) => f.name === 'as followed' && f.faults.length === 0)).toBe(true)
  many.list()
  expect(asked).toBe(1)
  readable.delete('yard-7.yaml')
  writeFileSync(join(dir, 'yard-7.yaml'), FILE.replace('id: ostrand', 'id: yard-7').replace('Europe/Lisbon', 'Europe/Nowhere'))
  expect(many.list().filter((f) => f.faults.length > 0)).toMatchObject([{ file: 'yard-7.yaml', site: 'yard-7', faults: [{ line: 3 }] }])
  rmSync(join(dir, 'yard-8.yaml'))
  expect(many.list()).toHaveLength(300)
})

test('when a credential was last used is known after a restart, and forgotten when it is made anew', () => {
  const file = join(dir, 'used.json')
  const use = openCredentialUse(file)
  expect(use.lastMs('ostrand', 'a')).toBeNull()
  use.note('ostrand', 'a', 5000)
  use.note('unknown', null, 5000)
  use.keep()
  expect(openCredentialUse(file).lastMs('ostrand', 'a')).toBe(5000)
  expect(openCredentialUse(file).lastMs('ostrand', 'b')).toBeNull()
  writeFileSync(file, '{ broken')
  expect(openCredentialUse(file).lastMs('ostrand', 'a')).toBeNull()
})
