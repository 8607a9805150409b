import { expect, test } from 'vitest'
import { hidden, left, restChoices, reviewChoices, setAside } from '../../web/state/set-aside.ts'
import { answer } from '../../web/state/sentence.ts'
import { alarm, MIN, NOW } from './bodies.ts'

const plain = (s: string | null): string => (s ?? '').replaceAll('\u00a0', ' ')
const shelved = { untilMs: NOW + 134 * MIN, oneShot: false, by: 'J. Orme', reason: 'probe on order', atMs: NOW - MIN }
const suppressed = { ruleId: 'r', reason: 'no air', atMs: NOW - MIN, endsMs: null }
const outOfService = { by: 'A. Reyes', reason: 'broken', measure: 'by hand', reviewMs: NOW + 60 * MIN, atMs: NOW, overdue: false }

test('what lies over an alarm is said with who, until when and what is left; the strongest alone', () => {
  const say = (more: object): string => plain(setAside(alarm(more), NOW, 'Europe/London'))
  expect(say({})).toBe('')
  expect(say({ shelved })).toBe('Shelved by J. Orme until 05:30, 2 h 10 left')
  expect(say({ shelved: { ...shelved, oneShot: true } })).toBe('Shelved by J. Orme until 05:30, 2 h 10 left, or until it returns to normal')
  expect(say({ shelved, suppressed })).toBe('Suppressed by design since 03:15')
  expect(say({ suppressed: { ...suppressed, endsMs: NOW + MIN } })).toBe('Suppressed by design since 03:15, shown again 03:17')
  expect(say({ shelved, suppressed, outOfService })).toBe('Out of service by A. Reyes, review by 04:16')
  expect(say({ outOfService: { ...outOfService, reviewMs: NOW - MIN } })).toBe('Out of service by A. Reyes, review overdue since 03:15')
  expect(plain(answer(alarm({ shelved, shown: 'shelved' }), NOW, 'Europe/London'))).toBe('Shelved by J. Orme until 05:30, 2 h 10 left.')
})

test('the time left counts down to the second', () => {
  expect([left(NOW + 90_000, NOW), left(NOW + 40_000, NOW), left(NOW - 5, NOW)].map(plain)).toEqual(['1 min left', '40 s left', '0 s left'])
})

test('what was hidden is counted in words', () => {
  expect([0, 1, 3].map((hiddenCount) => hidden(alarm({ hiddenCount })))).toEqual([
    'Not raised since.',
    'Raised once since, told to nobody.',
    'Raised 3 times since, told to nobody.',
  ])
})

test('how long it may rest: spans below the longest allowed, and that one by its time; nothing where it may not', () => {
  const words = (latestMs: number | null): string[] => restChoices(alarm({ shelf: { latestMs, words: '' } }), NOW).map((c) => plain(c.words))
  expect(words(NOW + 60 * MIN)).toEqual(['15 min', '30 min', 'until 04:16, the longest allowed'])
  expect(words(NOW + 300 * MIN)).toEqual(['15 min', '30 min', '1 h', '2 h', '4 h', 'until 08:16, the longest allowed'])
  expect(words(NOW)).toEqual([])
  expect(words(null)).toEqual([])
  expect(reviewChoices(NOW).every((c) => c.untilMs > NOW && c.untilMs < NOW + 30 * 86_400_000)).toBe(true)
})
