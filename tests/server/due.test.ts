import { expect, test } from 'vitest'
import type { DueItem } from '../../gateway/due/item.ts'
import { alarmDef, alarmView, NOON } from './fake-gateway.ts'
import { openYard } from './yard.ts'

const DAY = 86_400_000
const item = (site: string, more: Partial<DueItem>): DueItem => ({
  site,
  id: 'probe tu.ph',
  kind: 'probe',
  what: 'Clean and calibrate pH, treatment unit',
  stage: 'tu',
  dueMs: NOON - 3 * DAY,
  why: 'Last done 1 Oct 2026; every 28 days.',
  bring: 'Buffers 7 and 10.',
  settles: null,
  ...more,
})

const proof = {
  id: 'acid-max-run',
  what: 'Timer',
  fitted: 'yes',
  provedOn: null,
  prove: 'Hold the call.',
  everyDays: 31,
  provedMs: NOON - DAY,
  provedBy: 'Marit',
  dueMs: NOON + 30 * DAY,
} as const

test('the due list of a loop comes with its protections and the alarms that count on each', async () => {
  const { ask, gateway } = await openYard()
  gateway.setAlarm(alarmView(alarmDef('upper', 'acid.run.long', { protection: 'acid-max-run', what: 'Acid pump does not stop' })))
  gateway.dueLists = [{ site: 'upper', atMs: NOON, items: [item('upper', {})], proofs: [proof] }]
  const reply = await ask('GET', '/api/loops/upper/due')
  expect(reply.statusCode).toBe(200)
  expect(reply.json()).toMatchObject({
    site: 'upper',
    items: [{ id: 'probe tu.ph', dueMs: NOON - 3 * DAY, why: expect.any(String), bring: 'Buffers 7 and 10.' }],
    protections: [{ id: 'acid-max-run', fitted: 'yes', provedBy: 'Marit', provedMs: NOON - DAY }],
  })
  expect((await ask('GET', '/api/loops/nowhere/due')).statusCode).toBe(404)
})

test('the list of the fleet is sorted by date over all loops, tells how many have not been worked out, and narrows to one loop', async () => {
  const { ask, gateway } = await openYard()
  const [a, b] = gateway.sites().map((s) => s.site.id)
  if (!a || !b) throw new Error('two loops are needed')
  gateway.dueLists = [
    { site: a, atMs: NOON, items: [item(a, { dueMs: NOON + DAY, id: 'x' }), item(a, { dueMs: null, id: 'y' })], proofs: [] },
    { site: b, atMs: NOON, items: [item(b, { dueMs: NOON - DAY, id: 'z' })], proofs: [] },
  ]
  const all = (await ask('GET', '/api/due')).json() as { waiting: number; items: { id: string; site: string }[] }
  expect(all.items.map((i) => i.id)).toEqual(['z', 'y', 'x'])
  expect(all.waiting).toBe(gateway.sites().length - 2)
  expect(((await ask('GET', `/api/due?site=${b}`)).json() as typeof all).items.map((i) => i.id)).toEqual(['z'])
  expect((await ask('GET', '/api/due?site=nowhere')).statusCode).toBe(404)
})

test('the list as CSV has a line for each thing due, and no text a spreadsheet would run', async () => {
  const { ask, gateway } = await openYard()
  gateway.dueLists = [{ site: 'upper', atMs: NOON, items: [item('upper', { what: '=HYPERLINK("x"), now', why: 'two\r\nlines' })], proofs: [] }]
  const reply = await ask('GET', '/api/due.csv?site=upper')
  expect(reply.headers['content-type']).toMatch(/^text\/csv/)
  const [head, ...rest] = reply.body.split('\r\n')
  expect(head).toBe('loop,name,due,overdue_days,kind,what,where,why,bring')
  expect(rest.join('\r\n')).toMatch(/^upper,.*,3,probe,"'=HYPERLINK\(""x""\), now",.*,"two\r\nlines",Buffers 7 and 10\.\r\n$/s)
})

test('ALM-40 every alarm comes with its record, for the page and as CSV of one loop or of all', async () => {
  const { ask, gateway } = await openYard()
  gateway.setAlarm(alarmView(alarmDef('upper', 'tu.do.low', { owner: 'Ida Holm', reviewedOn: '2026-01-31', reviewBy: '2027-01-31' })))
  const body = (await ask('GET', '/api/rules/upper')).json() as { rules: Record<string, unknown>[]; mix: Record<string, number> }
  expect(body.rules.find((r) => r.id === 'upper/tu.do.low')).toMatchObject({
    owner: 'Ida Holm',
    reviewBy: '2027-01-31',
    respondWithinMin: 60,
    priorityBecause: expect.any(String),
    suppressed: expect.any(String),
    shelveMostMin: 72 * 60,
    protection: null,
  })
  expect(Object.values(body.mix).reduce((a, b) => a + b, 0)).toBe(body.rules.length)
  const one = (await ask('GET', '/api/rules.csv?site=upper')).body.trimEnd().split('\r\n')
  const all = (await ask('GET', '/api/rules.csv')).body.trimEnd().split('\r\n')
  expect(one[0]).toMatch(/^loop,alarm,stage,what,kind,priority,.*owner,reviewed,review_by,version$/)
  expect(one).toHaveLength(body.rules.length + 1)
  expect(all.length).toBeGreaterThanOrEqual(one.length)
  expect((await ask('GET', '/api/rules.csv?site=nowhere')).statusCode).toBe(404)
})

test('a proof may be written about a protection the site file does not speak of yet, and not about one no loop has', async () => {
  const { ask } = await openYard()
  const write = (about: string) => ask('POST', '/api/log', { site: 'upper', kind: 'interlock-proved', atMs: NOON - 1000, about })
  expect((await write('backflow-preventer')).statusCode).toBe(201)
  expect((await write('flux-compensator')).statusCode).toBe(400)
})
