import fc from 'fast-check'
import { expect, test } from 'vitest'
import { placeWall } from '../../gateway/intake/payload-wall.ts'

const LISBON = 'Europe/Lisbon'
const MIN = 60_000
/** Wall clock as if UTC. */
const wall = (text: string): number => Date.parse(`${text}Z`)
const at = (text: string): number => Date.parse(text)

// The last Sunday of October and of March at 01:00 UTC: Directive 2000/84/EC. Lisbon goes 02:00 WEST to 01:00 WET, and 01:00 WET to 02:00 WEST.
test('on ordinary days summer and winter time are taken off', () => {
  const placed = placeWall([wall('2026-07-01T10:00:00'), wall('2026-12-01T10:00:00')], LISBON, null, at('2026-12-01T10:01:00Z'))
  expect(placed).toEqual({ atMs: [at('2026-07-01T09:00:00Z'), at('2026-12-01T10:00:00Z')], doubled: 0, missing: 0 })
})

test('a block over the doubled autumn hour is told apart where its clock steps back', () => {
  const rows = ['00:50', '01:00', '01:30', '01:59', '01:00', '01:30', '01:59', '02:00'].map((t) => wall(`2026-10-25T${t}:00`))
  const placed = placeWall(rows, LISBON, null, at('2026-10-25T02:01:00Z'))
  expect(placed.atMs.map((ms) => new Date(ms).toISOString().slice(8, 16))).toEqual(['24T23:50', '25T00:00', '25T00:30', '25T00:59', '25T01:00', '25T01:30', '25T01:59', '25T02:00'])
  expect(placed).toMatchObject({ doubled: 6, missing: 0 })
  // The same block with the newest row first.
  expect(placeWall(rows.toReversed(), LISBON, null, at('2026-10-25T02:01:00Z')).atMs).toEqual(placed.atMs.toReversed())
})

test('a row a minute, sent as it is taken, never goes back and never an hour astray through the whole night', () => {
  let last: number | null = null
  for (let utc = at('2026-10-24T22:00:00Z'); utc < at('2026-10-25T04:00:00Z'); utc += MIN) {
    const offset = utc < at('2026-10-25T01:00:00Z') ? 60 * MIN : 0
    const placed = placeWall([utc + offset], LISBON, last, utc + 2000)
    expect(placed.atMs).toEqual([utc])
    last = utc
  }
})

test('rows of the second pass alone, after a silence, go where they fit closest', () => {
  const rows = [wall('2026-10-25T01:30:00'), wall('2026-10-25T01:31:00')]
  // Heard last before midnight, and arriving in the second pass: the second.
  expect(placeWall(rows, LISBON, at('2026-10-24T20:00:00Z'), at('2026-10-25T01:31:05Z')).atMs[0]).toBe(at('2026-10-25T01:30:00Z'))
  // Arriving in the first pass: the second would lie in the future.
  expect(placeWall(rows, LISBON, at('2026-10-24T20:00:00Z'), at('2026-10-25T00:31:05Z')).atMs[0]).toBe(at('2026-10-25T00:30:00Z'))
  // A stored block that follows the last row by a minute: the first, however late it comes.
  expect(placeWall(rows, LISBON, at('2026-10-25T00:29:00Z'), at('2026-10-25T09:00:00Z')).atMs[0]).toBe(at('2026-10-25T00:30:00Z'))
  // The next row of the same block is 02:00, a minute after 01:59: the second.
  const until2 = ['01:58', '01:59', '02:00'].map((t) => wall(`2026-10-25T${t}:00`))
  expect(placeWall(until2, LISBON, null, at('2026-10-25T09:00:00Z')).atMs[0]).toBe(at('2026-10-25T01:58:00Z'))
})

test('a time in the hour that spring leaves out comes from a clock that was not put forward, and is told', () => {
  const placed = placeWall([wall('2026-03-29T00:59:00'), wall('2026-03-29T01:30:00'), wall('2026-03-29T02:30:00')], LISBON, null, at('2026-03-29T02:00:00Z'))
  expect(placed).toEqual({ atMs: [at('2026-03-29T00:59:00Z'), at('2026-03-29T01:30:00Z'), at('2026-03-29T01:30:00Z')], doubled: 0, missing: 1 })
})

// IANA zones with other changes: half an hour on Lord Howe, before midnight in Santiago, none in Phoenix.
test.each(['Europe/Berlin', 'America/New_York', 'Australia/Lord_Howe', 'America/Santiago', 'America/Phoenix', 'Asia/Kathmandu'])(
  'rows in their true order come back to the very instant they were taken, in %s',
  (zone) => {
    const format = new Intl.DateTimeFormat('sv-SE', { timeZone: zone, dateStyle: 'short', timeStyle: 'medium' })
    fc.assert(
      fc.property(fc.integer({ min: at('2024-01-01T00:00:00Z') / MIN, max: at('2027-12-31T00:00:00Z') / MIN }), fc.integer({ min: 1, max: 30 }), (startMin, every) => {
        const taken = Array.from({ length: 300 }, (_, i) => (startMin + i * every) * MIN)
        const walls = taken.map((ms) => Date.parse(`${format.format(ms).replace(' ', 'T')}Z`))
        const placed = placeWall(walls, zone, (taken[0] ?? 0) - every * MIN, (taken.at(-1) ?? 0) + 5000)
        expect(placed.atMs).toEqual(taken)
      }),
      { numRuns: 60 },
    )
  },
)
