import { afterEach, beforeEach, expect, test } from 'vitest'
import type { AlarmDef, AlarmEvent, AlarmView } from '../../gateway/alarms/alarm.ts'
import { startAlarmKeeper, type AlarmKeeper } from '../../gateway/alarms/keeper.ts'
import { fickle, makeDisk, settled, type Disk, type Fickle } from './disk.ts'
import { def, handClock, limitDef, loop, reading, SITE, type HandClock } from './yard.ts'

let disk: Disk
beforeEach(() => {
  disk = makeDisk()
})
afterEach(() => disk.remove())

const ph = limitDef('tu.ph', { side: 'high', limit: 9, deadband: 0.1, onDelayMs: 0, offDelayMs: 0 })
const sump = def({ kind: 'state', signal: 'sump.high-high', value: 1, onDelayMs: 0, offDelayMs: 0 }, { priority: 'high', severity: 'severe' })
const gas = limitDef('sump.h2s', { side: 'high', limit: 5, deadband: 1, onDelayMs: 0, offDelayMs: 0 }, { priority: 'high', latching: true, class: 'safety' })
const DEFS: readonly AlarmDef[] = [ph, sump, gas]

interface Bench {
  readonly keeper: AlarmKeeper
  readonly journal: Fickle
  readonly clock: HandClock
  readonly emitted: { event: AlarmEvent; view: AlarmView }[]
  readonly close: () => Promise<void>
  values(v: Readonly<Record<string, number | null>>): void
  tick(): void
  idle(): Promise<void>
}

async function bench(more: { defs?: readonly AlarmDef[]; clock?: HandClock; queueBound?: number } = {}): Promise<Bench> {
  const { db, journal } = await disk.open()
  const clock = more.clock ?? handClock()
  const f = fickle(journal)
  const emitted: Bench['emitted'] = []
  const keeper = await startAlarmKeeper({
    sites: new Map([[SITE, loop()]]),
    defs: more.defs ?? DEFS,
    journal: f,
    clock,
    emit: (event, view) => emitted.push({ event, view }),
    ...(more.queueBound !== undefined && { queueBound: more.queueBound }),
  })
  const b: Bench = {
    keeper,
    journal: f,
    clock,
    emitted,
    async close() {
      await keeper.stop()
      await db.destroy()
    },
    values(v) {
      keeper.onReadings(Object.entries(v).map(([s, x]) => reading(s, x, clock.nowMs())))
    },
    tick() {
      keeper.tick(clock.nowMs(), () => clock.nowMs())
    },
    idle: () => settled(() => (counter(keeper, 'journalWaiting') ?? 0) === 0, 'an empty queue'),
  }
  return b
}

const counter = (k: AlarmKeeper, name: string): number | undefined => k.counters().find((c) => c.name === name)?.value
const told = (b: Bench): string[] => b.emitted.map(({ event }) => `${event.kind} ${event.alarm.slice(SITE.length + 1)}`)
const standing = (b: Bench): string[] => b.keeper.standing().map((v) => v.def.id.slice(SITE.length + 1))
const one = (b: Bench): AlarmView => {
  const [v] = b.keeper.standing()
  if (!v) throw new Error('nothing stands')
  return v
}

test('a change is told after it is in the journal and never before, and the list shows it no sooner', async () => {
  const b = await bench()
  b.journal.slow = true
  b.values({ 'tu.ph': 9.5 })
  await settled(() => counter(b.keeper, 'journalWaiting') === 1, 'the raise in the queue')
  expect(told(b)).toEqual([])
  expect(b.keeper.standing()).toEqual([])
  expect(b.keeper.alarmsOf(SITE)[0]?.state).toBe('normal')
  b.journal.go()
  await b.idle()
  expect(told(b)).toEqual(['raised tu.ph.test'])
  expect(standing(b)).toEqual(['tu.ph.test'])
  expect(await b.keeper.journal({ fromMs: 0, toMs: 1e13, limit: 10 })).toHaveLength(1)
})

test('changes of one row go into one transaction and are told in the order they happened', async () => {
  const b = await bench()
  b.values({ 'tu.ph': 9.5, 'sump.high-high': 1, 'sump.h2s': 7 })
  await b.idle()
  expect(b.journal.appended).toEqual([3])
  expect(told(b)).toEqual(['raised tu.ph.test', 'raised sump.high-high.test', 'raised sump.h2s.test'])
  expect(b.emitted.map((e) => e.view.version)).toEqual([1, 1, 1])
})

test('what stands is listed worst first, then newest first', async () => {
  const b = await bench()
  b.values({ 'tu.ph': 9.5 })
  b.clock.advance(1000)
  b.values({ 'sump.high-high': 1 })
  b.clock.advance(1000)
  b.values({ 'sump.h2s': 7 })
  await b.idle()
  expect(standing(b)).toEqual(['sump.h2s.test', 'sump.high-high.test', 'tu.ph.test'])
  expect(b.keeper.standing('elsewhere')).toEqual([])
  expect(b.keeper.alarmsOf(SITE)).toHaveLength(3)
})

test('an answer is given when it is written down, names who and when, and a second one changes nothing', async () => {
  const b = await bench()
  b.values({ 'tu.ph': 9.5 })
  await b.idle()
  const { occurrence, version, def: d } = one(b)
  b.clock.advance(60_000)
  const first = await b.keeper.acknowledge(d.id, occurrence ?? '', 'A. Reyes', 'on my way', version)
  expect(first).toMatchObject({ ok: true, view: { state: 'acknowledged', acknowledgedBy: 'A. Reyes', acknowledgedMs: b.clock.nowMs(), note: 'on my way', version: 2 } })
  const again = await b.keeper.acknowledge(d.id, occurrence ?? '', 'J. Orme', null, version)
  expect(again).toMatchObject({ ok: true, view: { acknowledgedBy: 'A. Reyes', version: 2 } })
  expect(told(b)).toEqual(['raised tu.ph.test', 'acknowledged tu.ph.test'])
})

test('ALM-T29, ALM-22 an unknown alarm, an occurrence that is over and a version that has passed are each refused by name', async () => {
  const b = await bench()
  b.values({ 'tu.ph': 9.5 })
  await b.idle()
  const old = one(b).occurrence ?? ''
  expect(await b.keeper.acknowledge('nowhere/x', old, 'A. Reyes', null)).toMatchObject({ ok: false, code: 'unknown-alarm', message: 'No alarm "nowhere/x" is defined here.' })
  b.clock.advance(1000)
  b.values({ 'tu.ph': 8 })
  await b.idle()
  expect(await b.keeper.acknowledge(ph.id, old, 'A. Reyes', null, 1)).toMatchObject({ ok: false, code: 'stale-version' })
  b.clock.advance(1000)
  b.values({ 'tu.ph': 9.5 })
  await b.idle()
  expect(await b.keeper.acknowledge(ph.id, old, 'A. Reyes', null)).toMatchObject({ ok: false, code: 'stale-occurrence' })
  expect(one(b)).toMatchObject({ state: 'unacknowledged', count: 2 })
})

test('a gas alarm stays until somebody has acknowledged and reset it, though the reading has long been clean', async () => {
  const b = await bench()
  b.values({ 'sump.h2s': 7 })
  b.clock.advance(1000)
  b.values({ 'sump.h2s': 0 })
  await b.idle()
  const v = one(b)
  expect(v.state).toBe('latched-unacknowledged')
  expect(await b.keeper.reset(v.def.id, v.occurrence ?? '', 'A. Reyes', null)).toMatchObject({ ok: false, code: 'not-allowed', message: 'Acknowledge it first, then reset it.' })
  await b.keeper.acknowledge(v.def.id, v.occurrence ?? '', 'A. Reyes', 'ventilated, 0 ppm by hand')
  expect(await b.keeper.reset(v.def.id, v.occurrence ?? '', 'A. Reyes', null)).toMatchObject({ ok: true, view: { state: 'normal' } })
})

test('after a restart nothing is told again, nothing is forgotten, and life goes on from there', async () => {
  const first = await bench()
  first.values({ 'tu.ph': 9.5, 'sump.h2s': 7 })
  await first.idle()
  const [h2s] = first.keeper.standing()
  await first.keeper.acknowledge(h2s?.def.id ?? '', h2s?.occurrence ?? '', 'A. Reyes', 'on it')
  const before = first.keeper.standing()
  await first.close()

  const second = await bench({ clock: first.clock })
  expect(second.keeper.standing()).toEqual(before)
  first.clock.advance(30_000)
  second.values({ 'tu.ph': 9.6, 'sump.h2s': 8 })
  await second.idle()
  expect(told(second)).toEqual([])
  first.clock.advance(30_000)
  second.values({ 'tu.ph': 8, 'sump.h2s': 0 })
  await second.idle()
  expect(told(second)).toEqual(['cleared tu.ph.test', 'cleared sump.h2s.test'])
  expect(second.keeper.standing().map((v) => [v.state, v.acknowledgedBy])).toEqual([
    ['latched-acknowledged', 'A. Reyes'],
    ['returned', null],
  ])
})

test('a condition that ended while the gateway was down is cleared by the first reading, once', async () => {
  const first = await bench()
  first.values({ 'tu.ph': 9.5 })
  await first.idle()
  await first.close()
  const second = await bench({ clock: first.clock })
  first.clock.advance(3_600_000)
  second.values({ 'tu.ph': 7 })
  second.values({ 'tu.ph': 7 })
  await second.idle()
  expect(told(second)).toEqual(['cleared tu.ph.test'])
})

test('an alarm that is no longer defined ends in writing and stands nowhere', async () => {
  const first = await bench()
  first.values({ 'tu.ph': 9.5 })
  await first.idle()
  await first.close()
  const second = await bench({ clock: first.clock, defs: [sump] })
  expect(second.keeper.standing()).toEqual([])
  const [last] = await second.keeper.journal({ fromMs: 0, toMs: 1e13, limit: 1 })
  expect(last).toMatchObject({ kind: 'closed', alarm: ph.id, note: 'no longer in the site file' })
})

test('alarms of a loop whose site file could not be read today wait for it and are not closed', async () => {
  const first = await bench()
  first.values({ 'tu.ph': 9.5 })
  await first.idle()
  const before = first.keeper.standing()
  await first.close()
  const { db, journal } = await disk.open()
  const without = await startAlarmKeeper({ sites: new Map(), defs: [], journal, clock: first.clock, emit: () => undefined })
  expect(without.standing()).toEqual([])
  await without.stop()
  await db.destroy()
  expect((await bench({ clock: first.clock })).keeper.standing()).toEqual(before)
})

test('ALM-62 an occurrence carries the version of the limit that raised it', async () => {
  const first = await bench()
  first.values({ 'tu.ph': 9.5 })
  await first.idle()
  await first.close()
  const lower = limitDef('tu.ph', { side: 'high', limit: 8.5, deadband: 0.1, onDelayMs: 0, offDelayMs: 0 })
  const second = await bench({ clock: first.clock, defs: [lower] })
  first.clock.advance(1000)
  second.values({ 'tu.ph': 7 })
  first.clock.advance(1000)
  second.values({ 'tu.ph': 8.7 })
  await second.idle()
  expect((await second.keeper.journal({ fromMs: 0, toMs: 1e13, limit: 9, kind: 'raised' })).map((e) => [e.defVersion, e.limit])).toEqual([
    [2, 8.5],
    [1, 9],
  ])
})

test('a journal that cannot be written: nothing is told, no answer is taken, the trouble is said, and all follows once it can', async () => {
  const b = await bench()
  b.values({ 'sump.high-high': 1 })
  await b.idle()
  b.journal.fail = 'SQLITE_FULL: database or disk is full'
  b.values({ 'tu.ph': 9.5 })
  await settled(() => (counter(b.keeper, 'journalFailures') ?? 0) > 0, 'a failure')
  expect(told(b)).toEqual(['raised sump.high-high.test'])
  expect(standing(b)).toEqual(['sump.high-high.test'])
  expect(b.keeper.troubles().join()).toMatch(/alarm journal cannot be written since .*disk is full.*1 alarm changes wait.*free the disk/)
  const answer = await b.keeper.acknowledge(sump.id, one(b).occurrence ?? '', 'A. Reyes', null)
  expect(answer).toMatchObject({ ok: false, code: 'not-allowed', message: expect.stringMatching(/cannot be written down.*disk is full/) })
  expect(one(b).state).toBe('unacknowledged')
  b.tick()
  await settled(() => counter(b.keeper, 'journalFailures') === 2, 'another try')
  b.journal.fail = null
  b.tick()
  await b.idle()
  expect(told(b)).toEqual(['raised sump.high-high.test', 'raised tu.ph.test'])
  expect(b.keeper.troubles()).toEqual([])
  expect((await b.keeper.acknowledge(sump.id, b.keeper.standing().find((v) => v.def.id === sump.id)?.occurrence ?? '', 'A. Reyes', null)).ok).toBe(true)
})

test('an answer that fails on its way to the disk is not reported as given, is tried again, and may be repeated', async () => {
  const b = await bench()
  b.values({ 'tu.ph': 9.5 })
  await b.idle()
  const { occurrence } = one(b)
  b.journal.fail = 'SQLITE_IOERR: disk I/O error'
  expect(await b.keeper.acknowledge(ph.id, occurrence ?? '', 'A. Reyes', null)).toMatchObject({ ok: false, message: expect.stringMatching(/Not written down yet: .*I\/O error/) })
  expect(one(b).state).toBe('unacknowledged')
  b.journal.fail = null
  b.tick()
  await b.idle()
  expect(one(b)).toMatchObject({ state: 'acknowledged', acknowledgedBy: 'A. Reyes' })
  expect(await b.keeper.acknowledge(ph.id, occurrence ?? '', 'A. Reyes', null)).toMatchObject({ ok: true })
  expect(told(b)).toEqual(['raised tu.ph.test', 'acknowledged tu.ph.test'])
})

test('a full queue merges further changes to one per alarm: what stands is told when there is room, what came and went is counted', async () => {
  const b = await bench({ queueBound: 2 })
  b.journal.slow = true
  b.values({ 'tu.ph': 9.5 })
  b.clock.advance(1000)
  b.values({ 'tu.ph': 8 })
  b.clock.advance(1000)
  for (let i = 0; i < 50; i++) {
    b.values({ 'tu.ph': i % 2 === 0 ? 9.5 : 8, 'sump.high-high': 1 })
    b.clock.advance(1000)
  }
  expect(counter(b.keeper, 'journalWaiting')).toBe(2)
  expect(b.keeper.troubles().join()).toMatch(/as many as may: further changes are merged/)
  expect(await b.keeper.acknowledge(ph.id, 'x', 'A. Reyes', null)).toMatchObject({ ok: false, code: 'not-allowed' })
  b.journal.slow = false
  b.journal.go()
  await b.idle()
  expect(told(b)).toEqual(['raised tu.ph.test', 'cleared tu.ph.test', 'raised sump.high-high.test'])
  expect(counter(b.keeper, 'journalMerged')).toBe(51)
  expect(b.keeper.troubles()).toEqual([])
  b.values({ 'tu.ph': 9.5 })
  await b.idle()
  expect(told(b).at(-1)).toBe('raised tu.ph.test')
})

test('a listener that fails spoils nothing for the journal, the list or the next change, and is counted', async () => {
  const { journal } = await disk.open()
  const clock = handClock()
  const keeper = await startAlarmKeeper({
    sites: new Map([[SITE, loop()]]),
    defs: DEFS,
    journal,
    clock,
    emit: () => {
      throw new Error('listener')
    },
  })
  keeper.onReadings([reading('tu.ph', 9.5, clock.nowMs()), reading('sump.h2s', 7, clock.nowMs())])
  await settled(() => keeper.standing().length === 2, 'both alarms in the list')
  expect(counter(keeper, 'alarmTellFailures')).toBe(2)
  expect(keeper.troubles().join()).toMatch(/2 alarm changes could not be told/)
})

test('stopping writes down what is waiting and takes nothing more', async () => {
  const b = await bench()
  b.journal.slow = true
  b.values({ 'tu.ph': 9.5 })
  await settled(() => counter(b.keeper, 'journalWaiting') === 1, 'the raise in the queue')
  const stopped = b.keeper.stop()
  b.values({ 'sump.h2s': 7 })
  b.journal.slow = false
  b.journal.go()
  await stopped
  expect(told(b)).toEqual(['raised tu.ph.test'])
  expect(await b.keeper.acknowledge(ph.id, 'x', 'A. Reyes', null)).toMatchObject({ ok: false, code: 'not-allowed', message: expect.stringMatching(/stopping/) })
})

test('every queue has its bound, and every counter says what it counts', async () => {
  const b = await bench()
  for (const c of b.keeper.counters()) expect(c.what).toMatch(/\.$/)
  expect(b.keeper.counters().find((c) => c.name === 'journalWaiting')?.bound).toBe(5000)
})
