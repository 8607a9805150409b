import { expect, test } from 'vitest'
import { NOON } from './fake-gateway.ts'
import { openYard } from './yard.ts'

const HOUR = 3_600_000

test('checking in says who, until when and why, on the loop and in the fleet; checking out ends it', async () => {
  const { ask } = await openYard()
  const into = await ask('POST', '/api/loops/upper/check-in', { until: '15:00', why: 'probe' })
  expect(into.statusCode).toBe(200)
  // Lisbon in March: as UTC.
  expect(into.json()).toMatchObject({ is: 'on-site', untilMs: NOON + 3 * HOUR, why: 'probe', overdue: false, visits: [{ fromMs: NOON, untilMs: NOON + 3 * HOUR }] })
  const { loops } = (await ask('GET', '/api/loops')).json()
  expect(loops.map((l: { state: { is: string } }) => l.state.is)).toEqual(['on-site', 'in-service'])
  expect((await ask('GET', '/api/loops/upper')).json().state.is).toBe('on-site')
  expect((await ask('POST', '/api/loops/upper/check-out', {})).json().is).toBe('in-service')
  const said = (await ask('GET', '/api/loops/upper/state')).json()
  expect(said.history.map((h: { act: string; state: string }) => `${h.act} ${h.state}`)).toEqual(['end on-site', 'begin on-site'])
})

test('planned work is begun with an end and a reason, and ended before its time', async () => {
  const { ask } = await openYard()
  expect((await ask('POST', '/api/loops/upper/state', { state: 'planned-work', until: '2026-03-06 17:00', why: 'liner' })).json()).toMatchObject({
    is: 'planned-work',
    untilMs: Date.UTC(2026, 2, 6, 17),
    work: { why: 'liner' },
  })
  expect((await ask('POST', '/api/loops/upper/state/end', { state: 'planned-work' })).json()).toMatchObject({ is: 'in-service', work: null })
})

test.each([
  ['/api/loops/upper/check-in', { until: 'tomorrow' }, 400, 'body field until: "tomorrow" found: a time at the yard such as "15:00"'],
  ['/api/loops/upper/check-in', { until: String(NOON - 1) }, 400, 'the end lies in the past'],
  ['/api/loops/upper/check-in', { until: '2026-03-06 17:00' }, 400, 'nobody stays longer than 16 h'],
  ['/api/loops/upper/check-in', { untill: '15:00' }, 400, '"untill" is no field we know; known are until, why'],
  ['/api/loops/upper/check-out', {}, 409, 'is not checked in at this loop'],
  ['/api/loops/upper/state', { state: 'planned-work', why: 'liner' }, 400, 'planned work needs an end'],
  ['/api/loops/upper/state', { state: 'planned-work', until: '18:00' }, 400, 'why is missing'],
  ['/api/loops/upper/state', { state: 'on-site' }, 400, 'body field state: "on-site" found'],
  ['/api/loops/upper/state/end', { state: 'resting' }, 409, 'not in that state'],
  ['/api/loops/nowhere/check-in', {}, 404, 'no loop "nowhere"'],
] as const)('%s with %j is refused with %d: %s', async (path, body, status, message) => {
  const { ask } = await openYard()
  const reply = await ask('POST', path, body)
  expect(reply.statusCode).toBe(status)
  expect(reply.json().message).toContain(message)
})
