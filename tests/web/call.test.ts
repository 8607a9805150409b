import { expect, test } from 'vitest'
import { arithmetic, blockSentence, harmLeads, protectionWords, verdictOf } from '../../web/state/call.ts'

const NOW = Date.UTC(2026, 2, 4, 22)
const HOUR = 3_600_000
const call = (more: Partial<Parameters<typeof verdictOf>[0]> = {}): Parameters<typeof verdictOf>[0] => ({
  verdict: 'wake',
  because: 'in-time',
  judgedMs: NOW,
  harmLowMs: NOW + 5 * HOUR,
  harmHighMs: null,
  harmFrom: 'the time to respond of its record, 300 min',
  reachMin: 60,
  reachBy: 'drive',
  deskMs: NOW + 9 * HOUR,
  leaveByMs: NOW + 4 * HOUR,
  staffedNow: false,
  yardPhone: null,
  assumed: [],
  ...more,
})

test.each<[string, Partial<ReturnType<typeof call>>, RegExp]>([
  ['in time by road', {}, /^Yes: leave by 5 Mar 02:00 to be in time\.$/],
  ['in time by the yard', { reachBy: 'yard' }, /^Yes: the yard must be called by/],
  ['too late, nobody there', { because: 'too-late' }, /going limits the damage/],
  ['too late, yard staffed', { verdict: 'call-yard', because: 'too-late' }, /^Call the yard now/],
  ['can wait', { verdict: 'morning', because: 'can-wait' }, /^No, it can wait for 5 Mar 07:00\. Somebody must have left by 5 Mar 02:00\.$/],
  ['blind, not yet', { verdict: 'morning', because: 'blind-yet' }, /only our sight is lost/],
  ['gas', { because: 'exempt' }, /never put off/],
  ['somebody there', { verdict: 'on-site', because: 'on-site' }, /somebody is on site/],
])('the verdict is told in one line: %s', (_, more, said) => {
  expect(verdictOf(call(more), 'UTC', NOW)).toMatch(said)
})

test('the time until harm leads, then since when it is possible; what is never weighed by it has none', () => {
  expect(harmLeads(call(), 'UTC', NOW)).toEqual(['5\u00a0h', 'until harm is possible'])
  expect(harmLeads(call({ harmLowMs: NOW - HOUR / 2 }), 'UTC', NOW)).toEqual(['now', 'harm is possible since 21:30'])
  expect(harmLeads(call({ because: 'exempt' }), 'UTC', NOW)).toBeNull()
})

test('a protection is only said to have acted where it is fitted, and counted on only where it was proved', () => {
  const p = (fitted: 'yes' | 'no' | 'unknown', provedOn: string | null = null) => protectionWords({ what: 'Float in the sump stops the washers', fitted, provedOn })
  expect(p('yes', '2026-02-03')).toBe('Float in the sump stops the washers should have acted already, proved 3 Feb 2026')
  expect(p('yes')).toMatch(/never proved: do not count on it$/)
  expect(p('no')).toMatch(/not fitted, so nothing has acted$/)
  expect(p('unknown')).toMatch(/count on nothing$/)
  expect(protectionWords(null)).toBe('none is expected to act for this')
})

test('the arithmetic names harm, reach and desk, and what was assumed', () => {
  const lines = arithmetic(call({ assumed: ['drive', 'desk'] }), 'UTC', NOW)
  expect(lines[0]).toBe('Harm is possible from 5 Mar 03:00, 5\u00a0h from now: the time to respond of its record, 300 min.')
  expect(lines[1]).toBe('Somebody from outside is there in 1\u00a0h; nobody is at the yard now.')
  expect(lines[2]).toBe('The desk is staffed again at 5 Mar 07:00.')
  expect(lines[3]).toContain('an hour by road, a desk staffed Monday to Friday, 7 to 17')
})

test('a block says that nobody goes in, since when and what ends it', () => {
  expect(blockSentence({ alarm: 'a', what: 'Ozone in the air', sinceMs: NOW }, { zone: 'UTC' }, NOW)).toMatch(/^Nobody goes in\. Ozone in the air since 22:00\. It ends when/)
  expect(blockSentence(null, { zone: 'UTC' }, NOW)).toBeNull()
})
