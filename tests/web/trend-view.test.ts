import fc from 'fast-check'
import { expect, test } from 'vitest'
import { compareName, compareOf, compareText, raisePairs, shiftOf, type Compare } from '../../web/state/trend-compare.ts'
import { figuresOf } from '../../web/state/trend-figures.ts'
import { chosen, moved, spanOf } from '../../web/state/trend.ts'
import { guests, readingsPath, signalsIn, viewOf, viewText, type View } from '../../web/state/trend-view.ts'
import type { Standing } from '../../web/state/then.ts'
import { detail, historyOf, MIN, NOW, signalOf } from './bodies.ts'

const H = 60 * MIN
const DAY = 24 * H
const SPAN = { fromMs: NOW - 8 * H, toMs: NOW }
const id = fc.stringMatching(/^[a-z][a-z0-9-]{0,12}$/)
const when = fc.integer({ min: 2 * H, max: NOW })

const compares: fc.Arbitrary<Compare | null> = fc.oneof(
  fc.constant(null),
  fc.integer({ min: 1, max: 999 }).map((days): Compare => ({ kind: 'days', days })),
  when.map((fromMs): Compare => ({ kind: 'from', fromMs })),
  fc.tuple(when, when).map(([hereMs, thereMs]): Compare => ({ kind: 'raise', hereMs, thereMs })),
  id.map((site): Compare => ({ kind: 'loop', site })),
)

test('every view comes back from its address: signals, span or last hours, whose clock, comparison, what is laid over it', () => {
  const spans: fc.Arbitrary<View['span']> = fc.oneof(
    fc.integer({ min: 60_000, max: 400 * DAY }),
    fc.tuple(when, fc.integer({ min: 60_000, max: DAY })).map(([fromMs, width]) => ({ fromMs, toMs: fromMs + width })),
  )
  const bits = fc.tuple(fc.boolean(), fc.boolean(), fc.boolean(), fc.boolean())
  fc.assert(
    fc.property(fc.uniqueArray(fc.tuple(id, id).map(([a, b]) => `${a}/${b}.do`)), spans, compares, bits, (signals, span, compare, [mine, courses, table, figures]) => {
      const view: View = { signals, span, compare, mine, courses, table, figures }
      const query = new URLSearchParams(viewText(view))
      const s = spanOf(query, NOW, 600)
      const back = viewOf(query, s.span, s.follows)
      // A width that follows the present is kept to a millisecond: its end steps with the drawing.
      if (typeof span === 'number') expect(Math.abs(Number(back.span) - span)).toBeLessThan(1)
      expect({ ...back, span: typeof span === 'number' ? span : back.span }).toEqual(view)
    }),
  )
})

test('a comparison that cannot be read is none', () => {
  for (const text of [null, '', 'x', '0d', 'd', 'from:', 'from:-5', 'raise:5', 'loop:', 'from:99999999999999999']) expect(compareOf(text), String(text)).toBeNull()
  expect(compareText({ kind: 'raise', hereMs: 5, thereMs: 3 })).toBe('raise:5:3')
})

test('the other period is moved to where it is drawn: its own beginning, or its raise on the raise of the span', () => {
  expect(SPAN.fromMs - shiftOf({ kind: 'from', fromMs: NOW - 3 * DAY }, SPAN, 'UTC')).toBe(NOW - 3 * DAY)
  const raise: Compare = { kind: 'raise', hereMs: NOW - 5 * MIN, thereMs: NOW - 9 * DAY }
  expect(raise.thereMs + shiftOf(raise, SPAN, 'UTC')).toBe(raise.hereMs)
  expect(shiftOf({ kind: 'loop', site: 'x' }, SPAN, 'UTC')).toBe(0)
  expect(compareName({ kind: 'days', days: 7 }, SPAN, 'UTC', NOW, '')).toBe('a week earlier')
})

test('raises of the span stand beside earlier raises of the same alarm, and of no other', () => {
  const stood = (alarm: string, fromMs: number): Standing => ({ alarm, what: alarm, letter: 'A', fromMs, answeredMs: null, by: null, clearedMs: null, endMs: null })
  const all = [stood('a', NOW - H), stood('a', NOW - 3 * DAY), stood('a', NOW - 9 * DAY), stood('b', NOW - 4 * DAY), stood('c', NOW - 2 * H)]
  expect(raisePairs(all, SPAN)).toEqual([
    { what: 'a', hereMs: NOW - H, thereMs: NOW - 3 * DAY },
    { what: 'a', hereMs: NOW - H, thereMs: NOW - 9 * DAY },
  ])
})

test('signals of other loops stand in a view under the name of their loop, once each, and those of a loop not yet told are waited for', () => {
  const home = detail({ id: 'yard', signals: [signalOf(), signalOf({ id: 'tu.ph', quantity: 'ph' })] })
  const quay = detail({ id: 'quay', name: 'Quay', signals: [signalOf()] })
  const asked = ['tu.do', 'yard/tu.do', 'quay/tu.do', 'quay/nothing', 'quay/tu.do']
  expect(signalsIn(asked, home, new Map([['quay', quay]])).map((s) => [s.id, s.name])).toEqual([
    ['tu.do', 'Oxygen, treatment unit'],
    ['quay/tu.do', 'Oxygen, treatment unit, Quay'],
  ])
  expect(guests(asked, 'yard')).toEqual(['quay'])
  expect(chosen(home, ['quay/tu.do'], new Map())).toEqual([])
  expect(chosen(home, ['quay/nothing'], new Map([['quay', quay]])).length).toBeGreaterThan(0)
})

test('readings are asked for by loop and signal over exactly the span shown', () => {
  expect(readingsPath(['tu.do', 'quay/tu.ph'], 'yard', { fromMs: 5, toMs: 9.4 })).toBe('/api/history.csv?signals=yard/tu.do,quay/tu.ph&from=5&to=9')
})

test('closer and wider keep the moment under the cursor where it stands', () => {
  fc.assert(
    fc.property(fc.double({ min: 0, max: 1, noNaN: true }), (share) => {
      const about = SPAN.fromMs + share * 8 * H
      const next = moved(SPAN, 'closer', NOW, about)
      expect((about - next.fromMs) / (next.toMs - next.fromMs)).toBeCloseTo(share, 6)
    }),
  )
})

// Numbers to check by hand: 2 4 4 4 5 5 7 9 have mean 5 and median 4.5 (from memory: the usual textbook row for a standard deviation of 2).
test('figures of a row of readings are those a spreadsheet gives', () => {
  const f = figuresOf(historyOf([2, 4, 4, 4, 5, 5, 7, 9]), { limits: [{ name: 'H', value: 6, alarm: 'a' }], reportEveryMs: MIN })
  expect(f).toMatchObject({ readings: 8, bad: 0, low: 2, mean: 5, median: 4.5, high: 9, exact: true, gaps: 0, lostMs: 0 })
  expect(f.beyond).toEqual([{ name: 'H', value: 6, share: 25 }])
})

test('a span with many readings weighs as much as they are, and the median says that it is not exact', () => {
  const h = { ...historyOf([1, 10]), count: [3, 1] }
  expect(figuresOf(h, { limits: [], reportEveryMs: MIN })).toMatchObject({ readings: 4, mean: 3.25, median: 1, exact: false })
})

test('time without readings counts neither as inside nor as beyond a limit, and is told as missing', () => {
  const h = historyOf([1, ...Array<null>(20).fill(null), 9, 9, 'bad'])
  const f = figuresOf(h, { limits: [{ name: 'L', value: 2, alarm: 'a' }], reportEveryMs: MIN })
  expect(f).toMatchObject({ readings: 3, bad: 1, gaps: 1, lostMs: 20 * MIN })
  // The first reading holds for three reports, the next for a minute, the last for the two minutes to the end.
  expect(f.beyond[0]?.share).toBeCloseTo((100 * 3) / 6, 6)
  const none = figuresOf(historyOf([null, null]), { limits: [{ name: 'L', value: 2, alarm: 'a' }], reportEveryMs: MIN })
  expect(none).toMatchObject({ readings: 0, low: null, mean: null, median: null, high: null })
})
