/** What lies over an alarm, through the keeper and a real journal: refusals, restarts, what the second of two people is told. */
import { sql } from 'kysely'
import { afterEach, beforeEach, expect, test } from 'vitest'
import type { AlarmEvent } from '../../gateway/alarms/alarm.ts'
import { startAlarmKeeper, type AlarmKeeper } from '../../gateway/alarms/keeper.ts'
import { makeDisk, settled, type Disk } from './disk.ts'
import { def, handClock, limitDef, loop, reading, SITE, type HandClock } from './yard.ts'

const MIN = 60_000
let disk: Disk
beforeEach(() => {
  disk = makeDisk()
})
afterEach(() => disk.remove())

const ph = limitDef('tu.ph', { side: 'high', limit: 9, deadband: 0.1, onDelayMs: 0, offDelayMs: 0 })
const gas = limitDef('sump.h2s', { side: 'high', limit: 5, deadband: 1, onDelayMs: 0, offDelayMs: 0 }, { priority: 'high', latching: true, class: 'safety' })
const contacts = Array.from({ length: 12 }, (_, i) => def({ kind: 'state', signal: 'sump.high-high', value: 1, onDelayMs: 0, offDelayMs: 0 }, { id: `${SITE}/contact.${i}` }))

interface Bench {
  readonly keeper: AlarmKeeper
  readonly emitted: AlarmEvent[]
  readonly clock: HandClock
  go(values: Readonly<Record<string, number>>, min?: number): Promise<void>
  close(): Promise<void>
}

async function bench(clock = handClock()): Promise<Bench> {
  const { db, journal } = await disk.open()
  const emitted: AlarmEvent[] = []
  const keeper = await startAlarmKeeper({ sites: new Map([[SITE, loop()]]), defs: [ph, gas, ...contacts], journal, clock, emit: (e) => emitted.push(e) })
  const idle = () => settled(() => keeper.counters().find((c) => c.name === 'journalWaiting')?.value === 0, 'an empty queue')
  return {
    keeper,
    emitted,
    clock,
    async go(values, min = 1) {
      for (let i = 0; i < min * 2; i++) {
        keeper.onReadings(Object.entries(values).map(([s, v]) => reading(s, v, clock.nowMs())))
        clock.advance(30_000)
        keeper.tick(clock.nowMs(), () => clock.nowMs())
      }
      await idle()
    },
    async close() {
      await keeper.stop()
      await db.destroy()
    },
  }
}

const view = (b: Bench, id = ph.id) => {
  const v = b.keeper.alarmsOf(SITE).find((x) => x.def.id === id)
  if (!v) throw new Error(`no ${id}`)
  return v
}

test('ALM-T17/T19/ALM-21 shelved, it leaves the list and is told to nobody; its time over while the gateway is down, it comes back once', async () => {
  const a = await bench()
  await a.go({ 'tu.ph': 9.5 })
  const untilMs = a.clock.nowMs() + 60 * MIN
  const r = await a.keeper.shelve(ph.id, { untilMs, oneShot: false, reason: 'acid comes tomorrow' }, 'J. Orme', view(a).version)
  expect(r).toMatchObject({ ok: true, view: { shown: 'shelved', shelved: { untilMs, by: 'J. Orme', reason: 'acid comes tomorrow' } } })
  expect(a.keeper.standing()).toEqual([])
  expect(a.keeper.setAside().map((v) => v.def.id)).toEqual([ph.id])
  expect(a.keeper.setAside('another-loop')).toEqual([])
  await a.go({ 'tu.ph': 7 })
  await a.go({ 'tu.ph': 9.6 })
  expect(view(a)).toMatchObject({ shown: 'shelved', state: 'unacknowledged', hiddenCount: 1 })
  expect(a.emitted.filter((e) => e.kind === 'raised')).toHaveLength(1)
  await a.close()
  a.clock.advance(90 * MIN)
  const b = await bench(a.clock)
  await b.go({ 'tu.ph': 9.6 })
  expect(b.emitted.map((e) => e.kind)).toEqual(['unshelved', 'raised'])
  expect(b.keeper.standing().map((v) => v.shown)).toEqual(['unacknowledged'])
  await b.close()
  const c = await bench(a.clock)
  await c.go({ 'tu.ph': 9.6 })
  expect(c.emitted).toEqual([])
})

test('ALM-22 the second of two people is told what the first one did, who it was and how long ago, and changes nothing', async () => {
  const b = await bench()
  await b.go({ 'tu.ph': 9.5 })
  const seen = view(b)
  await b.keeper.acknowledge(ph.id, seen.occurrence ?? '', 'A. Reyes', 'on my way', seen.version)
  b.clock.advance(3 * MIN)
  const untilMs = b.clock.nowMs() + 10 * MIN
  const r = await b.keeper.shelve(ph.id, { untilMs, oneShot: false, reason: 'why not' }, 'J. Orme', seen.version)
  expect(r).toEqual({
    ok: false,
    code: 'stale-version',
    message: 'Not done, because it has changed since you looked: acknowledged by A. Reyes 3 min ago ("on my way"). Look at it as it is now, then decide.',
  })
  expect(view(b)).toMatchObject({ shown: 'acknowledged', acknowledgedBy: 'A. Reyes' })
  const again = await b.keeper.shelve(ph.id, { untilMs, oneShot: false, reason: 'why not' }, 'J. Orme', view(b).version)
  expect(again.ok).toBe(true)
})

test('ALM-50/ALM-51 what may not be shelved is refused with the rule in words, and nothing is written', async () => {
  const b = await bench()
  const ask = async (id: string, more: object) => {
    const r = await b.keeper.shelve(id, { untilMs: b.clock.nowMs() + 10 * MIN, oneShot: false, reason: 'x', ...more }, 'J. Orme', 0)
    return r.ok ? 'done' : `${r.code}: ${r.message}`
  }
  expect(await ask(gas.id, {})).toMatch(/^not-allowed: It protects people/)
  expect(await ask(ph.id, { reason: '' })).toMatch(/^not-allowed: A reason is needed/)
  expect(await ask(ph.id, { untilMs: b.clock.nowMs() + 73 * 60 * MIN })).toMatch(/72 h at most/)
  expect(await ask(`${SITE}/none`, {})).toMatch(/^unknown-alarm/)
  expect(b.emitted).toEqual([])
})

test('ALM-T24/T26/ALM-58 out of service stays so when its review date passes: that is a trouble of the product until somebody acts', async () => {
  const b = await bench()
  const request = { reason: 'probe broken', measure: 'hand meter twice a day', reviewMs: b.clock.nowMs() + 10 * MIN }
  expect(await b.keeper.outOfService(gas.id, request, 'J. Orme', 0)).toMatchObject({ ok: true, view: { shown: 'out-of-service' } })
  await b.go({ 'sump.h2s': 8 }, 9)
  expect(b.keeper.troubles()).toEqual([])
  await b.go({ 'sump.h2s': 0 }, 2)
  expect(b.keeper.troubles()).toEqual([`Out of service beyond the date of review: "Something is wrong" at ${SITE}, by J. Orme. Bring it back into service, or set a new date.`])
  expect(view(b, gas.id)).toMatchObject({ shown: 'out-of-service', outOfService: { overdue: true } })
  await b.go({ 'sump.h2s': 0 }, 60)
  expect(b.emitted.filter((e) => e.kind === 'review-overdue')).toHaveLength(1)
  // Gas came and went meanwhile: it is announced when the alarm is back.
  await b.keeper.inService(gas.id, 'A. Reyes', view(b, gas.id).version)
  expect(b.emitted.at(-1)).toMatchObject({ kind: 'raised', state: 'latched-unacknowledged' })
  expect(b.keeper.troubles()).toEqual([])
})

test('an entry in the log of the loop counts as attended, and the alarm is not announced again', async () => {
  const b = await bench()
  await b.go({ 'tu.ph': 9.5 })
  await b.keeper.acknowledge(ph.id, view(b).occurrence ?? '', 'A. Reyes', null)
  b.clock.advance(MIN)
  b.keeper.attended(SITE, b.clock.nowMs())
  await b.go({ 'tu.ph': 9.5 }, 120)
  expect(view(b).shown).toBe('acknowledged')
})

test('ALM-T22 a rule outside suppresses and lets go; the alarm that starts it and one that is not there are refused', async () => {
  const b = await bench()
  expect(b.keeper.suppress(ph.id, { ruleId: 'planned-work', reason: 'planned work until noon' }, b.clock.nowMs())).toBe(true)
  expect(b.keeper.suppress(ph.id, { ruleId: ph.id, reason: 'itself' }, b.clock.nowMs())).toBe(false)
  expect(b.keeper.suppress(`${SITE}/none`, null, b.clock.nowMs())).toBe(false)
  await b.go({ 'tu.ph': 9.5 })
  expect(view(b)).toMatchObject({ shown: 'suppressed', suppressed: { ruleId: 'planned-work', reason: 'planned work until noon' }, hiddenCount: 1 })
  b.keeper.suppress(ph.id, null, b.clock.nowMs())
  await b.go({ 'tu.ph': 9.5 })
  expect(view(b).shown).toBe('unacknowledged')
})

test('ALM-12/ALM-57 a flood is seen, survives a restart, and no alarm is missing from the list', async () => {
  const a = await bench()
  await a.go({ 'sump.high-high': 1 })
  expect(a.keeper.floods()).toMatchObject({ fleet: { count: 12 }, sites: [{ site: SITE, firstAlarm: contacts[0]?.id }] })
  expect(a.keeper.standing()).toHaveLength(12)
  expect(a.keeper.standing().filter((v) => v.firstOut)).toHaveLength(1)
  await a.close()
  const b = await bench(a.clock)
  expect(b.keeper.floods().fleet?.count).toBe(12)
  expect(
    b.keeper
      .standing()
      .filter((v) => v.firstOut)
      .map((v) => v.def.id),
  ).toEqual([contacts[0]?.id])
  a.clock.advance(10 * MIN)
  expect(b.keeper.floods().fleet).toBeNull()
})

test('a database written before any of this is read as it is: what stood goes on standing', async () => {
  const a = await bench()
  await a.go({ 'tu.ph': 9.5 })
  await a.close()
  const { db } = await disk.open()
  // As the step to the new columns leaves what was written before it.
  await sql`UPDATE alarm_journal SET facts = NULL`.execute(db)
  await sql`UPDATE alarm_state SET over = NULL`.execute(db)
  await db.destroy()
  const b = await bench(a.clock)
  await b.go({ 'tu.ph': 9.5 })
  expect(b.emitted).toEqual([])
  expect(view(b)).toMatchObject({ shown: 'unacknowledged', shelved: null, hiddenCount: 0, count: 1 })
})
