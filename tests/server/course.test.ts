import { expect, test } from 'vitest'
import type { CourseBody } from '../../server/wire.ts'
import { NOON } from './fake-gateway.ts'
import { openYard, type Yard } from './yard.ts'

const HOUR = 3_600_000
const DAY = 24 * HOUR

/** A history in which every short span has the mean that `of` says; null: nothing came. */
function held(yard: Yard, of: (ms: number) => number | null): void {
  Object.assign(yard.gateway.history, {
    buckets: async (keys: readonly string[], fromMs: number, toMs: number, points: number) => {
      yard.gateway.asked.push({ keys, fromMs, toMs, points })
      const bucketMs = Math.ceil((toMs - fromMs) / points)
      return keys.map((key) => ({
        key,
        bucketMs,
        buckets: Array.from({ length: points }, (_, i) => {
          const mean = of(fromMs + i * bucketMs)
          return { fromMs: fromMs + i * bucketMs, count: mean === null ? 0 : 3, bad: 0, min: mean, max: mean, mean, first: mean, last: mean, worst: mean === null ? null : 'good' }
        }),
      }))
    },
  })
}
const ask = async (yard: Yard, signal: string, fromMs: number, toMs = NOON): Promise<CourseBody> => {
  const reply = await yard.ask('GET', `/api/history/upper/${signal}/course?from=${fromMs}&to=${toMs}`)
  expect(reply.statusCode).toBe(200)
  return reply.json<CourseBody>()
}

test('a drift over a week comes as a slope per day with its interval, from medians of hours, and one wild hour changes nothing', async () => {
  const yard = await openYard()
  held(yard, (ms) => 4 + (0.5 * (ms - NOON)) / DAY + 0.1 * Math.sin(ms / 7e5) + (Math.abs(ms - NOON + 3 * DAY) < 1.5 * HOUR ? 900 : 0))
  const c = await ask(yard, 'tu.do', NOON - 7 * DAY)
  expect(c).toMatchObject({ stepMs: HOUR, steps: 168, points: 168, level: 0.95, why: null, step: null })
  expect(c.line?.says).toBe('rising')
  expect(c.line?.perDay.low).toBeGreaterThan(0.45)
  expect(c.line?.perDay.low).toBeLessThan(0.5)
  expect(c.line?.perDay.high).toBeGreaterThan(0.5)
  expect(c.line?.perDay.high).toBeLessThan(0.55)
})

test('a step comes with both levels and the time in which it lies', async () => {
  const yard = await openYard()
  const at = NOON - 2 * DAY
  held(yard, (ms) => (ms < at ? 4 : 2.5) + 0.2 * Math.sin(ms / 7e5))
  const { step } = await ask(yard, 'tu.do', NOON - 7 * DAY)
  expect(step?.before).toBeCloseTo(4, 1)
  expect(step?.after).toBeCloseTo(2.5, 1)
  expect(step?.earliestMs ?? Number.POSITIVE_INFINITY).toBeLessThanOrEqual(at)
  expect(step?.latestMs ?? 0).toBeGreaterThan(at - HOUR)
})

test.each([
  ['tu.do', () => null, 'only 0 of 168 steps of 1 h have readings and 20 are needed'],
  ['tu.do', () => 4, 'it did not move at all: 4.0 mg/L throughout'],
  ['tu.do', (ms: number) => (Math.floor(ms / HOUR) % 3 === 0 ? 4 : 4.1), 'it moved by less than two of its own steps of 0.1 mg/L'],
  ['blower.run', () => 1, 'it is on or off and has no slope'],
] as const)('a course of %s that cannot be told says why (%#)', async (signal, of, why) => {
  const yard = await openYard()
  held(yard, of)
  expect(await ask(yard, signal, NOON - 7 * DAY)).toMatchObject({ why, line: null, step: null })
})

test('however long the span, at most 360 steps of twelve means are read, and nothing of a signal without a course', async () => {
  const yard = await openYard()
  for (const days of [0.02, 1, 30, 400, 20_000]) await ask(yard, 'tu.do', NOON - days * DAY)
  await ask(yard, 'blower.run', NOON - DAY)
  expect(yard.gateway.asked).toHaveLength(5)
  for (const a of yard.gateway.asked) expect(a.points).toBeLessThanOrEqual(360 * 12)
})

test('a loop or signal that is not there, and a span that runs backwards, are refused', async () => {
  const yard = await openYard()
  const code = async (url: string): Promise<string> => (await yard.ask('GET', url)).json<{ code: string }>().code
  expect(await code('/api/history/uper/tu.do/course')).toBe('unknown-loop')
  expect(await code('/api/history/upper/tu.od/course')).toBe('unknown-signal')
  expect(await code(`/api/history/upper/tu.do/course?from=${NOON}&to=${NOON - 1}`)).toBe('bad-request')
})
