import fc from 'fast-check'
import { expect, test } from 'vitest'
import { createBlockCodec, DamagedBlock, figuresOf } from '../../gateway/history/block.ts'
import { newColumns, type Columns } from '../../gateway/history/columns.ts'
import { createDoubleCodec, roomForDoubles } from '../../gateway/history/doubles.ts'
import { FrameWriter, readFrames } from '../../gateway/history/inbox.ts'
import { putInts, roomForInts, takeInts } from '../../gateway/history/ints.ts'
import { codeOf, CODES, qcOf, qualityOf, rankOf, subOf } from '../../gateway/history/quality-code.ts'
import { putVarint, takeVarint, unzigzag, zigzag } from '../../gateway/history/varint.ts'
import type { QcFlag, Quality, QualitySub } from '../../gateway/site/reading.ts'

const whole = fc.oneof(
  fc.integer({ min: -(2 ** 48), max: 2 ** 48 }),
  fc.integer({ min: -300, max: 300 }),
  fc.constantFrom(0, 1, -1, 2 ** 31, 2 ** 31 - 1, -(2 ** 31), 2 ** 32, 2 ** 30, 2 ** 24, 2 ** 25 - 1, 2 ** 48, -(2 ** 48)),
)
/** Columns as instruments make them: level, stepping, jumping. */
const column = fc.oneof(
  fc.array(whole, { maxLength: 200 }),
  fc
    .tuple(
      fc.integer({ min: 0, max: 200 }),
      whole,
      fc.integer({ min: -100_000, max: 100_000 }),
      fc.array(fc.tuple(fc.nat(199), fc.integer({ min: -5e8, max: 5e8 })), { maxLength: 5 }),
    )
    .map(([n, start, step, jumps]) => {
      const out = Array.from({ length: n }, (_, i) => Math.max(-(2 ** 48), Math.min(2 ** 48, start + step * i)))
      for (const [at, by] of jumps) if (at < n) out[at] = Math.max(-(2 ** 48), Math.min(2 ** 48, (out[at] ?? 0) + by))
      return out
    }),
)

function intsThere(values: readonly number[], orders: readonly number[]): { back: number[]; bytes: number } {
  const sink = { bytes: new Uint8Array(roomForInts(values.length) + 3), at: 3 }
  putInts(sink, Float64Array.from(values), values.length, orders)
  expect(sink.at).toBeLessThanOrEqual(sink.bytes.length)
  const source = { bytes: sink.bytes.subarray(0, sink.at), at: 3 }
  const back = new Float64Array(values.length)
  const same = takeInts(source, back, values.length)
  expect(source.at).toBe(sink.at)
  if (same) expect(new Set(values).size).toBeLessThanOrEqual(1)
  return { back: [...back], bytes: sink.at - 3 }
}

test('whole numbers to 2^48 come back exactly from every order of steps', () => {
  fc.assert(
    fc.property(column, fc.constantFrom([0], [1], [2], [0, 1, 2], [2, 1]), (values, orders) => {
      expect(intsThere(values, orders).back).toEqual(values)
    }),
    { numRuns: 600 },
  )
})

test('a column that steps evenly takes a few bytes, however long', () => {
  const even = Array.from({ length: 360 }, (_, i) => 1_767_600_000_000 + 10_000 * i)
  expect(intsThere(even, [2, 1]).bytes).toBeLessThan(16)
  const withGap = even.map((t, i) => (i < 200 ? t : t + 7_200_000))
  expect(intsThere(withGap, [2, 1]).bytes).toBeLessThan(32)
})

test('small numbers of either sign and varints of any size come back', () => {
  fc.assert(
    fc.property(whole, (v) => {
      expect(unzigzag(zigzag(v))).toBe(v)
    }),
  )
  fc.assert(
    fc.property(fc.array(fc.oneof(fc.maxSafeNat(), fc.nat(300), fc.constantFrom(127, 128, 2 ** 31 - 1, 2 ** 31, 2 ** 32, Number.MAX_SAFE_INTEGER))), (all) => {
      const sink = { bytes: new Uint8Array(8 * all.length + 8), at: 0 }
      for (const v of all) putVarint(sink, v)
      const source = { bytes: sink.bytes.subarray(0, sink.at), at: 0 }
      expect(all.map(() => takeVarint(source))).toEqual(all)
    }),
  )
  expect(() => takeVarint({ bytes: Uint8Array.of(0x80), at: 0 })).toThrow(RangeError)
})

const double = fc.oneof(fc.double({ noNaN: true, noDefaultInfinity: true }), fc.constantFrom(-0, 0, 5e-324, Number.MAX_VALUE, 0.1, 2 ** 48, 2 ** 48 + 0.5, 1e-15, 1e22))
const values = fc.oneof(
  fc.array(double, { maxLength: 120 }),
  fc.array(fc.float({ noNaN: true, noDefaultInfinity: true }), { maxLength: 120 }),
  fc.tuple(fc.array(fc.integer({ min: -100_000, max: 100_000 }), { maxLength: 120 }), fc.nat(9)).map(([all, places]) => all.map((v) => (v === 0 ? 0 : v / 10 ** places))),
)

test('doubles, singles and decimals come back bit for bit', () => {
  const codec = createDoubleCodec()
  fc.assert(
    fc.property(values, (all) => {
      const sink = { bytes: new Uint8Array(roomForDoubles(all.length)), at: 0 }
      codec.put(sink, Float64Array.from(all), all.length)
      const back = new Float64Array(all.length)
      const source = { bytes: sink.bytes.subarray(0, sink.at), at: 0 }
      codec.take(source, back, all.length)
      expect(source.at).toBe(sink.at)
      expect(all.every((v, i) => Object.is(v, back[i]))).toBe(true)
    }),
    { numRuns: 600 },
  )
})

test('what an instrument with two decimals reports takes about a byte a value, a single about four, a double at most nine', () => {
  const codec = createDoubleCodec()
  let seed = 7
  const noise = (): number => {
    seed = (seed * 48_271) % 2_147_483_647
    return seed / 2_147_483_647 - 0.5
  }
  const bytes = (make: (i: number) => number): number => {
    const sink = { bytes: new Uint8Array(roomForDoubles(240)), at: 0 }
    codec.put(
      sink,
      Float64Array.from({ length: 240 }, (_, i) => make(i)),
      240,
    )
    return sink.at / 240
  }
  expect(bytes((i) => Math.round(100 * (6 + Math.sin(i / 40) + noise() / 10)) / 100)).toBeLessThan(0.8)
  expect(bytes((i) => Math.fround(6 + Math.sin(i / 40) + noise()))).toBeLessThan(4.1)
  expect(bytes((i) => 6 + Math.sin(i / 40) + noise())).toBeLessThan(8.2)
  expect(bytes(() => 12.5)).toBeLessThan(0.05)
})

const rows = fc.uniqueArray(
  fc.record({
    t: fc.oneof(fc.integer({ min: 0, max: 2 ** 45 }), fc.integer({ min: 0, max: 10_000_000 })),
    received: fc.integer({ min: 0, max: 2 ** 45 }),
    value: fc.oneof(
      double,
      fc.constant(Number.NaN),
      fc.integer({ min: 0, max: 999 }).map((n) => n / 10),
    ),
    code: fc.nat(CODES - 1),
  }),
  { selector: (r) => r.t, minLength: 1, maxLength: 150 },
)

function columnsOf(all: readonly { t: number; received: number; value: number; code: number }[]): Columns {
  const ascending = [...all].sort((a, b) => a.t - b.t)
  const c = newColumns(all.length)
  ascending.forEach((r, i) => {
    c.times[i] = r.t
    c.received[i] = r.received
    c.values[i] = r.value
    c.codes[i] = r.code
  })
  c.n = all.length
  return c
}
const shown = (c: Columns): unknown => ({
  times: [...c.times.subarray(0, c.n)],
  received: [...c.received.subarray(0, c.n)],
  values: [...c.values.subarray(0, c.n)],
  codes: [...c.codes.subarray(0, c.n)],
})

test('a block of any readings comes back whole', () => {
  const codec = createBlockCodec()
  fc.assert(
    fc.property(rows, (all) => {
      const c = columnsOf(all)
      const back = newColumns(0)
      codec.unpack(codec.pack(c, 0, c.n).slice(), back)
      expect(shown(back)).toEqual(shown(c))
    }),
    { numRuns: 400 },
  )
})

test('times of receipt take little whether readings come one by one or five in one message', () => {
  const codec = createBlockCodec()
  const bytes = (received: (i: number) => number): number =>
    codec.pack(columnsOf(Array.from({ length: 240 }, (_, i) => ({ t: 60_000 * i, received: received(i), value: 7, code: 0 }))), 0, 240).length / 240
  const jitter = (i: number): number => (i * 7_919) % 251
  expect(bytes((i) => 60_000 * i + 100 + jitter(i))).toBeLessThan(1.3)
  expect(bytes((i) => 60_000 * (4 + 5 * Math.floor(i / 5)) + 100 + jitter(Math.floor(i / 5)))).toBeLessThan(1.3)
})

test('a block with any one bit changed, or cut short, is found out', () => {
  const codec = createBlockCodec()
  fc.assert(
    fc.property(rows, fc.nat(), fc.nat(7), fc.nat(), (all, at, bit, keep) => {
      const c = columnsOf(all)
      const bytes = codec.pack(c, 0, c.n).slice()
      const cut = bytes.slice(0, keep % bytes.length)
      bytes[at % bytes.length]! ^= 1 << bit
      expect(() => codec.unpack(bytes, newColumns(0))).toThrow(DamagedBlock)
      expect(() => codec.unpack(cut, newColumns(0))).toThrow(DamagedBlock)
    }),
    { numRuns: 400 },
  )
})

test('figures of a block leave bad readings and those without a figure out', () => {
  const good = codeOf('good', 'ok', 1)
  const bad = codeOf('bad', 'sensor_failure', 4)
  const c = columnsOf([
    { t: 1, received: 1, value: 9, code: bad },
    { t: 2, received: 2, value: 4, code: codeOf('uncertain', 'qc_suspect', 3) },
    { t: 3, received: 3, value: Number.NaN, code: good },
    { t: 4, received: 4, value: -2, code: good },
  ])
  expect(figuresOf(c, 0, 4)).toEqual({ n: 4, bad: 2, min: -2, max: 4, sum: 2, first: 4, last: -2, worst: 2 })
  expect(figuresOf(c, 1, 4).worst).toBe(1)
  expect(figuresOf(c, 0, 1)).toEqual({ n: 1, bad: 1, min: null, max: null, sum: null, first: null, last: null, worst: 2 })
})

test('every quality, reason and flag has a code of its own and comes back from it', () => {
  const qualities: Quality[] = ['good', 'uncertain', 'bad']
  const subs: QualitySub[] = [
    'ok',
    'local_override',
    'maintenance_due',
    'qc_suspect',
    'last_usable',
    'substitute',
    'initial',
    'not_accurate',
    'eu_exceeded',
    'subnormal',
    'clock_suspect',
    'config_error',
    'not_connected',
    'device_failure',
    'sensor_failure',
    'comm_error',
    'no_comm',
    'out_of_service',
    'missing',
  ]
  const flags: QcFlag[] = [1, 2, 3, 4, 9]
  const seen = new Set<number>()
  for (const q of qualities)
    for (const s of subs)
      for (const f of flags) {
        const code = codeOf(q, s, f)
        seen.add(code)
        expect([qualityOf(code), subOf(code), qcOf(code), rankOf(code)]).toEqual([q, s, f, qualities.indexOf(q)])
      }
  expect(seen.size).toBe(3 * 19 * 5)
  expect(Math.max(...seen)).toBeLessThan(CODES)
  expect([codeOf('fine' as Quality, 'ok', 1), codeOf('good', 'odd' as QualitySub, 1), codeOf('good', 'ok', 5 as QcFlag)]).toEqual([-1, -1, -1])
})

test('frames put end to end are read like one', () => {
  const frame = fc.record({
    base: fc.integer({ min: 0, max: 2 ** 45 }),
    rows: fc.array(
      fc.record({
        signal: fc.integer({ min: 1, max: 2 ** 21 }),
        t: fc.integer({ min: 0, max: 2 ** 45 }),
        received: fc.option(fc.integer({ min: 0, max: 2 ** 45 })),
        value: fc.oneof(double, fc.constant(Number.NaN)),
        code: fc.nat(CODES - 1),
        newest: fc.boolean(),
      }),
      { maxLength: 40 },
    ),
  })
  const writer = new FrameWriter()
  fc.assert(
    fc.property(fc.array(frame, { maxLength: 5 }), (frames) => {
      const written = frames.map((f) => {
        writer.begin(f.rows.length, f.base)
        for (const r of f.rows) writer.add(r.signal, r.t, r.received ?? f.base, r.value, r.code, r.newest)
        return Buffer.from(writer.end(f.rows.length))
      })
      const back: unknown[] = []
      readFrames(Buffer.concat(written), (signal, t, received, value, code, newest) => back.push([signal, t, received, value, code, newest]))
      expect(back).toEqual(frames.flatMap((f) => f.rows.map((r) => [r.signal, r.t, r.received ?? f.base, r.value, r.code, r.newest])))
    }),
  )
})
