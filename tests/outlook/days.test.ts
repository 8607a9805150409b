import { expect, test } from 'vitest'
import { comingDays, midnight, pastDays } from '../../gateway/outlook/days.ts'

const lisbon = { zone: 'Europe/Lisbon', open: [] }

test('a day begins at midnight of the yard, also on the days whose clock is set', () => {
  // Summer time began on 29 March 2026 at 01:00 and ended on 26 October 2025 at 02:00, local.
  expect(midnight('Europe/Lisbon', Date.UTC(2026, 2, 29, 15))).toBe(Date.UTC(2026, 2, 29))
  expect(midnight('Europe/Lisbon', Date.UTC(2026, 2, 30, 15))).toBe(Date.UTC(2026, 2, 29, 23))
  expect(midnight('Europe/Lisbon', Date.UTC(2025, 9, 26, 15))).toBe(Date.UTC(2025, 9, 25, 23))
  expect(midnight('Asia/Kolkata', Date.UTC(2026, 2, 4, 20))).toBe(Date.UTC(2026, 2, 4, 18, 30))
  const days = pastDays(lisbon, Date.UTC(2026, 2, 31, 12), 3)
  expect(days.map((d) => (d.toMs - d.fromMs) / 3_600_000)).toEqual([24, 23, 24])
})

test('days follow each other without a hole, and say what kind they are', () => {
  const days = pastDays(lisbon, Date.UTC(2026, 10, 20, 12), 60)
  for (let i = 1; i < days.length; i++) expect(days[i]?.fromMs).toBe(days[i - 1]?.toMs)
  expect(pastDays(lisbon, Date.UTC(2026, 10, 17), 4).map((d) => d.kind)).toEqual(['weekday', 'Saturday', 'Sunday', 'weekday'])
  const weekdaysOnly = { zone: 'UTC', open: [1, 2, 3, 4, 5].map((day) => ({ day, fromMin: 480, toMin: 1020 })) }
  expect(pastDays(weekdaysOnly, Date.UTC(2026, 10, 17), 3).map((d) => d.kind)).toEqual(['closed day', 'closed day', 'weekday'])
})

test('what is left of today is the share of its open hours still to come', () => {
  const open = { zone: 'UTC', open: [{ day: 3, fromMin: 480, toMin: 960 }] }
  expect(comingDays(open, Date.UTC(2026, 2, 4, 14), 2)[0]).toMatchObject({ share: 0.25, kind: 'weekday' })
  expect(comingDays(open, Date.UTC(2026, 2, 4, 20), 2)[0]?.share).toBe(0)
  expect(comingDays({ zone: 'UTC', open: [] }, Date.UTC(2026, 2, 4, 18), 2).map((d) => d.share)).toEqual([0.25, 1])
  expect(comingDays(open, Date.UTC(2026, 2, 4, 14), 3)[1]).toMatchObject({ kind: 'closed day', share: 1 })
})
