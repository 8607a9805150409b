import { readdirSync, readFileSync } from 'node:fs'
import fc from 'fast-check'
import { expect, test } from 'vitest'
import { parse } from 'yaml'
import { editText, type Edit, type FieldValue } from '../../gateway/site/edit.ts'
import { strangeEdit } from '../../gateway/site/form-fields.ts'
import { lineDiff } from '../../gateway/site/line-diff.ts'
import { copiedSiteText, newSiteText } from '../../gateway/site/new-site.ts'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import { fleetDir } from '../../simulator/fleets/fleets.ts'

const FILE = `# Ostrand, behind the wash hall
id: ostrand
name: Ostrand bus depot # as on the gate
zone: Europe/Lisbon
open:
  mon-fri: "06:00-20:00" # school days
  sat: "08:00-12:00"
train: [{ stage: sump }, { stage: treatment }] # no bio tank yet
signals:
  # the probe from 2024
  tu.do:
  sump.level: { range: [0, 105] } # ultrasonic
  tu.ph:
    range: [2, 12] # glass
    digits: 1

protections: { bund: { what: "Bund of 1.2 m3", present: true } }
# what the permit asks for
dataPlanMb: 20
`
const edit = (path: string, value: FieldValue | null): string => {
  const r = editText(FILE, [{ path: path.split('/'), value }])
  if (!r.ok) throw new Error(r.message)
  return r.text
}
/** Lines that went and came. */
const moved = (path: string, value: FieldValue | null): readonly string[] =>
  lineDiff(FILE, edit(path, value), 0)
    .flat()
    .map((l) => (l.kind === 'goes' ? '-' : '+') + l.text)

test.each<[string, FieldValue | null, readonly string[]]>([
  ['name', 'Ostrand, depot 2', ['-name: Ostrand bus depot # as on the gate', '+name: Ostrand, depot 2 # as on the gate']],
  ['name', 'yes', ['-name: Ostrand bus depot # as on the gate', '+name: "yes" # as on the gate']],
  ['area', 'Town: west', ['+area: "Town: west"']],
  ['yardPhone', '555-0100', ['+yardPhone: "555-0100"']],
  ['reach/drive', '45min', ['+reach: { drive: 45min }']],
  ['open/sat', null, ['-  sat: "08:00-12:00"']],
  ['open', { 'mon-fri': '07:00-20:00', sat: '08:00-12:00' }, ['-  mon-fri: "06:00-20:00" # school days', '+  mon-fri: "07:00-20:00" # school days']],
  ['open', 'always', ['-open:', '-  mon-fri: "06:00-20:00" # school days', '-  sat: "08:00-12:00"', '+open: always']],
  ['open', null, ['-open:', '-  mon-fri: "06:00-20:00" # school days', '-  sat: "08:00-12:00"']],
  ['signals/tu.do/range', [0, 20], ['-  tu.do:', '+  tu.do: { range: [0, 20] }']],
  ['signals/sump.level/range', null, ['-  sump.level: { range: [0, 105] } # ultrasonic', '+  sump.level: # ultrasonic']],
  ['signals/tu.ph/range', [3, 11], ['-    range: [2, 12] # glass', '+    range: [3, 11] # glass']],
  ['signals/tu.ph/reportEvery', '30s', ['+    reportEvery: 30s']],
  [
    'protections/bund/provedOn',
    '2026-03-01',
    ['-protections: { bund: { what: "Bund of 1.2 m3", present: true } }', '+protections: { bund: { what: "Bund of 1.2 m3", present: true, provedOn: "2026-03-01" } }'],
  ],
  ['consumables/acid', { name: 'Acid', full: 60, unit: 'L' }, ['+consumables:', '+  acid: { name: Acid, full: 60, unit: L }']],
  ['dataPlanMb', 30, ['-dataPlanMb: 20', '+dataPlanMb: 30']],
  ['zone', 'Europe/Lisbon', []],
])('%s set to %j changes these lines of the file and no other', (path, value, lines) => {
  expect(moved(path, value)).toEqual(lines)
})

test('a new field stands where a person would look for it', () => {
  expect(edit('yardPhone', '555-0100').split('\n').slice(7, 9)).toEqual(['yardPhone: "555-0100"', 'train: [{ stage: sump }, { stage: treatment }] # no bio tank yet'])
})

test('what a form cannot change without touching something else is refused, and the text is to be used', () => {
  const shared = 'a: &x { drive: 1h }\nreach: *x\n'
  expect(editText(shared, [{ path: ['reach', 'drive'], value: '2h' }])).toMatchObject({
    ok: false,
    path: ['reach', 'drive'],
    message: expect.stringContaining('change it in the text'),
  })
  expect(editText('id: [', [{ path: ['name'], value: 'x' }])).toMatchObject({ ok: false, message: expect.stringContaining('not readable as YAML') })
  expect(
    strangeEdit([
      { path: ['name'], value: 'x' },
      { path: ['id'], value: 'x' },
    ])?.path,
  ).toEqual(['id'])
  expect(strangeEdit([{ path: ['signals', 'tu.do'], value: null }])).not.toBeNull()
})

const value: fc.Arbitrary<FieldValue> = fc.oneof(
  fc.string({ unit: 'grapheme', maxLength: 30 }),
  fc.constantFrom('yes', 'null', '~', '1e3', '0x1', '2026-01-01', '- a', '{', '#', 'a: b', 'a #b', '"', "'", '[x', 'x]', 'x,', '10s', '!t', '&a', '*a', '%', '@', '`', '|', '>'),
  fc.double({ noNaN: true, noDefaultInfinity: true }).filter((n) => !Object.is(n, -0)),
  fc.boolean(),
  fc.tuple(fc.integer(), fc.integer()),
)
const path = fc.constantFrom(
  'name',
  'area',
  'yardPhone',
  'access',
  'open',
  'reach/drive',
  'reach/yard',
  'signals/tu.do/name',
  'signals/sump.level/range',
  'signals/tu.ph/name',
  'signals/tu.ph/range',
  'signals/tu.ph/digits',
  'protections/bund/what',
  'protections/bund/provedOn',
  'protections/float',
  'consumables/acid',
  'dataPlanMb',
  'open/sat',
  'open/sun',
)

test('whatever is put into whatever field, the file then says that and all else as before, and every remark stays but those of a field that went', () => {
  fc.assert(
    fc.property(fc.array(fc.record({ path: path.map((p) => p.split('/')), value: fc.option(value) }), { minLength: 1, maxLength: 6 }), (edits: Edit[]) => {
      let text = FILE
      for (const e of edits) {
        const before = parse(text) as unknown
        const r = editText(text, [e])
        // A map where a plain value stood is written anew; nothing else may be refused.
        if (!r.ok) throw new Error(`${e.path.join('.')} ${JSON.stringify(e.value)}: ${r.message}\n${text}`)
        const after = parse(r.text) as unknown
        expect(at(after, e.path) ?? null).toEqual(e.value)
        expect(without(after, e.path)).toEqual(without(before, e.path))
        text = r.text
      }
      for (const remark of ['# Ostrand, behind the wash hall', '# as on the gate', '# no bio tank yet', '# the probe from 2024', '# what the permit asks for'])
        if (!edits.some((e) => e.value === null && e.path[0] === 'name')) expect(text).toContain(remark)
    }),
    { numRuns: 150 },
  )
})

type Tree = Readonly<Record<string, unknown>>
const at = (tree: unknown, [key, ...rest]: readonly string[]): unknown => (key === undefined ? tree : at((tree as Tree | null)?.[key], rest))
/** Without the field and without the maps that hold nothing else. */
function without(tree: unknown, [key = '', ...rest]: readonly string[]): unknown {
  if (typeof tree !== 'object' || tree === null || Array.isArray(tree)) return null
  const { [key]: inner, ...others } = tree as Tree
  if (rest.length === 0) return Object.keys(others).length === 0 ? null : others
  const left = without(inner, rest)
  return { ...others, ...(left !== null && { [key]: left }) }
}

test('every file of the demo fleet takes every field of the form, and reads as a site file again', () => {
  const dir = fleetDir('demo')
  for (const file of readdirSync(dir).filter((f) => f.endsWith('.yaml'))) {
    const text = readFileSync(`${dir}/${file}`, 'utf8')
    const read = readSiteFile(file, text)
    if (!read.ok) throw new Error(file)
    const edits: Edit[] = [
      { path: ['area'], value: 'Hill yards' },
      { path: ['position'], value: [50.25, -4.5] },
      { path: ['open'], value: { 'mon-sat': '06:00-20:00' } },
      { path: ['staffed'], value: 'always' },
      { path: ['reach', 'drive'], value: '45min' },
      { path: ['reach', 'desk'], value: { 'mon-fri': '08:00-17:00' } },
      ...read.site.signals.flatMap((s): Edit[] => [
        { path: ['signals', s.id, 'name'], value: `${s.name}, seen` },
        { path: ['signals', s.id, 'reportEvery'], value: '2h' },
      ]),
      ...read.site.protections.map((p): Edit => ({ path: ['protections', p.id, 'provedOn'], value: '2026-11-02' })),
      ...read.site.consumables.map((c): Edit => ({ path: ['consumables', c.id, 'full'], value: c.full + 1 })),
    ]
    const r = editText(text, edits)
    if (!r.ok) throw new Error(`${file}: ${r.path.join('.')} ${r.message}`)
    const after = readSiteFile(file, r.text)
    expect(after, file).toMatchObject({ ok: true, site: { area: 'Hill yards', latitude: 50.25, reach: { driveMin: 45 } } })
    if (!after.ok) return
    expect(after.site.signals.every((s) => s.reportEveryMs === 7_200_000 && s.name.endsWith(', seen'))).toBe(true)
    for (const remark of text.split('\n').filter((l) => l.trim().startsWith('#'))) expect(r.text).toContain(remark)
  }
})

test('a new site from the short form is a site file that can be used, and a copy leaves behind what belongs to the yard', () => {
  for (const bioTanks of [1, 4]) {
    const made = readSiteFile('n.yaml', newSiteText({ id: 'north-quay', name: 'North quay: pad "2"', zone: 'Europe/Lisbon', area: 'Coast', bioTanks }))
    expect(made).toMatchObject({ ok: true, site: { id: 'north-quay', name: 'North quay: pad "2"' } })
    expect(made.ok && made.site.stages.filter((s) => s.kind === 'bio').length).toBe(bioTanks)
  }
  const from = readFileSync(`${fleetDir('demo')}/kestrow-berth-3.yaml`, 'utf8')
  const copy = copiedSiteText(from, { id: 'north-quay', name: 'North quay', zone: 'Europe/Lisbon' })
  if (!copy.ok) throw new Error(copy.message)
  const [site, was] = [readSiteFile('n.yaml', copy.text), readSiteFile('k.yaml', from)]
  if (!site.ok || !was.ok) throw new Error('not read')
  expect(site.site).toMatchObject({ id: 'north-quay', yardPhone: null, access: null, latitude: null, customer: null })
  expect(site.site.signals.map((s) => s.id)).toEqual(was.site.signals.map((s) => s.id))
  expect(site.site.protections.map((p) => p.provedOn)).toEqual(was.site.protections.map(() => null))
})

test('a difference of lines shows what goes and comes with two lines around it, and applying it gives the new text', () => {
  const [a, b] = ['a\nb\nc\nd\ne\nf\ng\nh\ni\nj', 'a\nb\nc\nd\nE\nf\ng\nh\ni\nj\nk']
  expect(lineDiff(a, b).map((s) => s.map((l) => `${l.kind} ${l.line} ${l.text}`))).toEqual([
    ['stays 3 c', 'stays 4 d', 'goes 5 e', 'comes 5 E', 'stays 6 f', 'stays 7 g'],
    ['stays 9 i', 'stays 10 j', 'comes 11 k'],
  ])
  expect(lineDiff(a, a)).toEqual([])
  const text = fc.array(fc.constantFrom('a', 'b', 'c', ''), { maxLength: 14 }).map((l) => l.join('\n'))
  fc.assert(
    fc.property(text, text, (before, after) => {
      const all = lineDiff(before, after, 1000).flat()
      if (before === after) {
        expect(all).toEqual([])
        return
      }
      expect(all.flatMap((l) => (l.kind === 'comes' ? [] : [l.text])).join('\n')).toBe(before)
      expect(all.flatMap((l) => (l.kind === 'goes' ? [] : [l.text])).join('\n')).toBe(after)
    }),
  )
})
