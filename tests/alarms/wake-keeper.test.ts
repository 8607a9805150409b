import { expect, test } from 'vitest'
import type { AlarmView } from '../../gateway/alarms/alarm.ts'
import type { WakeNote } from '../../gateway/alarms/wake.ts'
import { createWakeKeeper, type LoopSays, type WakeKeeper } from '../../gateway/wake-keeper.ts'
import { alarmDef, alarmEvent, alarmView, handClock, testSite } from '../server/fake-gateway.ts'
import { readHours } from '../../gateway/site/hours.ts'

const MIN = 60_000
const HOUR = 60 * MIN
/** Wednesday 22:00 in Lisbon. */
const NIGHT = Date.UTC(2026, 2, 4, 22)
const spans = (hours: Record<string, string>): Exclude<ReturnType<typeof readHours>, string> => {
  const read = readHours(hours)
  if (typeof read === 'string') throw new Error(read)
  return read
}
const yard = {
  ...testSite('yard'),
  yardPhone: '555-0100',
  staffed: spans({ 'mon-fri': '06:00-20:00' }),
  reach: { driveMin: 60, yardMin: 10, desk: spans({ 'mon-fri': '07:00-17:00' }), assumed: [] },
}

interface Set_ {
  readonly keeper: WakeKeeper
  readonly clock: ReturnType<typeof handClock>
  readonly told: { alarm: string; note: WakeNote }[]
  views: AlarmView[]
  says: LoopSays
}

function start(...views: AlarmView[]): Set_ {
  const clock = handClock(NIGHT)
  const told: Set_['told'] = []
  const all: Set_ = {
    clock,
    told,
    views,
    says: { onSite: null, asleep: null },
    keeper: createWakeKeeper({
      clock,
      standing: () => all.views,
      alarmsOf: () => all.views,
      site: (id) => (id === 'yard' ? { site: yard, heardMs: NIGHT, silent: false, latest: new Map() } : null),
      vitals: () => [],
      loopSays: () => all.says,
      onVerdict: (view, note) => void told.push({ alarm: view.def.id, note }),
    }),
  }
  return all
}
const raise = (s: Set_, view: AlarmView): void => s.keeper.onAlarm(alarmEvent(view, 'raised'), view)

const trip = alarmView(alarmDef('yard', 'tu.low', { respondWithinMin: 12 * 60 }), { raisedMs: NIGHT })

test('an alarm is judged when it is raised, and again every 10 min; only another verdict is told', () => {
  const s = start(trip)
  raise(s, trip)
  expect(s.keeper.of(trip.def.id)).toMatchObject({ verdict: 'morning', leaveByMs: NIGHT + 11 * HOUR, staffedNow: false })
  for (let i = 0; i < 8 * 6; i++) {
    s.clock.advance(10 * MIN)
    s.keeper.tick()
  }
  expect(s.keeper.of(trip.def.id)?.judgedMs).toBe(NIGHT + 8 * HOUR)
  // At 07:00 the desk is staffed, and what was let wait is its first work.
  s.clock.advance(HOUR)
  s.keeper.tick()
  expect(s.told.map((t) => t.note.because)).toEqual(['can-wait', 'desk-staffed'])
})

test('an alarm that is over has no verdict', () => {
  const s = start(trip)
  raise(s, trip)
  s.keeper.onAlarm(alarmEvent(trip, 'cleared'), { ...trip, state: 'returned', clearedMs: NIGHT })
  expect(s.keeper.of(trip.def.id)).toBeNull()
})

test('a person who checks in takes the alarms of the loop, but not gas', () => {
  const gas = alarmView(alarmDef('yard', 'sump.h2s.high', { class: 'safety', latching: true, priority: 'high' }), { raisedMs: NIGHT })
  const low = alarmView(alarmDef('yard', 'tu.do.low-low', { respondWithinMin: 60, priority: 'high' }), { raisedMs: NIGHT })
  const s = start(gas, low)
  raise(s, gas)
  raise(s, low)
  expect(s.told.map((t) => t.note.verdict)).toEqual(['wake', 'wake'])
  s.says = { onSite: 'Ada', asleep: null }
  s.keeper.onLoop('yard')
  expect(s.keeper.of(low.def.id)).toMatchObject({ verdict: 'on-site' })
  expect(s.keeper.of(gas.def.id)).toMatchObject({ verdict: 'wake', because: 'exempt' })
})

test('silence after quiet lets people sleep; silence after trouble does not', () => {
  const silent = alarmView(alarmDef('yard', 'site.silent', { rule: { kind: 'silent', afterMs: 2 * HOUR }, class: 'system' }), { raisedMs: NIGHT })
  const quiet = start(silent)
  raise(quiet, silent)
  expect(quiet.keeper.of(silent.def.id)).toMatchObject({ verdict: 'morning', because: 'blind-yet' })
  const before = start(silent, alarmView(alarmDef('yard', 'blower.no-air', { priority: 'high' }), { raisedMs: NIGHT - HOUR }))
  raise(before, silent)
  expect(before.keeper.of(silent.def.id)).toMatchObject({ verdict: 'wake' })
})
