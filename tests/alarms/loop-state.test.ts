import { expect, test } from 'vitest'
import type { AlarmDef } from '../../gateway/alarms/alarm.ts'
import { effectOf, effectWords, learnedSilent, pausesOfStates } from '../../gateway/alarms/loop-effect.ts'
import {
  AFTER_REST_MS,
  AFTER_VISIT_MS,
  applyRecord,
  firstStates,
  GRACE_MS,
  LONGEST_VISIT_MS,
  loopNow,
  refusedState,
  spansOf,
  USUAL_VISIT_MS,
  type LoopStateName,
  type StateRecord,
} from '../../gateway/alarms/loop-state.ts'
import { wallTimeMs } from '../../gateway/site/wall-time.ts'
import { pausedBy } from '../../gateway/trends/learning.ts'

const MIN = 60_000
const HOUR = 60 * MIN
const DAY = 24 * HOUR
const T0 = Date.UTC(2026, 5, 10, 8)

const record = (act: StateRecord['act'], state: LoopStateName | null, atMs: number, more: Partial<StateRecord> = {}): StateRecord => ({
  site: 'yard',
  act,
  state,
  person: state === 'on-site' ? 'Ines' : null,
  atMs,
  fromMs: null,
  untilMs: null,
  why: null,
  by: 'Ines',
  recordedMs: atMs,
  ...more,
})
const after = (...records: readonly StateRecord[]) => records.reduce(applyRecord, firstStates(null))
const process: Pick<AlarmDef, 'class' | 'rule'> = { class: 'process', rule: { kind: 'state', signal: 'x', value: 1, onDelayMs: 0, offDelayMs: 0 } }
const safety = { ...process, class: 'safety' as const }
const environment = { ...process, class: 'environment' as const }
const learned = { ...process, rule: { kind: 'drift' } as unknown as AlarmDef['rule'] }

test('a loop nobody has said anything about is in service, and everything calls as usual', () => {
  const now = loopNow(firstStates(null), T0)
  expect(now).toMatchObject({ is: 'in-service', untilMs: null, visits: [], work: null, overdue: false })
  expect(effectOf(process, now, T0)).toEqual({ suppress: null, onlyTo: null, wake: true })
  expect(effectWords(now, T0)).toEqual([])
})

test('someone on site lies over planned work, which lies over the stage of life; what ends uncovers what lies beneath', () => {
  const s = after(
    record('begin', 'resting', T0, { untilMs: T0 + 30 * DAY }),
    record('begin', 'planned-work', T0 + DAY, { untilMs: T0 + 2 * DAY, why: 'new liner' }),
    record('begin', 'on-site', T0 + DAY + HOUR, { untilMs: T0 + DAY + 4 * HOUR }),
  )
  expect(loopNow(s, T0 + DAY + 2 * HOUR).is).toBe('on-site')
  const left = applyRecord(s, record('end', 'on-site', T0 + DAY + 3 * HOUR))
  expect(loopNow(left, T0 + DAY + 3 * HOUR)).toMatchObject({ is: 'planned-work', why: 'new liner', untilMs: T0 + 2 * DAY })
  expect(loopNow(left, T0 + 2 * DAY - 1).is).toBe('planned-work')
  expect(loopNow(left, T0 + 2 * DAY).is).toBe('resting')
  expect(loopNow(left, T0 + 30 * DAY - 1).is).toBe('resting')
  expect(loopNow(left, T0 + 30 * DAY).is).toBe('in-service')
})

test('a stage of life with an end falls back to the one before it, and one without an end takes its place', () => {
  const rest = after(record('begin', 'commissioning', T0), record('begin', 'resting', T0 + DAY, { untilMs: T0 + 5 * DAY }))
  expect(loopNow(rest, T0 + 2 * DAY).is).toBe('resting')
  expect(loopNow(rest, T0 + 5 * DAY).is).toBe('commissioning')
  const gone = applyRecord(rest, record('begin', 'out-of-contract', T0 + 3 * DAY, { why: 'sold' }))
  expect(loopNow(gone, T0 + 90 * DAY).is).toBe('out-of-contract')
  expect(loopNow(applyRecord(gone, record('begin', 'in-service', T0 + 91 * DAY)), T0 + 92 * DAY).is).toBe('in-service')
})

test('ending what was set by hand falls back as its own end would have', () => {
  const s = after(record('begin', 'commissioning', T0, { untilMs: T0 + 40 * DAY }), record('end', 'commissioning', T0 + 30 * DAY))
  expect(loopNow(s, T0 + 30 * DAY)).toMatchObject({ is: 'in-service', commissionedMs: T0 + 30 * DAY })
  const work = after(record('begin', 'planned-work', T0, { untilMs: T0 + DAY, why: 'x' }), record('end', 'planned-work', T0 + HOUR))
  expect(loopNow(work, T0 + 2 * HOUR).is).toBe('in-service')
})

test('setting a state again moves its end and keeps its beginning', () => {
  const s = after(record('begin', 'on-site', T0, { untilMs: T0 + HOUR, why: 'pump' }), record('begin', 'on-site', T0 + 50 * MIN, { untilMs: T0 + 3 * HOUR }))
  expect(loopNow(s, T0 + 2 * HOUR)).toMatchObject({ is: 'on-site', sinceMs: T0, untilMs: T0 + 3 * HOUR, why: 'pump' })
})

test('the site file may say the first state; records win over it, and its own end counts', () => {
  const first = firstStates({ state: 'commissioning', untilMs: T0, why: 'new' })
  expect(loopNow(first, T0 - 1)).toMatchObject({ is: 'commissioning', by: 'site file' })
  expect(loopNow(first, T0)).toMatchObject({ is: 'in-service', commissionedMs: T0 })
  expect(loopNow(firstStates({ state: 'resting', untilMs: null, why: null }), T0 + 999 * DAY).is).toBe('resting')
})

test('two people are there until the last of them leaves, and the check looks back to before the first', () => {
  const s = after(
    record('begin', 'on-site', T0, { untilMs: T0 + HOUR }),
    record('begin', 'on-site', T0 + 10 * MIN, { person: 'Bo', by: 'Bo', untilMs: T0 + 2 * HOUR }),
    record('end', 'on-site', T0 + 30 * MIN),
  )
  expect(loopNow(s, T0 + 31 * MIN)).toMatchObject({ is: 'on-site', by: 'Bo' })
  const left = applyRecord(s, record('end', 'on-site', T0 + HOUR, { person: 'Bo' }))
  expect(left.left).toEqual({ fromMs: T0, toMs: T0 + HOUR, people: ['Ines', 'Bo'] })
})

test('checking out somebody who is not there changes nothing', () => {
  const s = after(record('begin', 'on-site', T0, { untilMs: T0 + HOUR }))
  expect(applyRecord(s, record('end', 'on-site', T0 + MIN, { person: 'Bo' }))).toEqual(s)
})

test('a check-out is overdue 15 min after its time; from then on alarms go to everybody, and only a check-out or a new time ends it', () => {
  const until = T0 + HOUR
  const s = after(record('begin', 'on-site', T0, { untilMs: until }))
  expect(loopNow(s, until + GRACE_MS - 1)).toMatchObject({ overdue: false, overdueFromMs: until + GRACE_MS })
  expect(effectOf(process, loopNow(s, until + GRACE_MS - 1), T0).suppress).not.toBeNull()
  const late = loopNow(s, until + GRACE_MS)
  expect(late).toMatchObject({ is: 'on-site', overdue: true })
  expect(effectOf(process, late, until + GRACE_MS)).toEqual({ suppress: null, onlyTo: null, wake: true })
  expect(loopNow(s, until + 30 * DAY).overdue).toBe(true)
  expect(loopNow(applyRecord(s, record('begin', 'on-site', until + 20 * MIN, { untilMs: until + 2 * HOUR })), until + 20 * MIN).overdue).toBe(false)
  expect(loopNow(applyRecord(s, record('end', 'on-site', until + 20 * MIN)), until + 20 * MIN).overdue).toBe(false)
})

test('with two people there and one overdue the overdue check-out calls, while alarms still go to the other', () => {
  const s = after(record('begin', 'on-site', T0, { untilMs: T0 + HOUR }), record('begin', 'on-site', T0, { person: 'Bo', untilMs: T0 + 5 * HOUR }))
  const now = loopNow(s, T0 + 2 * HOUR)
  expect(now.overdue).toBe(true)
  expect(effectOf(process, now, T0 + 2 * HOUR).onlyTo).toEqual(['Bo'])
})

test.each([
  ['on-site', process, { suppress: 'loop-state/on-site', onlyTo: ['Ines'], wake: false }],
  ['on-site', safety, { suppress: null, onlyTo: null, wake: true }],
  ['on-site', environment, { suppress: null, onlyTo: null, wake: true }],
  ['planned-work', process, { suppress: 'loop-state/planned-work', onlyTo: ['Ines'], wake: false }],
  ['planned-work', environment, { suppress: null, onlyTo: null, wake: true }],
  ['commissioning', process, { suppress: null, onlyTo: null, wake: true }],
  ['commissioning', learned, { suppress: 'loop-state/commissioning', onlyTo: null, wake: false }],
  ['resting', process, { suppress: null, onlyTo: null, wake: true }],
  ['resting', learned, { suppress: 'loop-state/resting', onlyTo: null, wake: false }],
  ['out-of-contract', process, { suppress: 'loop-state/out-of-contract', onlyTo: null, wake: false }],
  ['out-of-contract', safety, { suppress: null, onlyTo: null, wake: false }],
  ['out-of-contract', learned, { suppress: 'loop-state/out-of-contract', onlyTo: null, wake: false }],
  ['in-service', learned, { suppress: null, onlyTo: null, wake: true }],
] as const)('%s does to an alarm %j: %j', (state, def, what) => {
  const s = after(record('begin', state, T0, { untilMs: T0 + 10 * HOUR, why: 'a reason' }))
  const effect = effectOf(def, loopNow(s, T0 + HOUR), T0 + HOUR)
  expect({ ...effect, suppress: effect.suppress?.ruleId ?? null }).toEqual(what)
})

test('for 15 min after the last check-out alarms go to those who left, then to everybody', () => {
  const s = after(record('begin', 'on-site', T0, { untilMs: T0 + HOUR }), record('end', 'on-site', T0 + 30 * MIN))
  const soon = T0 + 30 * MIN + AFTER_VISIT_MS - 1
  expect(effectOf(process, loopNow(s, soon), soon)).toMatchObject({ suppress: { ruleId: 'loop-state/after-visit' }, onlyTo: ['Ines'] })
  expect(effectOf(safety, loopNow(s, soon), soon).suppress).toBeNull()
  expect(effectOf(process, loopNow(s, soon + 1), soon + 1).suppress).toBeNull()
})

test('learned rules stay silent for 14 days after a rest and 28 after commissioning', () => {
  const rested = after(record('begin', 'resting', T0, { untilMs: T0 + DAY }))
  const end = T0 + DAY + AFTER_REST_MS
  expect(effectOf(learned, loopNow(rested, end - 1), end - 1).suppress?.ruleId).toBe('loop-state/restart')
  expect(effectOf(learned, loopNow(rested, end), end).suppress).toBeNull()
  const made = after(record('begin', 'commissioning', T0, { untilMs: T0 + DAY }))
  expect(learnedSilent(loopNow(made, T0 + DAY + 27 * DAY), T0 + DAY + 27 * DAY)).toMatch(/absolute limits/)
  expect(learnedSilent(loopNow(made, T0 + 29 * DAY), T0 + 29 * DAY)).toBeNull()
})

test('spans tell when the loop was in each state, and learning pauses in those and 14 days after a rest', () => {
  const records = [
    record('begin', 'commissioning', T0, { untilMs: T0 + DAY }),
    record('begin', 'on-site', T0 + 2 * DAY, { untilMs: T0 + 2 * DAY + HOUR }),
    record('end', 'on-site', T0 + 2 * DAY + 2 * HOUR),
    record('begin', 'resting', T0 + 3 * DAY, { untilMs: T0 + 4 * DAY }),
    record('begin', 'planned-work', T0 + 30 * DAY, { untilMs: T0 + 31 * DAY, why: 'x' }),
  ]
  const nowMs = T0 + 30 * DAY + HOUR
  const spans = spansOf(null, records, nowMs).filter((s) => s.state !== 'in-service')
  expect(spans).toEqual([
    { state: 'commissioning', fromMs: T0, toMs: T0 + DAY },
    { state: 'on-site', fromMs: T0 + 2 * DAY, toMs: T0 + 2 * DAY + 2 * HOUR },
    { state: 'resting', fromMs: T0 + 3 * DAY, toMs: T0 + 4 * DAY },
    { state: 'planned-work', fromMs: T0 + 30 * DAY, toMs: null },
  ])
  const pauses = pausesOfStates(spans)
  const why = (atMs: number): string | null => pausedBy(atMs, pauses)?.why ?? null
  expect(why(T0 + HOUR)).toBeNull()
  expect(why(T0 + 2 * DAY + HOUR)).toBe('on-site')
  expect(why(T0 + 4 * DAY + 13 * DAY)).toBe('resting')
  expect(why(T0 + 4 * DAY + 14 * DAY)).toBeNull()
  expect(why(nowMs)).toBe('planned-work')
})

test('an end in the past, a visit longer than 16 h, planned work without an end or a reason are refused in words', () => {
  expect(refusedState('on-site', T0, T0, 'x')).toMatch(/past/)
  expect(refusedState('on-site', T0, T0 + LONGEST_VISIT_MS + 1, null)).toMatch(/16 h/)
  expect(refusedState('on-site', T0, T0 + USUAL_VISIT_MS, null)).toBeNull()
  expect(refusedState('planned-work', T0, null, 'x')).toMatch(/needs an end/)
  expect(refusedState('planned-work', T0, T0 + 15 * DAY, 'x')).toMatch(/14 days/)
  expect(refusedState('planned-work', T0, T0 + DAY, ' ')).toMatch(/why/)
  expect(refusedState('out-of-contract', T0, null, null)).toMatch(/why/)
  expect(refusedState('resting', T0, null, null)).toBeNull()
})

// Changes of the clock in 2026 by the IANA time zone database: Europe 29 March 01:00 UTC and 25 October 01:00 UTC.
test('a time of day is the next one on the wall of the yard, also over the days the clock is changed', () => {
  const iso = (text: string, zone: string, now: string): string => {
    const at = wallTimeMs(text, zone, Date.parse(now))
    return typeof at === 'string' ? at : new Date(at).toISOString()
  }
  expect(iso('15:00', 'Europe/Lisbon', '2026-06-10T08:00:00Z')).toBe('2026-06-10T14:00:00.000Z')
  expect(iso('08:00', 'Europe/Lisbon', '2026-06-10T08:00:00Z')).toBe('2026-06-11T07:00:00.000Z')
  // Said on Saturday evening, meant for Sunday morning on the other side of the change.
  expect(iso('07:00', 'Europe/Lisbon', '2026-03-28T20:00:00Z')).toBe('2026-03-29T06:00:00.000Z')
  expect(iso('07:00', 'Europe/Lisbon', '2026-10-24T20:00:00Z')).toBe('2026-10-25T07:00:00.000Z')
  // The hour that happens twice (01:00 to 02:00 in Lisbon): the first; within the first one, the second is still to come.
  expect(iso('01:30', 'Europe/Lisbon', '2026-10-24T20:00:00Z')).toBe('2026-10-25T00:30:00.000Z')
  // The hour that is left out.
  expect(iso('01:30', 'Europe/Lisbon', '2026-03-28T20:00:00Z')).toBe('2026-03-29T01:30:00.000Z')
  expect(iso('2026-12-24', 'Europe/Berlin', '2026-06-10T08:00:00Z')).toBe('2026-12-24T23:00:00.000Z')
  expect(iso('2026-07-01 06:30', 'Europe/Berlin', '2026-06-10T08:00:00Z')).toBe('2026-07-01T04:30:00.000Z')
  expect(iso('2026-02-30', 'Europe/Berlin', '2026-01-10T08:00:00Z')).toMatch(/no day/)
  expect(iso('25:00', 'Europe/Berlin', '2026-01-10T08:00:00Z')).toMatch(/such as/)
})

test('a rest to a date and a visit over the night of a change end at that wall time', () => {
  const zone = 'Europe/Berlin'
  const nowMs = Date.UTC(2026, 9, 24, 18)
  const until = wallTimeMs('07:00', zone, nowMs) as number
  expect(until - nowMs).toBe(12 * HOUR)
  const s = after(record('begin', 'on-site', nowMs, { untilMs: until }))
  expect(loopNow(s, until + GRACE_MS - 1).overdue).toBe(false)
  expect(loopNow(s, until + GRACE_MS).overdue).toBe(true)
})
