import { expect, test } from 'vitest'
import { fakeGateway, handClock, NOON, reading, testSite } from './fake-gateway.ts'
import { openYard } from './yard.ts'

const MIN = 60_000
const H = 60 * MIN

/** A yard whose history holds what is given, `h` hours before noon. */
async function withHistory(signal: 'blower.run' | 'tu.do', points: readonly (readonly [h: number, value: number | null])[]) {
  const gateway = fakeGateway([testSite('upper')], handClock())
  const yard = await openYard({
    gateway: {
      ...gateway,
      history: {
        ...gateway.history,
        range: async (key, fromMs, toMs) =>
          key !== `upper/${signal}`
            ? []
            : points.map(([h, value]) => ({ ...reading('upper', signal, value), sourceMs: NOON - h * H })).filter((r) => r.sourceMs >= fromMs && r.sourceMs < toMs),
      },
    },
  })
  return yard
}

test('the run bit of a machine becomes hours and starts per span; where nothing was heard the span is null and the total "at least"', async () => {
  const every = Array.from({ length: 120 }, (_, i) => [4 - i / 60, i >= 30 && i < 90 ? 1 : 0] as const)
  const { ask } = await withHistory('blower.run', every)
  const body = (await ask('GET', `/api/counts/upper/blower.run?from=${NOON - 5 * H}&to=${NOON}&points=5`)).json()
  // Between noon - 4 h and noon - 2 h a report each minute; on for the hour in the middle.
  expect(body).toMatchObject({ unit: 'h', by: [null, 0.5, 0.5, expect.closeTo(0, 9), null], total: 1, atLeast: true, starts: 1, rollovers: 0 })
  expect(body.unknownH).toBeGreaterThan(2.8)
  const { machines } = (await ask('GET', '/api/machines/upper')).json()
  expect(machines).toMatchObject([{ id: 'blower', by: 'run', day: { hours: 1, starts: 1, atLeast: true }, meter: null }])
})

test('a signal that does not count up is refused with what to ask instead', async () => {
  const { ask } = await withHistory('tu.do', [])
  const reply = await ask('GET', '/api/counts/upper/tu.do')
  expect([reply.statusCode, reply.json().message]).toEqual([400, expect.stringContaining('"tu.do" is oxygen: only counters and run bits count up')])
})
