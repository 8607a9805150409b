import { afterEach, beforeEach, expect, test } from 'vitest'
import type { AlarmEvent } from '../../gateway/alarms/alarm.ts'
import { checkStates } from '../../gateway/alarms/journal-check.ts'
import { startAlarmKeeper } from '../../gateway/alarms/keeper.ts'
import { makeDisk, settled, type Disk } from './disk.ts'
import { handClock, limitDef, loop, reading, SITE } from './yard.ts'

let disk: Disk
beforeEach(() => {
  disk = makeDisk()
})
afterEach(() => disk.remove())

const DEFS = ['tu.ph', 'tu.do', 'sump.h2s'].map((s) => limitDef(s, { side: 'high', limit: 9, deadband: 0.1, onDelayMs: 0, offDelayMs: 0 }))
const breathe = () => new Promise<void>((next) => setImmediate(next))

/** Three alarms: one that stands and is answered, one that has come and gone, one that stands. */
async function history(): Promise<void> {
  const { db, journal } = await disk.open()
  const clock = handClock()
  const keeper = await startAlarmKeeper({ sites: new Map([[SITE, loop()]]), defs: DEFS, journal, clock, emit: () => undefined })
  const rows = (v: Readonly<Record<string, number>>): void => {
    clock.advance(30_000)
    keeper.onReadings(Object.entries(v).map(([s, x]) => reading(s, x, clock.nowMs())))
  }
  for (let i = 0; i < 30; i++) rows({ 'tu.ph': 9.5, 'tu.do': i % 2 === 0 ? 10 : 1, 'sump.h2s': i === 20 ? 12 : 5 })
  rows({ 'tu.do': 10 })
  await settled(() => keeper.counters().find((c) => c.name === 'journalWaiting')?.value === 0, 'an empty queue')
  const ph = keeper.standing().find((v) => v.def.id.includes('tu.ph'))
  await keeper.acknowledge(ph?.def.id ?? '', ph?.occurrence ?? '', 'A. Reyes', 'seen')
  await keeper.stop()
  await db.destroy()
}

async function opened(emit: (e: AlarmEvent) => void = () => undefined) {
  const { db, journal } = await disk.open()
  const clock = handClock(1_767_700_000_000)
  const keeper = await startAlarmKeeper({ sites: new Map([[SITE, loop()]]), defs: DEFS, journal, clock, emit })
  const check = () => checkStates({ journal, mend: (a, l) => keeper.mend(a, l), breathe, stopped: () => false })
  return { db, journal, clock, keeper, check }
}

test('stored states that are what the journal says are found equal, all of them', async () => {
  await history()
  const { check } = await opened()
  expect(await check()).toEqual({ checked: 3, mended: [], failed: null })
})

test('a corrupted state is told, and rebuilt from the journal in the database and in the running keeper', async () => {
  await history()
  const first = await disk.open()
  await first.db.updateTable('alarm_state').set({ state: 'normal', occurrence: null, acknowledged_by: null }).where('alarm', '=', `${SITE}/tu.ph.test`).execute()
  await first.db.updateTable('alarm_state').set({ count: 2 }).where('alarm', '=', `${SITE}/tu.do.test`).execute()
  await first.db.destroy()
  const told: AlarmEvent[] = []
  const { db, keeper, check } = await opened((e) => told.push(e))
  expect(keeper.standing().map((v) => v.def.id)).not.toContain(`${SITE}/tu.ph.test`)
  const result = await check()
  expect(result.checked).toBe(3)
  expect(result.mended.toSorted()).toEqual([`${SITE}/tu.do.test`, `${SITE}/tu.ph.test`])
  expect(keeper.standing().find((v) => v.def.id === `${SITE}/tu.ph.test`)).toMatchObject({ state: 'acknowledged', acknowledgedBy: 'A. Reyes', note: 'seen', count: 1 })
  expect(keeper.alarmsOf(SITE).find((v) => v.def.id === `${SITE}/tu.do.test`)?.count).toBe(16)
  expect(told, 'it is put right, not announced').toEqual([])
  const row = await db.selectFrom('alarm_state').selectAll().where('alarm', '=', `${SITE}/tu.ph.test`).executeTakeFirstOrThrow()
  expect(row).toMatchObject({ state: 'acknowledged', acknowledged_by: 'A. Reyes' })
})

test('a state that was lost, and one of an alarm the journal has never heard of, are put right as well', async () => {
  await history()
  const first = await disk.open()
  const row = await first.db.selectFrom('alarm_state').selectAll().where('alarm', '=', `${SITE}/tu.ph.test`).executeTakeFirstOrThrow()
  await first.db.deleteFrom('alarm_state').where('alarm', '=', row.alarm).execute()
  await first.db
    .insertInto('alarm_state')
    .values({ ...row, alarm: `${SITE}/made.up` })
    .execute()
  await first.db.destroy()
  const { db, keeper, check, journal } = await opened()
  expect(keeper.standing().some((v) => v.def.id === row.alarm)).toBe(false)
  // Its orphan was ended in writing by the start, so that the journal now knows of it.
  expect((await check()).mended).toContain(row.alarm)
  expect(keeper.standing().find((v) => v.def.id === row.alarm)?.state).toBe('acknowledged')
  expect(await db.selectFrom('alarm_state').selectAll().where('alarm', '=', row.alarm).executeTakeFirst()).toMatchObject({ ...row, seq: expect.any(Number) })
  expect(journal.lives().get(`${SITE}/made.up`)?.state).toBe('normal')
})

test('what happens while the check runs is not mistaken for a difference', async () => {
  await history()
  const { keeper, clock, check, journal } = await opened()
  const running = check()
  keeper.onReadings([reading('tu.ph', 7, clock.nowMs()), reading('sump.h2s', 12, clock.nowMs())])
  expect(await running).toEqual({ checked: 3, mended: [], failed: null })
  await settled(() => journal.lives().get(`${SITE}/sump.h2s.test`)?.state === 'unacknowledged', 'the raise')
  expect((await check()).mended).toEqual([])
})

test('a journal that cannot be read is told and nothing is touched', async () => {
  await history()
  const { journal } = await opened()
  const broken = { ...journal, after: async () => Promise.reject(new Error('disk I/O error')) }
  expect(await checkStates({ journal: broken, mend: () => true, breathe, stopped: () => false })).toEqual({ checked: null, mended: [], failed: 'disk I/O error' })
})
