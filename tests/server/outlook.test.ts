import { expect, test } from 'vitest'
import type { Expected } from '../../gateway/outlook/expected.ts'
import { NOON } from './fake-gateway.ts'
import { openYard } from './yard.ts'

const line = (more: Partial<Expected>): Expected => ({
  id: 'acid',
  what: 'Acid used up',
  stage: 'tu',
  kind: 'stock',
  outlook: { kind: 'reached' },
  basis: null,
  left: null,
  unlock: null,
  ...more,
})

test('forecasts come with a median and both ends; no end in sight is null on purpose, never a figure', async () => {
  const { ask, gateway } = await openYard()
  gateway.outlook.forecasts = {
    atMs: NOON,
    expected: [
      line({
        outlook: { kind: 'forecast', lowMs: NOON + 1000.4, medianMs: NOON + 2000.6, highMs: Number.POSITIVE_INFINITY, from: 28 },
        basis: 'at 3 L a day',
        left: { value: 12, unit: 'L' },
      }),
      line({ id: 'nutrient', outlook: { kind: 'beyond', untilMs: NOON + 9000 } }),
      line({ id: 'paper', outlook: { kind: 'not-observable', because: 'advances of the paper are not counted' }, unlock: 'Index pulses of the paper drive' }),
      line({ id: 'microbes' }),
    ],
  }
  const reply = await ask('GET', '/api/loops/upper/forecasts')
  expect(reply.statusCode).toBe(200)
  const { expected, ...head } = reply.json() as { expected: unknown[] }
  expect(head).toEqual({ site: 'upper', atMs: NOON })
  expect(expected[0]).toMatchObject({
    says: 'told',
    lowMs: NOON + 1000,
    medianMs: NOON + 2001,
    highMs: null,
    from: 28,
    basis: 'at 3 L a day',
    left: { value: 12, unit: 'L' },
    why: null,
  })
  expect(expected[1]).toMatchObject({ says: 'beyond', untilMs: NOON + 9000, medianMs: null })
  expect(expected[2]).toMatchObject({ says: 'withheld', why: 'advances of the paper are not counted', unlock: 'Index pulses of the paper drive', medianMs: null, lowMs: null })
  expect(expected[3]).toMatchObject({ says: 'reached' })
})

test('what is normal comes as two numbers, or with the reason why there is no band yet', async () => {
  const { ask, gateway } = await openYard()
  gateway.outlook.normals = {
    atMs: NOON,
    paused: 'an alarm stands',
    normals: [
      {
        id: 'tu.do',
        band: { low: 7, middle: 8, high: 9, hours: 40, days: 12, notCompared: ['waterCel'] },
        days: 60,
        needed: 28,
        first: { value: 8.2, sd: 0.1, atMs: NOON - 1 },
        against: { offCommissioning: -1, offRolling: -0.8, band: 'inside', crept: false },
      },
      {
        id: 'tu.do.saturation',
        band: { kind: 'not-observable', because: 'only 12 days of this loop are known and 28 are needed: no band yet' },
        days: 12,
        needed: 28,
        first: null,
        against: null,
      },
    ],
  }
  const body = (await ask('GET', '/api/loops/upper/normal')).json()
  expect(body).toMatchObject({ site: 'upper', paused: 'an alarm stands' })
  expect(body.signals[0]).toMatchObject({ id: 'tu.do', band: { low: 7, high: 9, hours: 40 }, first: { value: 8.2 }, against: { offFirst: -1, band: 'inside' }, why: null })
  expect(body.signals[1]).toMatchObject({ band: null, days: 12, needed: 28, first: null, why: 'only 12 days of this loop are known and 28 are needed: no band yet' })
})

test('an outlook of a loop that is not there is refused naming those there are', async () => {
  const { ask } = await openYard()
  for (const what of ['forecasts', 'normal']) expect((await ask('GET', `/api/loops/uper/${what}`)).json()).toMatchObject({ code: 'unknown-loop' })
})
