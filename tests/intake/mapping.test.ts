import fc from 'fast-check'
import { expect, test } from 'vitest'
import { readMapped } from '../../gateway/intake/mapping.ts'
import { PAYLOAD_LIMITS } from '../../gateway/intake/payload.ts'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import type { Site } from '../../gateway/site/site.ts'
import { bytes, count, intakeWith, message, NOW, yard } from './parts.ts'

/** A ferry terminal whose controller was there before us: short names, tenths, words, a status word. */
const FOREIGN = `
foreign:
  - topic: quay/unit7/telemetry
    time: { path: hdr.ts, in: s }
    quality: { path: hdr.st, good: [0], uncertain: [1] }
    signals:
      tu.do: { path: ai.0.val, unit: mg/L }
      bio1.temperature: { path: ai.1.val, unit: "[degF]" }
      finished.level: { path: lvl, scale: 0.1, missing: [32767] }
      sump.high: { path: di, bit: 3 }
      blower.starts: { path: cnt }
  - topic: quay/unit7/log
    rows: samples
    time: { path: at }
    signals:
      tu.ph: { when: { path: n, is: PH1 }, path: v }
      tu.do: { when: { path: n, is: DO1 }, path: v, unitPath: u }
  - topic: quay/unit7/float
    signals:
      sump.high: { words: { WET: 1, DRY: 0 } }
`
const site = (extra = FOREIGN, zone = ''): Site => yard('ostrand', `${zone}${extra}`)
const read = (topic: number, payload: unknown) => {
  const mapped = site().foreign[topic]
  if (!mapped) throw new Error('no such topic')
  return readMapped(mapped, bytes(typeof payload === 'string' ? payload : JSON.stringify(payload)), PAYLOAD_LIMITS, 'refused')
}
const S = NOW / 1000

test('a foreign message becomes readings: by path, from tenths, from Fahrenheit, from one bit of a word', () => {
  const r = read(0, { hdr: { ts: S, st: 0 }, ai: [{ val: 7.2 }, { val: 68 }], lvl: 843, di: 0b1010, cnt: '1204', other: [1, 2] })
  expect(r).toMatchObject({
    ok: true,
    bad: [],
    readings: [
      { signal: 'tu.do', value: 7.2, unit: 'mg/L', quality: 'good', sentMs: NOW },
      { signal: 'bio1.temperature', value: 68, unit: '[degF]' },
      { signal: 'finished.level', value: 84.3 },
      { signal: 'sump.high', value: 1 },
      { signal: 'blower.starts', value: 1204 },
    ],
  })
})

test('what is not in the message says nothing, null and the agreed figure for "none" are readings without a figure', () => {
  const r = read(0, { hdr: { ts: S, st: 1 }, ai: [{ val: null }], lvl: 32767 })
  expect(r.ok && r.readings).toMatchObject([
    { signal: 'tu.do', value: null, quality: 'uncertain' },
    { signal: 'finished.level', value: null },
  ])
  expect(read(0, { hdr: { ts: S, st: 9 }, lvl: 500 })).toMatchObject({ readings: [{ value: 50, quality: 'bad' }] })
})

test('bits of a word, a signed one too, and no bit of what is no word', () => {
  const bit = (di: unknown) => read(0, { hdr: { ts: S }, di })
  expect(bit(8)).toMatchObject({ readings: [{ value: 1 }] })
  expect(bit(7)).toMatchObject({ readings: [{ value: 0 }] })
  expect(bit(-1)).toMatchObject({ readings: [{ value: 1 }] })
  for (const wrong of [1.5, 2 ** 40, true]) expect(bit(wrong)).toMatchObject({ readings: [], bad: [{ signal: 'sump.high', code: 'NOT_A_NUMBER' }] })
})

test('lists of names and values are read by name, each row with its own time', () => {
  const rows = [
    { n: 'PH1', v: 7.1, at: '2026-03-02T07:58:00Z' },
    { n: 'DO1', v: 5.5, u: 'mg/L', at: '2026-03-02T07:59:00Z' },
    { n: 'XX', v: 1, at: '2026-03-02T07:59:00Z' },
    { n: 'PH1', v: 7.2 },
  ]
  expect(read(1, { samples: rows })).toMatchObject({
    readings: [
      { signal: 'tu.ph', value: 7.1, sentMs: NOW - 120_000 },
      { signal: 'tu.do', value: 5.5, unit: 'mg/L', sentMs: NOW - 60_000 },
    ],
    bad: [{ signal: 'tu.ph', code: 'TIME' }],
  })
})

test('a bare word or figure is a payload too', () => {
  expect(read(2, 'WET')).toMatchObject({ readings: [{ signal: 'sump.high', value: 1, sentMs: null }] })
  expect(read(2, '"DRY"')).toMatchObject({ readings: [{ value: 0 }] })
  expect(read(2, '1')).toMatchObject({ readings: [{ value: 1 }] })
  expect(read(2, 'DAMP')).toMatchObject({ ok: false, code: 'NOT_JSON' })
})

test.each([
  ['nothing mapped is found', 0, { temp: 5 }, { ok: false, code: 'SHAPE' }],
  ['the rows are not where they should be', 1, { sample: [] }, { ok: false, code: 'SHAPE' }],
  ['a decimal comma', 0, { lvl: '84,3' }, { bad: [{ code: 'NOT_A_NUMBER' }] }],
  ['an object for a figure', 0, { lvl: {} }, { bad: [{ code: 'SHAPE' }] }],
  ['no time to read', 0, { hdr: { ts: 'noon' }, lvl: 1 }, { bad: [{ code: 'TIME' }] }],
  ['cut off', 0, '{"lvl":', { ok: false, code: 'NOT_JSON' }],
] as const)('told with its reason: %s', (_, topic, payload, expected) => {
  expect(read(topic, payload)).toMatchObject(expected)
})

test('any JSON is read or refused, never thrown, and names of objects’ own making are no paths', () => {
  fc.assert(
    fc.property(fc.jsonValue(), (v) => {
      for (const t of [0, 1, 2]) {
        const r = read(t, JSON.stringify(v))
        if (r.ok) for (const x of r.readings) expect(x.value === null || typeof x.value === 'boolean' || Number.isFinite(x.value)).toBe(true)
      }
    }),
    { numRuns: 500 },
  )
  const mapped = site('foreign: [{ topic: q, signals: { tu.do: { path: constructor.length } } }]').foreign[0]
  expect(mapped && readMapped(mapped, bytes('{}'), PAYLOAD_LIMITS, 'refused')).toMatchObject({ ok: false, code: 'SHAPE' })
})

test('a site file that maps what cannot be is refused with the line and the way out', () => {
  const faults = (foreign: string): string => {
    const r = readSiteFile('y.yaml', `id: y\nname: Y\nzone: UTC\ntrain: [{ stage: treatment }]\nsignals:\n  tu.do:\nforeign:\n  - topic: ${foreign}\n`)
    return r.ok ? '' : r.faults.map((f) => `${f.line} ${f.field}: ${f.message}`).join('\n')
  }
  expect(faults('a/+/b\n    signals: { tu.do: {} }')).toContain('"a/+/b" found: a topic as the controller publishes it')
  expect(faults('a\n    signals: { tu.ph: {} }')).toContain('"tu.ph" is not among the signals of this file')
  expect(faults('a\n    signals: { tu.do: { unit: "[ppm]" } }')).toMatch(/"\[ppm\]" found, and the signal is in "mg\/L": "mg\/L", "ug\/L", "g\/m3", "g\/L" can be read/)
  expect(faults('a\n    signals: { tu.do: { bit: 3, scale: 2 } }')).toContain('a bit is 0 or 1')
  expect(faults('a\n    signals: { tu.do: { pth: x } }')).toContain('pth: is no field we know')
})

test('mapped messages take the whole way: stored in the unit of the signal, with a wrong unit in quarantine', () => {
  const { intake, history, told } = intakeWith({ sites: () => sites })
  const raw = (topic: string, payload: unknown, over = {}) => ({ ...message('x', JSON.stringify(payload), over), topic })
  intake.take(raw('quay/unit7/telemetry', { hdr: { ts: S, st: 0 }, ai: [{ val: 7.2 }, { val: 68 }] }))
  expect(history.stored).toMatchObject([
    { key: 'ostrand/tu.do', value: 7.2, sourceMs: NOW, quality: 'good', live: true },
    { key: 'ostrand/bio1.temperature', value: 20, quality: 'good' },
  ])
  expect(told.length).toBe(2)
  intake.take(raw('quay/unit7/log', { samples: [{ n: 'DO1', v: 5, u: '%{sat}', at: NOW + 1000 }] }))
  intake.take(raw('quay/unit7/telemetry', { lvl: 1 }, { site: 'kestrow' }))
  expect(intake.quarantine().rejected).toEqual({ UNIT: 1, WRONG_SITE: 1 })
  expect(intake.maps('quay/unit7/telemetry', 'ostrand')).toBe(true)
  expect(intake.maps('quay/unit7/telemetry', 'kestrow')).toBe(false)
  expect(intake.foreignTopics()).toEqual(['quay/unit7/telemetry', 'quay/unit7/log', 'quay/unit7/float'])
})
const sites = new Map([
  ['ostrand', site()],
  ['kestrow', yard('kestrow')],
])

test('two sites that map one topic, and a site that maps the topic of another: told, and nothing is taken away', () => {
  const thief = new Map([
    ['ostrand', site()],
    ['kestrow', yard('kestrow', 'foreign: [{ topic: quay/unit7/float, signals: { sump.high: {} } }, { topic: loopkeeper/v1/ostrand/tu.do, signals: { tu.do: {} } }]')],
  ])
  const { intake, history } = intakeWith({ sites: () => thief })
  expect(intake.troubles()).toEqual([
    'Site kestrow maps the topic quay/unit7/float, which ostrand has already: its messages go to ostrand.',
    'Site kestrow maps the topic loopkeeper/v1/ostrand/tu.do, which lies below the topics of another site: it is not taken.',
  ])
  intake.take(message('ostrand/tu.do', '7.2'))
  expect(history.stored).toMatchObject([{ key: 'ostrand/tu.do' }])
})

test('blocks of rows in local time without a zone: refused unless declared, then placed, and the doubled hour counted', () => {
  const payload = JSON.stringify({ names: ['tu.do'], rows: ['00:59', '01:30', '01:00', '01:30', '02:00'].map((t, i) => [`2026-10-25T${t}:00`, i]) })
  const receivedMs = Date.parse('2026-10-25T02:00:10Z')
  const undeclared = intakeWith()
  undeclared.intake.take(message('ostrand', payload, { receivedMs }))
  expect(undeclared.intake.quarantine().rejected).toEqual({ TIME: 5 })

  const local = new Map([['ostrand', site('', 'clock: { zone: local }\n')]])
  const { intake, history } = intakeWith({ sites: () => local })
  intake.take(message('ostrand', payload, { receivedMs }))
  expect(history.stored.map((r) => new Date(r.sourceMs).toISOString().slice(8, 16))).toEqual(['24T23:59', '25T00:30', '25T01:00', '25T01:30', '25T02:00'])
  expect(count(intake, 'wallClockDoubled')).toBe(3)
  expect(count(intake, 'readingsClockSuspect')).toBe(0)

  const fixed = intakeWith({ sites: () => new Map([['ostrand', site('', 'clock: { zone: "+01:00", behind: 10min }\n')]]) })
  fixed.intake.take(message('ostrand', '{"t":"2026-03-02 08:49:30","signals":{"tu.do":7}}'))
  expect(fixed.history.stored).toMatchObject([{ sourceMs: Date.parse('2026-03-02T07:59:30Z'), live: true }])
})
