import { expect, test } from 'vitest'
import { groupOf, saidDue, saidProtection, tally, type Protection } from '../../web/state/due.ts'

const NOW = Date.UTC(2026, 2, 16, 10)
const DAY = 86_400_000
const at = (days: number | null) => ({ dueMs: days === null ? null : NOW + days * DAY })

test.each([
  [-3.2, 'overdue', 'overdue 3\u00a0d'],
  [-0.2, 'overdue', 'now'],
  [0, 'overdue', 'now'],
  [null, 'unknown', 'not known'],
  [5, 'coming', '21 Mar'],
] as const)('work due in %s days is %s and said as "%s"', (days, group, said) => {
  expect(groupOf(at(days), NOW)).toBe(group)
  expect(saidDue(at(days), 'UTC', NOW)).toBe(said)
})

test('a list is summed up in the order of its urgency, and an empty one says so', () => {
  expect(tally([at(5), at(-1), at(null), at(-9)], NOW)).toBe('2 overdue, 1 never written down, 1 to come')
  expect(tally([], NOW)).toBe('nothing is due')
})

const p = (more: Partial<Protection>): Protection => ({
  id: 'acid-max-run',
  what: 'Timer',
  fitted: 'yes',
  provedMs: NOW - 5 * DAY,
  provedBy: null,
  dueMs: NOW + 26 * DAY,
  prove: 'Hold the call.',
  everyDays: 31,
  alarms: [],
  ...more,
})

test.each([
  [{}, 'proved 11 Mar', false],
  [{ provedMs: NOW - 40 * DAY, dueMs: NOW - 9 * DAY }, 'proved 4 Feb, due again', true],
  [{ provedMs: null, dueMs: null }, 'never proved', true],
  [{ fitted: 'no' }, 'not fitted', true],
  [{ fitted: 'unknown' }, 'not in the site file', true],
] as const)('a protection %o reads "%s"', (more, words, matter) => expect(saidProtection(p(more), 'UTC', NOW)).toEqual({ words, matter }))
