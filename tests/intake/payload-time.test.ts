/** Outside truth: the examples of RFC 3339 section 5.8, and the engine's own calendar (`Date`), which nobody here wrote. */
import fc from 'fast-check'
import { expect, test } from 'vitest'
import { readTime } from '../../gateway/intake/payload-time.ts'

test.each([
  // RFC 3339 section 5.8, first, second and last example.
  ['1985-04-12T23:20:50.52Z', Date.UTC(1985, 3, 12, 23, 20, 50, 520)],
  ['1996-12-19T16:39:57-08:00', Date.UTC(1996, 11, 20, 0, 39, 57)],
  ['1937-01-01T12:00:27.87+00:20', Date.UTC(1937, 0, 1, 11, 40, 27, 870)],
  // One second past what 32 bits of seconds can hold (DQ test list).
  ['2038-01-19T03:14:08Z', 2_147_483_648_000],
  ['2000-02-29T00:00:00Z', Date.UTC(2000, 1, 29)],
  ['2026-03-01t10:00:00.1239z', Date.UTC(2026, 2, 1, 10, 0, 0, 123)],
  ['2026-03-01 10:00:00-00:00', Date.UTC(2026, 2, 1, 10)],
])('%s is read', (text, ms) => {
  expect(readTime(text)).toBe(ms)
})

test.each([
  ['1990-12-31T23:59:60Z', 'is a leap second: send :59 or the next full minute'],
  ['1990-12-31T15:59:60-08:00', 'is a leap second'],
  ['2026-03-01T10:00:00', 'has no zone: add Z or an offset'],
  ['2026-02-29T10:00:00Z', 'no such day in the calendar'],
  ['2100-02-29T10:00:00Z', 'no such day in the calendar'],
  ['2026-13-01T10:00:00Z', 'no such day in the calendar'],
  ['2026-00-10T10:00:00Z', 'no such day in the calendar'],
  ['2026-04-31T10:00:00Z', 'no such day in the calendar'],
  ['2026-03-01T24:00:00Z', 'no such time of day'],
  ['2026-03-01T10:60:00Z', 'no such time of day'],
  ['2026-03-01T10:00:61Z', 'no such time of day'],
  ['2026-03-01T10:00:00+24:00', 'no such time of day'],
  ['2026-03-01T10:00Z', 'is no RFC 3339 time such as'],
  ['1772438400000', 'is no RFC 3339 time'],
  ['', 'is no RFC 3339 time'],
])('"%s" is refused with a sentence', (text, says) => {
  expect(readTime(text)).toContain(says)
})

test('text that is no time at all is not repeated in the refusal', () => {
  expect(readTime('the password is swordfish')).toBe('text of 25 characters is no RFC 3339 time such as 2026-03-01T10:00:00Z')
})

test('every instant from year 1 to 9999 is read as the engine writes it, in any offset', () => {
  const first = Date.parse('0001-01-02T00:00:00Z')
  fc.assert(
    fc.property(fc.integer({ min: first + 86_400_000, max: Date.UTC(9998, 11, 31) }), fc.integer({ min: -1439, max: 1439 }), (ms, offsetMin) => {
      const sign = offsetMin < 0 ? '-' : '+'
      const offset = `${sign}${String(Math.floor(Math.abs(offsetMin) / 60)).padStart(2, '0')}:${String(Math.abs(offsetMin) % 60).padStart(2, '0')}`
      expect(readTime(new Date(ms).toISOString())).toBe(ms)
      expect(readTime(new Date(ms + offsetMin * 60_000).toISOString().replace('Z', offset))).toBe(ms)
    }),
    { numRuns: 2000 },
  )
})
