import { expect, test } from 'vitest'
import { alarmDef, alarmView, NOON } from './fake-gateway.ts'
import { openYard } from './yard.ts'

const url = (verb: string): string => `/api/alarms/upper%2Ftu.do.low/${verb}`
const HOUR = 3_600_000

test('shelve, take off, out of service, back: each under the name of who asks, each gives the alarm as it is then', async () => {
  const { ask, gateway } = await openYard()
  gateway.setAlarm(alarmView(alarmDef('upper', 'tu.do.low')))
  const shelved = await ask('POST', url('shelve'), { version: 3, untilMs: NOON + HOUR, reason: ' probe on order ' })
  expect([shelved.statusCode, shelved.json()]).toMatchObject([
    200,
    { shown: 'shelved', state: 'unacknowledged', version: 4, shelved: { by: 'Night desk', reason: 'probe on order', untilMs: NOON + HOUR, oneShot: false } },
  ])
  expect((await ask('GET', '/api/alarms')).json().alarms).toEqual([])
  expect((await ask('GET', '/api/set-aside')).json().alarms).toHaveLength(1)
  expect((await ask('GET', '/api/set-aside?site=lower')).json().alarms).toEqual([])
  expect((await ask('POST', url('unshelve'), { version: 4 })).json()).toMatchObject({ shown: 'unacknowledged', shelved: null })
  const out = await ask('POST', url('out-of-service'), { version: 5, reason: 'broken', measure: 'hand meter', reviewMs: NOON + HOUR })
  expect(out.json()).toMatchObject({ shown: 'out-of-service', outOfService: { measure: 'hand meter', overdue: false } })
  expect((await ask('POST', url('in-service'), { version: 6 })).json()).toMatchObject({ shown: 'unacknowledged', outOfService: null })
})

test('ALM-22 a version that has passed, an alarm that is not there and fields that are wrong are each refused by name', async () => {
  const { ask, gateway } = await openYard()
  gateway.setAlarm(alarmView(alarmDef('upper', 'tu.do.low')))
  const refused = async (verb: string, body: object, at = url(verb)) => {
    const r = await ask('POST', at, body)
    return [r.statusCode, r.json().code, r.json().message] as const
  }
  expect(await refused('unshelve', { version: 2 })).toEqual([409, 'stale-version', 'Changed since: it is at version 3.'])
  expect((await refused('in-service', { version: 3 }, '/api/alarms/upper%2Fnone/in-service'))[1]).toBe('unknown-alarm')
  expect(await refused('shelve', { version: 3, reason: 'x' })).toMatchObject([400, 'bad-request', expect.stringContaining('untilMs')])
  expect(await refused('shelve', { untilMs: NOON, reason: 'x' })).toMatchObject([400, 'bad-request', expect.stringContaining('version')])
  expect(await refused('out-of-service', { version: 3, reason: 'x', reviewMs: NOON })).toMatchObject([400, 'bad-request', expect.stringContaining('measure')])
  expect(await refused('unshelve', { version: 3, reason: 'x' })).toMatchObject([400, 'bad-request', expect.stringContaining('reason')])
})

test('an alarm says how long it may rest, and floods are told with names', async () => {
  const { ask, gateway } = await openYard()
  gateway.setAlarm(alarmView(alarmDef('upper', 'tu.do.low')))
  // NOON is a Wednesday, the yard in Lisbon: 08:00 of Thursday.
  expect((await ask('GET', '/api/alarms/upper%2Ftu.do.low')).json().shelf).toEqual({
    latestMs: NOON + 20 * HOUR,
    words: 'A medium alarm rests until 08:00 of the next working day, and 72 h at most.',
  })
  const flood = { sinceMs: NOON, count: 12, peak: 12, lately: 11, firstAlarm: 'upper/tu.do.low', firstMs: NOON }
  gateway.flooding = {
    fleet: { site: null, ...flood },
    sites: [{ site: 'upper', ...flood }],
    groups: [{ rule: 'tu.do.low', sites: ['upper', 'gone'], firstAlarm: 'upper/tu.do.low', sinceMs: NOON, latestMs: NOON }],
  }
  expect((await ask('GET', '/api/set-aside')).json().floods).toMatchObject({
    fleet: { count: 12, firstWhat: 'Low oxygen (tu.do.low)' },
    sites: [{ site: 'upper', siteName: 'Yard upper' }],
    groups: [{ what: 'Low oxygen (tu.do.low)', sites: [{ siteName: 'Yard upper' }, { siteName: 'gone' }] }],
  })
})
