import fc from 'fast-check'
import { expect, test } from 'vitest'
import { readPayload, PAYLOAD_LIMITS, type PayloadResult } from '../../gateway/intake/payload.ts'
import { bytes, NOW } from './parts.ts'

const onSignal = (text: string): PayloadResult => readPayload('tu.do', bytes(text))
const onSite = (value: unknown): PayloadResult => readPayload(null, bytes(typeof value === 'string' ? value : JSON.stringify(value)))
const one = (value: number | boolean | null, quality: string | null = null, sentMs: number | null = null): unknown => ({
  ok: true,
  readings: [{ signal: 'tu.do', value, quality, sentMs }],
  bad: [],
})

test.each([
  ['7.2', 7.2],
  [' 7.2\r\n', 7.2],
  ['-0.5', -0.5],
  ['+3', 3],
  ['.5', 0.5],
  ['7.', 7],
  ['1e3', 1000],
  ['-0', 0],
  ['true', true],
  ['false', false],
  ['null', null],
  ['\uFEFF7.2', 7.2],
])('a bare value %j on a signal topic is a reading without a time', (text, value) => {
  expect(onSignal(text)).toStrictEqual(one(value))
})

test('an object on a signal topic carries value, time, quality and unit; unknown members are ignored', () => {
  expect(onSignal('{"v":7.2}')).toEqual(one(7.2))
  expect(onSignal('{"v":7.2,"t":"2026-03-02T08:00:00Z","q":"uncertain","colour":"brown"}')).toEqual(one(7.2, 'uncertain', NOW))
  // A unit under its full name is a unit as well: taken for nothing it would make psi out of bar.
  for (const name of ['u', 'unit']) expect(onSignal(`{"v":7.2,"${name}":"mg/L"}`)).toMatchObject({ readings: [{ value: 7.2, unit: 'mg/L' }] })
  expect(onSignal(`{"v":null,"t":${NOW},"q":"bad"}`)).toEqual(one(null, 'bad', NOW))
  expect(onSignal('{"v":true,"t":null,"q":null}')).toEqual(one(true))
})

test('milliseconds that are not whole are cut to whole ones', () => {
  expect(onSignal(`{"v":1,"t":${NOW}.75}`)).toEqual(one(1, null, NOW))
})

test('a message of a whole site gives one reading a signal, all with its time', () => {
  expect(onSite({ t: '2026-03-02T08:00:00Z', signals: { 'tu.do': 7.2, 'tu.ph': { v: 7.1, q: 'uncertain' }, 'sump.high': false, 'bio1.do': null } })).toEqual({
    ok: true,
    bad: [],
    readings: [
      { signal: 'tu.do', value: 7.2, quality: null, sentMs: NOW },
      { signal: 'tu.ph', value: 7.1, quality: 'uncertain', sentMs: NOW },
      { signal: 'sump.high', value: false, quality: null, sentMs: NOW },
      { signal: 'bio1.do', value: null, quality: null, sentMs: NOW },
    ],
  })
})

test('several rows come as objects, or as lists under a line of names', () => {
  const rows = [0, 1, 2].map((i) => ({ t: NOW + i * 60_000, signals: { 'tu.do': 7 + i, 'tu.ph': 7.1 } }))
  const asObjects = onSite({ rows })
  const asLists = onSite({ names: ['tu.do', 'tu.ph'], rows: rows.map((r) => [r.t, r.signals['tu.do'], r.signals['tu.ph']]) })
  expect(asObjects).toEqual(asLists)
  expect(asObjects).toMatchObject({ ok: true, readings: { length: 6 } })
})

test('an empty set of signals is a heartbeat, not a fault', () => {
  expect(onSite({ t: NOW, signals: {} })).toEqual({ ok: true, readings: [], bad: [] })
  expect(onSite({ rows: [] })).toEqual({ ok: true, readings: [], bad: [] })
})

test.each([
  ['', 'EMPTY'],
  ['  \n', 'EMPTY'],
  ['NaN', 'NOT_A_NUMBER'],
  ['-Infinity', 'NOT_A_NUMBER'],
  ['1e999', 'NOT_A_NUMBER'],
  ['7,2', 'NOT_A_NUMBER'],
  ['0x10', 'NOT_A_NUMBER'],
  ['7.2 mg/L', 'NOT_A_NUMBER'],
  ['"7.2"', 'NOT_A_NUMBER'],
  ['on', 'NOT_A_NUMBER'],
  ['[1,2]', 'SHAPE'],
  ['{"value":7.2}', 'SHAPE'],
  ['{"v":[7.2]}', 'SHAPE'],
  ['{"v":7.2,"q":"ok"}', 'SHAPE'],
  ['{"v":"7.2"}', 'NOT_A_NUMBER'],
  ['{"v":1e999}', 'NOT_A_NUMBER'],
  ['{"v":NaN}', 'NOT_A_NUMBER'],
  ['{"v":7.2,"t":"yesterday"}', 'TIME'],
  ['{"v":7.2,"t":true}', 'TIME'],
  ['{"v":7.2,"t":1e999}', 'TIME'],
  ['{"v":7.2', 'NOT_JSON'],
])('on a signal topic %j is refused as %s', (text, code) => {
  expect(onSignal(text)).toMatchObject({ ok: false, code })
})

test.each([
  ['7.2', 'SHAPE'],
  ['[]', 'SHAPE'],
  ['null', 'SHAPE'],
  ['{}', 'SHAPE'],
  ['{"signals":[1]}', 'SHAPE'],
  ['{"rows":{}}', 'SHAPE'],
  ['{"rows":[[1,2]]}', 'SHAPE'],
  ['{"rows":[],"signals":{}}', 'SHAPE'],
  ['{"names":["a","a"],"rows":[]}', 'SHAPE'],
  ['{"names":[1],"rows":[]}', 'SHAPE'],
  ['hello', 'NOT_JSON'],
  ['{"signals":{"tu.do":7.2}', 'NOT_JSON'],
  ['{"signals":{"tu.do":07}}', 'NOT_JSON'],
])('on a site topic %j is refused whole as %s', (text, code) => {
  expect(onSite(text)).toMatchObject({ ok: false, code })
})

test('bad values take none of their neighbours with them', () => {
  const read = onSite({ t: NOW, signals: { 'tu.do': 7.2, a: 'high', b: [1], c: {}, d: { v: 1, q: 'fine' }, 'tu.ph': 7.1 } })
  expect(read).toMatchObject({
    ok: true,
    readings: [{ signal: 'tu.do' }, { signal: 'tu.ph' }],
    bad: [
      { signal: 'a', code: 'NOT_A_NUMBER' },
      { signal: 'b', code: 'SHAPE' },
      { signal: 'c', code: 'SHAPE' },
      { signal: 'd', code: 'SHAPE' },
    ],
  })
})

test('a bare NaN between good values costs only its own signal, though it is no JSON', () => {
  expect(onSite('{"t":1772438400000,"signals":{"tu.do":NaN,"tu.ph":7.1,"NaN \\"quoted\\"":1,"x":-Infinity}}')).toMatchObject({
    ok: true,
    readings: [
      { signal: 'tu.ph', value: 7.1 },
      { signal: 'NaN "quoted"', value: 1 },
    ],
    bad: [
      { signal: 'tu.do', code: 'NOT_A_NUMBER' },
      { signal: 'x', code: 'NOT_A_NUMBER' },
    ],
  })
})

test('a row with an unreadable time is refused reading by reading, the other rows stand', () => {
  const read = onSite({
    rows: [{ t: '2026-03-02T08:00:60Z', signals: { 'tu.do': 1, 'tu.ph': 2 } }, { t: NOW, signals: { 'tu.do': 3 } }, 'nonsense', { t: NOW }],
  })
  expect(read).toMatchObject({
    ok: true,
    readings: [{ signal: 'tu.do', value: 3 }],
    bad: [
      { signal: 'tu.do', code: 'TIME', detail: '"2026-03-02T08:00:60Z" is a leap second: send :59 or the next full minute' },
      { signal: 'tu.ph', code: 'TIME' },
      { signal: '', code: 'SHAPE' },
      { signal: '', code: 'SHAPE' },
    ],
  })
})

test('several rows without times are refused, one alone is not', () => {
  expect(onSite({ rows: [{ signals: { 'tu.do': 1 } }] })).toMatchObject({ readings: [{ sentMs: null }], bad: [] })
  expect(onSite({ rows: [{ signals: { 'tu.do': 1 } }, { signals: { 'tu.do': 2 } }] })).toMatchObject({ readings: [], bad: [{ code: 'TIME' }, { code: 'TIME' }] })
})

test('a row of the wrong length is refused, the others stand', () => {
  expect(onSite({ names: ['tu.do'], rows: [[NOW, 1, 2], [NOW, 3], [NOW]] })).toMatchObject({ readings: [{ value: 3 }], bad: [{ code: 'SHAPE' }, { code: 'SHAPE' }] })
})

test('a message may have 256 KiB and 5,000 readings, and not one more of either', () => {
  const base = '{"v":7.2,"pad":""}'
  const filled = (n: number): Uint8Array => bytes(base.replace('""', `"${'x'.repeat(n - base.length)}"`))
  expect(PAYLOAD_LIMITS.maxBytes).toBe(256 * 1024)
  expect(readPayload('tu.do', filled(256 * 1024))).toMatchObject({ ok: true })
  expect(readPayload('tu.do', filled(256 * 1024 + 1))).toMatchObject({ ok: false, code: 'TOO_LARGE', detail: '262145 bytes, at most 262144' })
  const rows = (n: number): unknown => ({ names: ['a'], rows: Array.from({ length: n }, (_, i) => [NOW + i, i]) })
  expect(onSite(rows(5000))).toMatchObject({ ok: true, readings: { length: 5000 } })
  expect(onSite(rows(5001))).toMatchObject({ ok: false, code: 'TOO_MANY' })
})

test('bytes that are no UTF-8 are refused as such', () => {
  expect(readPayload('tu.do', Uint8Array.of(0xff, 0xfe, 0x37))).toMatchObject({ ok: false, code: 'NOT_UTF8' })
  expect(readPayload('tu.do', Uint8Array.of(0x37, 0xc3))).toMatchObject({ ok: false, code: 'NOT_UTF8' })
})

test('names like __proto__ and constructor are names like any other', () => {
  const read = onSite('{"signals":{"__proto__":1,"constructor":2,"toString":3}}')
  expect(read).toMatchObject({ readings: [{ signal: '__proto__' }, { signal: 'constructor' }, { signal: 'toString' }] })
  expect(onSignal('{"__proto__":{"v":1}}')).toMatchObject({ code: 'SHAPE' })
})

test('nesting a hundred thousand deep is refused, not fatal', () => {
  expect(onSite(`{"signals":{"a":${'['.repeat(100_000)}${']'.repeat(100_000)}}}`)).toMatchObject({ ok: true, bad: [{ code: 'SHAPE' }] })
})

test('whatever stands in a payload, no text of it comes back in a refusal', () => {
  const secret = 'swordfish'
  for (const text of [secret, `"${secret}"`, `{"v":"${secret}"}`, `{"v":1,"t":"${secret}"}`, `{"v":1,"q":"${secret}"}`, `{"${secret}`, `{"v":1} ${secret}`]) {
    const read = onSignal(text)
    expect(read.ok).toBe(false)
    expect(JSON.stringify(read)).not.toContain(secret)
  }
})

test('any bytes and any JSON are read or refused, never thrown, and every value read is finite, true, false or nothing', () => {
  const json = fc.json({ maxDepth: 4 }).map(bytes)
  const near = fc
    .record({
      t: fc.option(fc.oneof(fc.integer(), fc.double(), fc.string())),
      signals: fc.dictionary(fc.string(), fc.oneof(fc.double(), fc.boolean(), fc.string(), fc.record({ v: fc.double(), q: fc.string() }))),
    })
    .map((v) => bytes(JSON.stringify(v)))
  fc.assert(
    fc.property(fc.option(fc.string()), fc.oneof(fc.uint8Array({ maxLength: 200 }), json, near), (signal, payload) => {
      const read = readPayload(signal, payload)
      if (!read.ok) return
      for (const r of read.readings)
        expect(typeof r.value === 'number' ? Number.isFinite(r.value) && !Object.is(r.value, -0) : typeof r.value === 'boolean' || r.value === null).toBe(true)
    }),
    { numRuns: 3000 },
  )
})
