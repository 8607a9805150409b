import { expect, test } from 'vitest'
import type { CourseBody } from '../../server/wire.ts'
import { courseSentences, laid, pace } from '../../web/state/course.ts'
import { MIN, NOW, signalOf } from './bodies.ts'

const H = 60 * MIN
const DAY = 24 * H
const oxygen = signalOf({ id: 'tu.do', digits: 1, unit: 'mg/L', unitText: 'mg/L' })

const course = (more: Partial<CourseBody> = {}): CourseBody => ({
  site: 'yard',
  signal: 'tu.do',
  unit: 'mg/L',
  unitText: 'mg/L',
  fromMs: NOW - 14 * DAY,
  toMs: NOW,
  stepMs: H,
  points: 336,
  steps: 336,
  level: 0.95,
  why: null,
  line: { says: 'rising', perDay: { low: 0.01, best: 0.02, high: 0.03 }, atMs: NOW - 7 * DAY, value: 4, bent: false },
  step: null,
  stepWhy: null,
  ...more,
})
const said = (c: CourseBody, signal = oxygen): string => courseSentences(signal, c, 'UTC', NOW, signal.unitText).join(' ')

test('a drift is said with its sign, its interval and a time that fits into the span', () => {
  expect(said(course())).toBe('Rising: +0.14\u00a0mg/L per week, between +0.07 and +0.21.')
  expect(said(course({ fromMs: NOW - 7 * DAY }))).toBe('Rising: +0.020\u00a0mg/L per day, between +0.010 and +0.030.')
  expect([1, 36, 37, 240, 241].map((h) => pace({ fromMs: 0, toMs: h * H }).word)).toEqual(['hour', 'hour', 'day', 'day', 'week'])
  const none = course({ line: { says: 'none told', perDay: { low: -0.02, best: 0, high: 0.03 }, atMs: NOW, value: 4, bent: true }, stepWhy: 'chance gives as much' })
  expect(said(none)).toBe(
    'No drift told: 0.00\u00a0mg/L per week, between \u22120.14 and +0.21. The course is not one straight line: this is its direction over the whole span. No step in level: chance gives as much.',
  )
  expect(said(course(), { ...oxygen, unitText: '' })).toContain('+0.14 per week')
})

test('a step is said with the time it lies in and both levels, and the line that would mislead is not drawn', () => {
  const step = { lastBeforeMs: NOW - 4 * H - 30 * MIN, firstAfterMs: NOW - 3 * H - 30 * MIN, earliestMs: NOW - 6 * H, latestMs: null, before: 4.12, after: 3.98 }
  const c = course({ step })
  expect(said(c)).toBe(
    'The level changed at Mon 23:16, between Mon 21:16 and its end or later: 4.1 before, 4.0\u00a0mg/L after. One line through both halves would mislead and is not drawn; it would say +0.14\u00a0mg/L per week, between +0.07 and +0.21.',
  )
  expect(laid(c)).toEqual({ fromMs: c.fromMs, toMs: c.toMs, line: null, step: { atMs: NOW - 4 * H, earliestMs: NOW - 6 * H, latestMs: null, before: 4.12, after: 3.98 } })
})

test('the line and both edges of its interval go through one place, and nothing is drawn of what cannot be told', () => {
  const l = laid(course())?.line
  const round = (ends: readonly [number, number] | undefined): number[] => (ends ?? []).map((v) => Math.round(v * 1e6) / 1e6)
  expect([round(l?.best), round(l?.low), round(l?.high)]).toEqual([
    [3.86, 4.14],
    [3.93, 4.07],
    [3.79, 4.21],
  ])
  const blind = course({ why: 'it did not move at all: 4.0 mg/L throughout', line: null })
  expect(laid(blind)).toBeNull()
  expect(said(blind)).toBe('No drift and no step can be told: it did not move at all: 4.0 mg/L throughout.')
})
