import fc from 'fast-check'
import { expect, test } from 'vitest'
import { timeTicks } from '../../web/state/time-ticks.ts'
import { zoneWords } from '../../web/state/trend.ts'
import { atWall, daysEarlier, wallText } from '../../web/state/wall-time.ts'

const HOUR = 3_600_000
const DAY = 24 * HOUR
const ROOM = 30 * 80

// Days of change in Europe/Berlin: Directive 2000/84/EC, the last Sundays of March and October at 01:00 UTC.
const SPRING = Date.UTC(2026, 2, 28, 23)
const AUTUMN = Date.UTC(2026, 9, 24, 22)

const labels = (fromMs: number, hours: number, zone = 'Europe/Berlin'): readonly string[] =>
  timeTicks(fromMs, fromMs + hours * HOUR, ROOM, zone).map((t) => t.text.replace('\n', ' '))

test('the day with 23 hours has a tick for each of them, none for the hour left out, and the new offset where it begins', () => {
  const all = labels(SPRING, 23)
  expect(all.slice(0, 4)).toEqual(['00:00 Sun 29 Mar', '01:00', '03:00 UTC+2', '04:00'])
  expect(all).toHaveLength(24)
  expect(all.at(-1)).toBe('00:00 Mon 30 Mar')
})

test('the day with 25 hours shows the hour that comes twice twice, the second time with its offset', () => {
  const all = labels(AUTUMN, 25)
  expect(all.slice(0, 5)).toEqual(['00:00 Sun 25 Oct', '01:00', '02:00', '02:00 UTC+1', '03:00'])
  expect(all).toHaveLength(26)
  expect(all.at(-1)).toBe('00:00 Mon 26 Oct')
})

test('the span says both offsets when the clock changes inside it, and one when it does not', () => {
  expect(zoneWords({ fromMs: AUTUMN, toMs: AUTUMN + DAY }, 'Europe/Berlin')).toBe('UTC+2, then UTC+1')
  expect(zoneWords({ fromMs: AUTUMN + DAY, toMs: AUTUMN + 2 * DAY }, 'Europe/Berlin')).toBe('UTC+1')
})

test('a zone that moves by half an hour keeps its ticks on round times of its clock', () => {
  // Lord Howe Island, Sunday 4 October 2026: 02:00 becomes 02:30 (tz database, zone Australia/Lord_Howe).
  const all = labels(Date.UTC(2026, 9, 3, 13, 30), 4, 'Australia/Lord_Howe')
  expect(all.filter((t) => t.startsWith('02:00'))).toEqual([])
  expect(all.some((t) => t.startsWith('02:30 UTC+11'))).toBe(true)
})

test('a day earlier is the same time of the clock: 23 hours back over the spring night, 25 over the autumn one, 24 otherwise', () => {
  const noon = (ms: number): number => ms + 12 * HOUR
  expect((noon(SPRING) - HOUR - daysEarlier(noon(SPRING) - HOUR, 1, 'Europe/Berlin')) / HOUR).toBe(23)
  expect((noon(AUTUMN) + HOUR - daysEarlier(noon(AUTUMN) + HOUR, 1, 'Europe/Berlin')) / HOUR).toBe(25)
  expect((noon(SPRING) + 5 * DAY - daysEarlier(noon(SPRING) + 5 * DAY, 1, 'Europe/Berlin')) / HOUR).toBe(24)
  fc.assert(
    fc.property(fc.integer({ min: 0, max: 365 * 24 * 60 }), fc.constantFrom('Europe/Berlin', 'America/Denver', 'Asia/Kathmandu', 'Australia/Lord_Howe'), (minutes, zone) => {
      const ms = Date.UTC(2026, 0, 8) + minutes * 60_000
      const back = daysEarlier(ms, 7, zone)
      expect(Math.abs(ms - back - 7 * DAY)).toBeLessThanOrEqual(HOUR)
      // Told by the clock it is the same minute, unless that minute was left out on the earlier day.
      if (atWall(wallText(back, zone), zone) === back) expect([wallText(ms, zone).slice(11), wallText(ms + HOUR, zone).slice(11)]).toContain(wallText(back, zone).slice(11))
    }),
    { numRuns: 300 },
  )
})

test('a time typed by the clock comes back as it was typed; a left-out hour is moved on, a double one is its first, nonsense is none', () => {
  expect(atWall('2026-11-17T03:16', 'Europe/London')).toBe(Date.UTC(2026, 10, 17, 3, 16))
  expect(atWall('2026-10-25T02:30', 'Europe/Berlin')).toBe(Date.UTC(2026, 9, 25, 0, 30))
  expect(wallText(atWall('2026-03-29T02:30', 'Europe/Berlin') ?? 0, 'Europe/Berlin')).toBe('2026-03-29T03:30')
  for (const text of ['', '2026-02-30T10:00', '17.11.2026 03:16', '2026-11-17T25:00']) expect(atWall(text, 'Europe/Berlin')).toBeNull()
})
