import fc from 'fast-check'
import { expect, test } from 'vitest'
import { faultText, readSiteFile } from '../../gateway/site/site-file.ts'

const small = `id: quarry-upper
name: Thrapplow Quarry, upper plant
zone: Europe/London
open: { mon-fri: "06:00-18:00", sat: "07:00-12:00" }
train:
  - { stage: sump, volumeL: 1100 }
  - { stage: treatment, diameterMm: 1400, heightMm: 1500, retention: carriers }
  - { stage: bio, volumeL: 7600 }
  - { stage: bio, volumeL: 7600 }
  - { stage: finished, volumeL: 5700 }
  - { stage: washer, lanceLPerMin: 23 }
equipment:
  blower1: { kind: aerator, serves: [tu, bio1, bio2], nameplateA: 4.2 }
signals:
  tu.do:
  tu.ph: { sampleEvery: 10s, reportEvery: 60s }
  sump.high:
  finished.level:
  blower1.pressure: { unit: mbar, range: [0, 600] }
  blower1.run:
`
const read = (text: string) => readSiteFile('quarry.yaml', text)
const faults = (text: string): string[] => {
  const r = read(text)
  return r.ok ? [] : r.faults.map(faultText)
}

test('a short file becomes a whole site: names, places, units, ranges and intervals filled in per quantity', () => {
  const r = read(small)
  if (!r.ok) throw new Error(r.faults.map(faultText).join('\n'))
  const { site } = r
  expect(site.stages.map((s) => [s.id, s.name])).toEqual([
    ['sump', 'Sump'],
    ['tu', 'Treatment unit'],
    ['bio1', 'Bio tank 1'],
    ['bio2', 'Bio tank 2'],
    ['finished', 'Finished water'],
    ['washer', 'Pressure washer'],
  ])
  expect(site.signals.find((s) => s.id === 'tu.do')).toMatchObject({
    name: 'Oxygen, treatment unit',
    quantity: 'do',
    unit: 'mg/L',
    stage: 'tu',
    sampleEveryMs: 60_000,
    reportEveryMs: 60_000,
    range: [0, 25],
  })
  expect(site.signals.find((s) => s.id === 'sump.high')).toMatchObject({ quantity: 'float', name: 'High float, sump' })
  expect(site.signals.find((s) => s.id === 'blower1.run')).toMatchObject({ at: 'blower1', stage: 'tu', name: 'Running, blower 1' })
  expect(site.signals.find((s) => s.id === 'tu.ph')).toMatchObject({ sampleEveryMs: 10_000, reportEveryMs: 60_000 })
  expect(site.instrumentation).toBe('normal')
})

test('the volume of a tank follows from its shape: 90 inches across, 10 mm of water is 41 L', () => {
  // Common practice, no source: "90-inch tank: 10 mm = 41 L"
  const r = read(small.replace('diameterMm: 1400, heightMm: 1500', 'diameterMm: 2286, heightMm: 10'))
  expect(r.ok && r.site.stages[1]?.volumeL).toBeCloseTo(41.04, 1)
})

test.each([
  ['zone: Europe/London', 'zone: Europe/Londn', 'quarry.yaml: line 3, zone: "Europe/Londn" found: an IANA time zone, such as "Europe/Lisbon"'],
  ['  tu.do:\n', '  tu.do: { unti: mg/L }\n', 'quarry.yaml: line 15, signals.tu.do.unti: is no field we know: see the site file table in README for the names'],
  ['  tu.do:\n', '  tu.do: { unit: mg/gal }\n', 'quarry.yaml: line 15, signals.tu.do.unit: "mg/gal" found: a UCUM code we know'],
  ['  tu.do:\n', '  tu.murk:\n', 'quarry.yaml: line 15, signals.tu.murk: cannot tell what "tu.murk" measures'],
  ['sampleEvery: 10s', 'sampleEvery: 10', 'quarry.yaml: line 16, signals.tu.ph.sampleEvery: 10 found: '],
  ['sampleEvery: 10s', 'sampleEvery: 5min', 'quarry.yaml: line 16, signals.tu.ph.sampleEvery: longer than reportEvery'],
  ['volumeL: 5700', 'volumeL: -3', 'quarry.yaml: line 10, train.4.volumeL: -3 found: '],
  [
    'serves: [tu, bio1, bio2]',
    'serves: [tu, bio7]',
    'quarry.yaml: line 13, equipment.blower1.serves: "bio7" found: no stage of this train; it has sump, tu, bio1, bio2, finished, washer',
  ],
  ['sat: "07:00-12:00"', 'sat: "7-12"', 'quarry.yaml: line 4, open: "7-12" is no span of the day: write "06:00-20:00"'],
  ['id: quarry-upper', 'id: Quarry Upper', 'quarry.yaml: line 1, id: "Quarry Upper" found: lower-case letters'],
  ['name: Thrapplow Quarry, upper plant\n', '', 'quarry.yaml: line 1, name: missing'],
  ['  - { stage: sump, volumeL: 1100 }\n', '  - { stage: finished, volumeL: 10, id: f2 }\n', 'found after "finished": stages stand in the order the water meets them'],
])('instead of %s the file says %s: file, line, field, value and what would be right are named', (was, is, expected) => {
  const text = small.replace(was, is)
  expect(text).not.toBe(small)
  expect(faults(text).join('\n')).toContain(expected)
})

test('what is no YAML, empty, too long or a bomb of aliases is one clear sentence', () => {
  expect(faults('id: [1')[0]).toMatch(/^quarry\.yaml: line \d+: not readable as YAML/)
  expect(faults('')[0]).toMatch(/empty/)
  expect(faults(`id: ${'x'.repeat(300_000)}`)[0]).toMatch(/at most 200000 are read/)
  const bomb = ['a: &a [x,x,x,x,x,x,x,x,x]', ...'bcdefgh'.split('').map((c, i) => `${c}: &${c} [${Array(9).fill(`*${'abcdefg'[i]}`).join(',')}]`)].join('\n')
  expect(faults(bomb)[0]).toMatch(/not readable as YAML|no field we know|missing/)
})

test('no text whatever makes the reader throw', () => {
  fc.assert(
    fc.property(
      fc.oneof(
        fc.string(),
        fc.string().map((s) => small.replace('Thrapplow', s)),
        fc.nat({ max: small.length }).map((n) => small.slice(0, n)),
      ),
      (text) => {
        const r = read(text)
        return r.ok || r.faults.length > 0
      },
    ),
  )
})

test('hours across midnight run into the next day', () => {
  const r = read(small.replace('mon-fri: "06:00-18:00"', 'fri: "22:00-04:00"'))
  expect(r.ok && r.site.open).toEqual([
    { day: 5, fromMin: 1320, toMin: 1440 },
    { day: 6, fromMin: 0, toMin: 240 },
    { day: 6, fromMin: 420, toMin: 720 },
  ])
})
