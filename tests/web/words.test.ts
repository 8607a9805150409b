import { expect, test } from 'vitest'
import { figure, measured } from '../../web/words/numbers.ts'
import { age, ageMark, clock, moment, offset, timeLeft } from '../../web/words/times.ts'
import { LETTER, STATE_WORDS, SUB_WORDS } from '../../web/words/words.ts'
import { ENTRY_KINDS } from '../../gateway/log/entry.ts'
import { ENTRY_WORDS } from '../../web/words/words.ts'
import { alarmBody } from '../../server/wire.ts'
import { shown } from '../../web/state/freshness.ts'
import { MIN, NOW, signalOf } from './bodies.ts'

const H = 60 * MIN
const DAY = 24 * H
const N = '\u202f'
const B = '\u00a0'

test('figures: digits of the signal, groups from four figures up, a true minus, no minus on zero', () => {
  expect([figure(7.04, 1), figure(1204, 0), figure(999, 0), figure(1234567.8, 1)]).toEqual(['7.0', `1${N}204`, '999', `1${N}234${N}567.8`])
  expect([figure(-64, 0), figure(-0.04, 1)]).toEqual(['\u221264', '0.0'])
})

test('a unit follows after a space that does not break; a redox potential carries its sign', () => {
  expect(measured(78, 0, '%')).toBe(`78${B}%`)
  expect(measured(148, 0, 'mV')).toBe(`+148${B}mV`)
  expect(measured(-64, 0, 'mV')).toBe(`\u221264${B}mV`)
  expect(measured(7.2, 1, '')).toBe('7.2')
})

test('ages: seconds, minutes, hours with minutes, hours, days; always rounded down', () => {
  expect([0, 4_900, 59_999, MIN, 130 * MIN, 120 * MIN, 13 * H + 50 * MIN, 47.9 * H, 72 * H].map(age)).toEqual([
    `0${B}s`,
    `4${B}s`,
    `59${B}s`,
    `1${B}min`,
    `2${B}h${B}10`,
    `2${B}h`,
    `13${B}h`,
    `47${B}h`,
    `3${B}d`,
  ])
  expect([6 * MIN, 47 * MIN, 3.9 * H, 49 * H].map(ageMark)).toEqual(['6m', '47m', '3h', '2d'])
})

test('an age is never negative, whatever the clocks say', () => {
  expect(age(-5000)).toBe(`0${B}s`)
})

test('time left rounds down: to the minute, from an hour to 5 min, over 12 h to the hour', () => {
  expect([25.9, 59.99, 64, 130, 124, 719, 725, -3].map(timeLeft)).toEqual([`25${B}min`, `59${B}min`, `1${B}h`, `2${B}h${B}10`, `2${B}h`, `11${B}h${B}55`, `12${B}h`, `0${B}min`])
})

test('a moment is said in the zone of its site, as short as the day allows', () => {
  expect(moment(NOW - 5 * MIN, 'Europe/Berlin', NOW)).toBe('04:11')
  expect(moment(NOW - 5 * H, 'Europe/London', NOW)).toBe('Mon 22:16')
  expect(moment(NOW - 6 * DAY, 'Europe/London', NOW)).toBe('11 Nov 03:16')
  expect(moment(NOW - 400 * DAY, 'Europe/London', NOW)).toContain('2025')
  expect(clock(NOW, 'America/Denver')).toBe('20:16')
})

test('offsets have a true minus and half hours, and follow the clock change', () => {
  expect(offset(NOW, 'UTC')).toMatch(/^UTC(\+0)?$/)
  expect(offset(NOW, 'America/Denver')).toBe('UTC\u22127')
  expect(offset(NOW, 'Asia/Kolkata')).toBe('UTC+5:30')
  expect([offset(Date.UTC(2026, 9, 24, 12), 'Europe/Berlin'), offset(Date.UTC(2026, 9, 26, 12), 'Europe/Berlin')]).toEqual(['UTC+2', 'UTC+1'])
})

test('every priority, alarm state and log entry of the contract has its word', () => {
  for (const p of alarmBody.shape.priority.options) expect(LETTER[p]).toMatch(/^[ABCW]$/)
  for (const s of alarmBody.shape.state.options) expect(STATE_WORDS[s]).toBeTruthy()
  expect(Object.keys(ENTRY_WORDS).toSorted()).toEqual([...ENTRY_KINDS].toSorted())
})

test('phrases do not shout, beg or say "error"', () => {
  for (const words of [...Object.values(STATE_WORDS), ...Object.values(SUB_WORDS), ...Object.values(ENTRY_WORDS)]) expect(words).not.toMatch(/!|please|\berror\b/i)
})

test('a reading: good in full, doubtful with why, stale with its age, bad or long gone as a dash', () => {
  const at = (more: Parameters<typeof signalOf>[0]) => shown(signalOf(more), NOW)
  expect(at({})).toEqual({ text: '2.1', unit: 'mg/L', kind: 'good', note: '' })
  expect(at({ quality: 'uncertain', sub: 'qc_suspect' })).toMatchObject({ text: '2.1', kind: 'doubtful' })
  expect(at({ quality: 'bad', sub: 'not_connected', value: null })).toMatchObject({ text: '–', kind: 'none', note: 'no signal' })
  expect(at({ quality: 'bad', sub: 'sensor_failure', value: 3 }).text).toBe('–')
  expect(at({ sourceMs: NOW - 4 * MIN, receivedMs: NOW - 4 * MIN })).toMatchObject({ text: '2.1', kind: 'stale', note: `4${B}min old` })
  expect(at({ sourceMs: NOW - 11 * MIN, receivedMs: NOW - 11 * MIN })).toMatchObject({ text: '–', kind: 'none' })
  expect(at({ value: null, quality: null, sourceMs: null })).toMatchObject({ text: '–', note: 'nothing heard yet' })
})

test('staleness is a matter of the report interval: three reports and 10 s, not before', () => {
  const slow = { reportEveryMs: 15 * MIN, sourceMs: NOW - 45 * MIN, receivedMs: NOW - 45 * MIN }
  expect(shown(signalOf(slow), NOW).kind).toBe('good')
  expect(shown(signalOf(slow), NOW + 11_000).kind).toBe('stale')
})

test('a state is said in its words', () => {
  const run = signalOf({ kind: 'state', states: ['stopped', 'runs'], unitText: '', digits: 0 })
  expect([shown({ ...run, value: 1 }, NOW).text, shown({ ...run, value: 0 }, NOW).text]).toEqual(['runs', 'stopped'])
})
