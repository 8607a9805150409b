import fc from 'fast-check'
import { expect, test } from 'vitest'
import { timeTicks } from '../../web/state/time-ticks.ts'
import { chosen, coverage, csv, lanes, moved, silences, spanOf, thinned } from '../../web/state/trend.ts'
import { clock } from '../../web/words/times.ts'
import { detail, historyOf, MIN, NOW, signalOf } from './bodies.ts'

const H = 60 * MIN
const DAY = 24 * H

test('a gap longer than three reports is told, with why, and a shorter one is not', () => {
  const six = [...Array<null>(6).fill(null)]
  expect(silences(historyOf([1, 1, null, null, 1]), MIN)).toEqual([])
  expect(silences(historyOf([1, ...six, 1]), MIN)).toEqual([{ fromMs: NOW + MIN, toMs: NOW + 7 * MIN, why: 'nothing heard' }])
  expect(silences(historyOf([1, ...Array<'bad'>(6).fill('bad'), 1]), MIN)[0]?.why).toBe('rejected')
  expect(silences(historyOf([1, 1, ...six]), MIN)).toHaveLength(1)
})

test('spans narrower than the reporting are one line, and a real gap breaks it with a null', () => {
  // A reading every 5 min in spans of a minute.
  const sparse = historyOf([1, null, null, null, null, 2, null, null, null, null, 3])
  expect(thinned(sparse, 5 * MIN).mean).toEqual([1, 2, 3])
  const broken = thinned(historyOf([1, 1, ...Array<null>(10).fill(null), 2]), MIN)
  expect(broken.mean).toContain(null)
  expect(broken.mean.filter((v) => v !== null)).toEqual([1, 1, 2])
})

test('times of a line always rise, whatever is missing', () => {
  fc.assert(
    fc.property(fc.array(fc.oneof(fc.constant(null), fc.constant('bad' as const), fc.double({ min: -50, max: 50, noNaN: true })), { maxLength: 60 }), (figures) => {
      const t = thinned(historyOf(figures), 2 * MIN)
      for (let i = 1; i < t.at.length; i++) expect(t.at[i]!).toBeGreaterThan(t.at[i - 1]!)
      expect(t.mean.filter((v) => v !== null)).toHaveLength(figures.filter((v) => typeof v === 'number').length)
    }),
  )
})

test('share of readings: all, none, and what is between', () => {
  expect(coverage(historyOf([1, 1, 1, 1]), MIN)).toBe(100)
  expect(coverage(historyOf(Array<null>(10).fill(null)), MIN)).toBe(0)
  expect(coverage(historyOf([...Array<number>(10).fill(1), ...Array<null>(10).fill(null)]), MIN)).toBe(50)
})

test('signals of one quantity and unit share a lane, states become bars, and no ninth line is drawn', () => {
  const many = Array.from({ length: 10 }, (_, i) => signalOf({ id: `t${i}.do`, quantity: i % 2 ? 'do' : 'ph', unit: i % 2 ? 'mg/L' : '[pH]' }))
  const plan = lanes([...many, signalOf({ id: 'blower.run', kind: 'state', quantity: 'run' })])
  expect(plan.lanes.map((l) => l.signals.length)).toEqual([4, 4])
  expect(plan.bars.map((b) => b.id)).toEqual(['blower.run'])
})

test('earlier, later, closer and wider move the span, and none looks into the future', () => {
  const now = NOW
  const s = { fromMs: now - 8 * H, toMs: now }
  expect(moved(s, 'earlier', now)).toEqual({ fromMs: now - 12 * H, toMs: now - 4 * H })
  expect(moved(s, 'later', now)).toEqual(s)
  expect(moved(moved(s, 'earlier', now), 'later', now)).toEqual(s)
  fc.assert(
    fc.property(fc.array(fc.constantFrom('earlier' as const, 'later' as const, 'closer' as const, 'wider' as const), { maxLength: 12 }), (steps) => {
      const end = steps.reduce((x, how) => moved(x, how, now), s)
      expect(end.toMs).toBeLessThanOrEqual(now)
      expect(end.toMs - end.fromMs).toBeGreaterThanOrEqual(MIN)
    }),
  )
})

test("ticks stand on round hours of the site's clock, also when its clock goes back", () => {
  // Europe/Berlin, 25 October 2026, 03:00 becomes 02:00.
  const from = Date.UTC(2026, 9, 24, 20)
  const ticks = timeTicks(from, from + 12 * H, 1200, 'Europe/Berlin')
  for (const t of ticks) expect(clock(t.ms, 'Europe/Berlin')).toMatch(/:00$/)
  for (let i = 1; i < ticks.length; i++) expect(ticks[i]!.ms).toBeGreaterThan(ticks[i - 1]!.ms)
})

test('ticks of days stand on midnight of the site, over the night with 25 hours as over any other', () => {
  const from = Date.UTC(2026, 9, 22, 22)
  const ticks = timeTicks(from, from + 6 * DAY, 900, 'Europe/Berlin')
  expect(ticks.length).toBeGreaterThanOrEqual(5)
  for (const t of ticks) expect(clock(t.ms, 'Europe/Berlin')).toBe('00:00')
})

test('no more ticks than there is room for', () => {
  fc.assert(
    fc.property(fc.integer({ min: MIN, max: 400 * DAY }), fc.integer({ min: 200, max: 1600 }), (width, room) => {
      expect(timeTicks(NOW - width, NOW, room, 'America/Denver').length).toBeLessThanOrEqual(Math.max(2, Math.floor(room / 60)) + 1)
    }),
    { numRuns: 200 },
  )
})

test('saved figures name their unit, leave gaps empty, and disarm text that a spreadsheet would run', () => {
  const text = csv([{ signal: signalOf({ name: '=cmd()' }), history: historyOf([1.5, null, 'bad']) }], (ms) => new Date(ms).toISOString())
  const rows = text.trim().split('\r\n')
  expect(rows).toHaveLength(3)
  expect(rows[1]).toBe(`2026-11-17T03:16:00.000Z,"tu.do","'=cmd()","mg/L",1.5,1.5,1.5,1,0`)
  expect(rows[2]).toMatch(/,,,,0,1$/)
})

test('a doubtful stretch is a line of its own that meets the good one on both sides', () => {
  const h = historyOf([1, 2, 3, 4, 5])
  const line = thinned({ ...h, worst: ['good', 'good', 'uncertain', 'good', 'good'] }, MIN)
  expect(line.mean).toEqual([1, 2, null, 4, 5])
  expect(line.doubtful).toEqual([null, 2, 3, 4, null])
  // Half a bucket after its start, as the good ones.
  expect(line.at[2]).toBe(NOW + 2.5 * MIN)
})

test('an address gives a span that stands still, or a width that follows the present; nonsense gives the usual 8 h', () => {
  const of = (text: string) => spanOf(new URLSearchParams(text), NOW, 600)
  expect(of(`from=${NOW - H}&to=${NOW - MIN}`)).toEqual({ span: { fromMs: NOW - H, toMs: NOW - MIN }, follows: false })
  for (const text of ['', 'span=x', 'from=5', 'to=-3', 'span=-1']) {
    const { span, follows } = of(text)
    expect(follows).toBe(true)
    expect(span.toMs - span.fromMs).toBe(8 * H)
    expect(span.toMs).toBeGreaterThanOrEqual(NOW)
    expect(span.toMs - NOW).toBeLessThanOrEqual((8 * H) / 600)
  }
  expect(of(`from=${NOW}&to=${NOW - H}`).span).toEqual({ fromMs: NOW - 9 * H, toMs: NOW - H })
})

test('signals asked for are shown once each and in that order; without any, those that tell most about the loop', () => {
  const l = detail({ signals: [signalOf({ id: 'modem.strength', quantity: 'strength' }), signalOf({ id: 'tu.ph', quantity: 'ph' }), signalOf({ id: 'tu.do' })] })
  const ids = (asked: string | null) => chosen(l, asked?.split(',') ?? []).map((s) => s.id)
  expect(ids('tu.ph,nothing,tu.do,tu.ph')).toEqual(['tu.ph', 'tu.do'])
  expect(ids(null)).toEqual(['tu.do', 'tu.ph'])
  expect(ids('nothing')).toEqual(['tu.do', 'tu.ph'])
})
