/** The journal and the changes of alarms through the API. */
import { expect, test } from 'vitest'
import type { JournalledEvent, JournalQuery } from '../../gateway/alarms/event-query.ts'
import { journalCsv } from '../../server/bodies/journal-csv.ts'
import { changesBody, journalBody } from '../../server/wire.ts'
import { alarmDef, alarmEvent, alarmView, NOON } from './fake-gateway.ts'
import { openYard } from './yard.ts'

test('filters go to the journal as they were asked, a search is widened to the rules whose alarms say the words, and one line more tells that there is more', async () => {
  const yard = await openYard()
  yard.gateway.setAlarm(alarmView(alarmDef('upper', 'tu.do.low')))
  const view = alarmView(alarmDef('upper', 'tu.do.low'))
  for (let i = 0; i < 3; i++) yard.gateway.events.push(alarmEvent(view, 'raised', { atMs: NOON - i }))
  const r = await yard.ask('GET', '/api/journal?site=upper&kind=raised&by=A.%20Reyes&text=low%20OXYGEN&limit=2&before=900')
  expect(r.statusCode).toBe(200)
  const body = journalBody.parse(r.json())
  expect(body.events).toHaveLength(2)
  expect(body.more).toBe(true)
  expect(body.kinds.map((k) => k.id)).toContain('raised')
  expect(yard.gateway.journalAsked.at(-1)).toMatchObject({
    site: 'upper',
    kind: 'raised',
    by: 'A. Reyes',
    text: { words: 'low OXYGEN', rules: ['tu.do.low'] },
    before: 900,
    limit: 3,
  })
  expect((await yard.ask('GET', '/api/journal?kind=exploded')).json()).toMatchObject({
    code: 'bad-request',
    message: expect.stringMatching(/"exploded" found: one of raised, cleared/),
  })
  expect((await yard.ask('GET', '/api/journal?site=nowhere')).json()).toMatchObject({ code: 'unknown-loop' })
})

test('the CSV is written page by page to its end, quotes what has to be, and hands no formula to the program that opens it', async () => {
  const asked: JournalQuery[] = []
  const event = (seq: number): JournalledEvent => ({ ...alarmEvent(alarmView(alarmDef('upper', 'x')), 'acknowledged', { by: '=cmd|x', note: 'said "no", twice' }), seq })
  const read = async (q: JournalQuery): Promise<JournalledEvent[]> => {
    asked.push(q)
    const from = q.before ?? 2501
    return Array.from({ length: Math.min(1000, from - 1) }, (_, i) => event(from - 1 - i))
  }
  const line = (e: JournalledEvent) => ({ ...e, digits: 1, what: 'Low oxygen', priority: 'medium' as const, siteName: 'Hill, upper' })
  let text = ''
  for await (const piece of journalCsv({ fromMs: 0, toMs: 1e13 }, read, line)) text += piece
  const lines = text.trimEnd().split('\r\n')
  expect(lines).toHaveLength(2501)
  expect(asked.map((q) => q.before)).toEqual([undefined, 1501, 501])
  expect(lines[1]).toBe(
    `2500,2026-03-04T12:00:00.000Z,2026-03-04T12:00:00.000Z,upper,"Hill, upper",upper/x,Low oxygen,medium,acknowledged,answered,1.4,2,mg/L,'=cmd|x,"said ""no"", twice",occ-1,1`,
  )
})

test('changes of an alarm that is none, a number that is none and a body that says nothing are each refused by name', async () => {
  const yard = await openYard()
  expect((await yard.ask('GET', '/api/alarms/upper%2Fnone/change')).json()).toMatchObject({ code: 'unknown-alarm' })
  expect((await yard.ask('POST', '/api/alarms/upper%2Fnone/preview', { fields: { deadband: -1 } })).json()).toMatchObject({
    code: 'bad-request',
    message: expect.stringContaining('-1 found: a deadband is 0 or more'),
  })
  expect((await yard.ask('POST', '/api/alarms/upper%2Fnone/change', { fields: {}, mark: '0' })).json()).toMatchObject({
    code: 'bad-request',
    message: expect.stringContaining('reason'),
  })
  expect((await yard.ask('POST', '/api/changes/7/undo', { reason: 'r' })).json()).toMatchObject({ code: 'unknown-change', message: 'No change has the number 7.' })
  expect(changesBody.parse((await yard.ask('GET', '/api/changes')).json())).toEqual({ changes: [], more: false })
})
