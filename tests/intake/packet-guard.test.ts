/** Outside truth: the length examples of MQTT 3.1.1, table 2.4. */
import fc from 'fast-check'
import { expect, test } from 'vitest'
import { createAttempts } from '../../gateway/intake/attempts.ts'
import { createPacketGuard } from '../../gateway/intake/packet-guard.ts'

/** A packet of type PUBLISH whose body has `length` bytes, its length written as MQTT 3.1.1 section 2.2.3 says. */
function packet(length: number): Uint8Array {
  const header = [0x30]
  let rest = length
  do {
    header.push((rest % 128) | (rest >= 128 ? 128 : 0))
    rest = Math.floor(rest / 128)
  } while (rest > 0)
  return Uint8Array.from([...header, ...Array.from({ length: Math.min(length, 1000) }, () => 0xff)])
}

test.each([
  // Table 2.4: last and first value of each number of length bytes.
  [Uint8Array.of(0x30, 0x7f), 127],
  [Uint8Array.of(0x30, 0x80, 0x01), 128],
  [Uint8Array.of(0x30, 0xff, 0x7f), 16_383],
  [Uint8Array.of(0x30, 0x80, 0x80, 0x01), 16_384],
  [Uint8Array.of(0x30, 0xff, 0xff, 0x7f), 2_097_151],
  [Uint8Array.of(0x30, 0x80, 0x80, 0x80, 0x01), 2_097_152],
  [Uint8Array.of(0x30, 0xff, 0xff, 0xff, 0x7f), 268_435_455],
])('the length %j is read as %i bytes, before the body has come', (header, length) => {
  expect(createPacketGuard(length).pass(header)).toBe(header)
  expect(createPacketGuard(length - 1).pass(header)).toBeNull()
})

test('a length that goes on for a fifth byte is refused, also where messages are cut', () => {
  const guard = createPacketGuard(268_435_455)
  guard.cuts = true
  expect(guard.pass(Uint8Array.of(0x30, 0x80, 0x80, 0x80, 0x80))).toBeNull()
})

test('only a PUBLISH is cut: a SUBSCRIBE of that size ends the connection', () => {
  const guard = createPacketGuard(1000)
  guard.cuts = true
  expect(guard.pass(Uint8Array.of(0x82, 0x80, 0x80, 0x01))).toBeNull()
})

/** Bytes given to `guard` in pieces of these sizes, over and over; null: it ended the connection. */
function through(guard: ReturnType<typeof createPacketGuard>, all: Uint8Array, cuts: readonly number[]): number[] | null {
  const out: number[] = []
  for (let at = 0, i = 0; at < all.length; i++) {
    const step = cuts[i % cuts.length] ?? 1
    const passed = guard.pass(all.subarray(at, at + step))
    if (passed === null) return null
    out.push(...passed)
    at += step
  }
  return out
}

test('however the bytes are cut, the largest packet passes as it came and one byte more does not', () => {
  fc.assert(
    fc.property(
      fc.array(fc.integer({ min: 0, max: 300 }), { maxLength: 8 }),
      fc.array(fc.integer({ min: 1, max: 50 }), { minLength: 1 }),
      fc.boolean(),
      (lengths, cuts, tooLong) => {
        const all = Uint8Array.from([...lengths.flatMap((n) => [...packet(n)]), ...(tooLong ? packet(301) : [])])
        expect(through(createPacketGuard(300), all, cuts)).toEqual(tooLong ? null : [...all])
      },
    ),
    { numRuns: 1000 },
  )
})

test('where messages are cut, every one comes out with its own first bytes, none longer than allowed, whatever comes before and after', () => {
  fc.assert(
    fc.property(fc.array(fc.integer({ min: 0, max: 900 }), { maxLength: 8 }), fc.array(fc.integer({ min: 1, max: 50 }), { minLength: 1 }), (lengths, cuts) => {
      const guard = createPacketGuard(300)
      guard.cuts = true
      const all = Uint8Array.from(lengths.flatMap((n) => [...packet(n)]))
      expect(through(guard, all, cuts)).toEqual(lengths.flatMap((n) => [...packet(Math.min(n, 300))]))
      expect(guard.lastCut()).toBe(lengths.findLast((n) => n > 300) ?? null)
    }),
    { numRuns: 1000 },
  )
})

test('failures within a minute are counted by name, forgotten after it, and names have a bound', () => {
  const a = createAttempts(3, 60_000, 2)
  for (let i = 0; i < 3; i++) a.failed('x', i)
  expect([a.tooMany('x', 59_999), a.tooMany('y', 0), a.tooMany('x', 60_000)]).toEqual([true, false, false])
  for (let i = 0; i < 3; i++) a.failed('x', 70_000)
  a.failed('y', 70_000)
  a.failed('z', 70_000)
  expect(a.tooMany('x', 70_001)).toBe(false)
})
