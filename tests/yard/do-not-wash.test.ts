import { describe, expect, test } from 'vitest'
import { doNotWash, type WashFacts } from '../../gateway/alarms/do-not-wash.ts'
import type { AlarmView } from '../../gateway/alarms/alarm.ts'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import { alarmsFor } from './loops.ts'
import { applyRecord, firstStates, loopNow, type StateRecord } from '../../gateway/alarms/loop-state.ts'
import { alarmView, NOON } from '../server/fake-gateway.ts'

const { poor, rich } = alarmsFor

const HOUR = 3_600_000
const quiet = loopNow(firstStates(null), NOON)
const record = (more: Partial<StateRecord>): StateRecord => ({
  site: 'yard',
  act: 'begin',
  state: 'planned-work',
  person: null,
  atMs: NOON - HOUR,
  fromMs: null,
  untilMs: NOON + HOUR,
  why: null,
  by: 'Ruth A.',
  recordedMs: NOON - HOUR,
  ...more,
})
const inState = (more: Partial<StateRecord>) => loopNow(applyRecord(firstStates(null), record(more)), NOON)

/** The alarms of a loop, all normal but those named. */
const raised = (loop: typeof rich, ids: readonly string[], more: Partial<AlarmView> = {}): readonly AlarmView[] => {
  for (const id of ids) expect(loop.defs.map((d) => d.id)).toContain(`${loop.site.id}/${id}`)
  return loop.defs.map((d) => alarmView(d, ids.includes(d.id.split('/')[1] ?? '') ? more : { state: 'normal', occurrence: null, raisedMs: null }))
}
const judge = (more: Partial<WashFacts> & { readonly loop?: typeof rich } = {}) =>
  doNotWash({ site: (more.loop ?? rich).site, alarms: raised(more.loop ?? rich, []), block: null, state: quiet, waterMin: 90, ...more })
const kinds = (alarms: readonly AlarmView[], loop = rich): readonly string[] => judge({ alarms, loop }).reasons.map((r) => r.kind)

describe('each alarm that asks the yard to stop is a reason not to wash, by its own name', () => {
  test.each([
    ['blower.no-air', 'air'],
    ['site.visit-check-air', 'air'],
    ['site.power-check-air', 'air'],
    ['tu.do.low-low', 'oxygen'],
    ['sump.level.high', 'sump'],
    ['sump.level.high-high', 'overflow'],
    ['sump.high.wet', 'sump'],
    ['containment.leak.wet', 'leak'],
    ['tu.ph.low-low', 'acid'],
    ['tu.ph.high-high', 'alkaline'],
    ['finished.level.low-low', 'water'],
    ['room.ozone.high', 'gas'],
    ['sump.h2s.high', 'gas'],
  ])('%s says %s', (id, kind) => {
    expect(kinds(raised(rich, [id]))).toEqual([kind])
  })
  test('the finished low float of a loop without a level', () => {
    expect(kinds(raised(poor, ['finished.low.dry']), poor)).toEqual(['water'])
  })
})

test('a finished-water level in per cent, where the volume of the tank is not known, counts as minutes do', () => {
  const { volumeL: _, tank: __, ...unsized } = rich.site.stages.find((s) => s.kind === 'finished') ?? rich.site.stages[0]!
  const site = { ...rich.site, stages: rich.site.stages.map((s) => (s.kind === 'finished' ? { ...unsized, volumeL: null, tank: null } : s)) }
  const loop = { site, defs: defaultAlarms(site).defs }
  expect(kinds(raised(loop, ['finished.level.low-low']), loop)).toEqual(['water'])
  expect(kinds(raised(loop, ['finished.level.low']), loop)).toEqual([])
})

test('what drifts or runs short slowly does not stop a wash', () => {
  for (const id of ['tu.do.low', 'tu.ph.low', 'tu.ph.high', 'finished.level.low', 'site.silent', 'site.overdue']) {
    const there = rich.defs.some((d) => d.id.endsWith(`/${id}`))
    if (there) expect(kinds(raised(rich, [id])), id).toEqual([])
  }
})

describe('whether the condition is there counts, not whether somebody has answered', () => {
  test.each<[string, Partial<AlarmView>, readonly string[]]>([
    ['unanswered', {}, ['air']],
    ['answered', { state: 'acknowledged' }, ['air']],
    ['back to normal, unanswered', { state: 'returned', clearedMs: NOON }, []],
    ['latched and gone', { state: 'latched-unacknowledged', clearedMs: NOON }, []],
    ['held because its data are bad', { heldSinceMs: NOON - 5000 }, ['air']],
    ['shelved', { shelved: { untilMs: NOON + HOUR, oneShot: false, by: 'Ruth A.', reason: 'known', atMs: NOON } }, ['air']],
    ['suppressed by design', { suppressed: { ruleId: 'x', reason: 'known', atMs: NOON, endsMs: null, answeredBy: null } }, []],
    ['out of service', { outOfService: { by: 'Ruth A.', reason: 'probe away', measure: 'look', reviewMs: NOON + HOUR, atMs: NOON, overdue: false } }, []],
  ])('%s', (_, more, expected) => {
    expect(kinds(raised(rich, ['blower.no-air'], more))).toEqual(expected)
  })
})

test('danger to people comes first, then spilling, then the biology, then work that goes on', () => {
  const v = judge({
    alarms: raised(rich, ['blower.no-air', 'tu.ph.low-low', 'sump.level.high-high', 'sump.h2s.high']),
    block: { alarm: 'yard/sump.h2s.high', what: 'Hydrogen sulphide at the sump', sinceMs: NOON - HOUR },
    state: inState({ why: 'new diffusers' }),
    waterMin: 0,
  })
  expect(v.reasons.map((r) => r.kind)).toEqual(['entry', 'gas', 'overflow', 'air', 'acid', 'water', 'work'])
  expect(v.reasons.at(-1)).toMatchObject({ what: 'new diffusers', sinceMs: NOON - HOUR, untilMs: NOON + HOUR })
})

test('of one kind only the one that has stood longest is said', () => {
  const alarms = raised(rich, ['sump.level.high', 'sump.high.wet']).map((a) => (a.def.id.endsWith('high.wet') ? { ...a, raisedMs: NOON - HOUR } : a))
  expect(judge({ alarms }).reasons).toMatchObject([{ kind: 'sump', sinceMs: NOON - HOUR }])
})

test.each<[string, Partial<StateRecord>, readonly string[]]>([
  ['planned work', {}, ['work']],
  ['somebody on site', { state: 'on-site', person: 'Ruth A.' }, ['on-site']],
  ['a visit whose end is past: it may still go on', { state: 'on-site', person: 'Ruth A.', atMs: NOON - 9 * HOUR, untilMs: NOON - HOUR }, ['on-site']],
  ['resting', { state: 'resting', untilMs: null }, ['resting']],
  ['commissioning', { state: 'commissioning', untilMs: null }, []],
  ['planned work that is over', { atMs: NOON - 3 * HOUR, untilMs: NOON - 1 }, []],
])('loop state: %s', (_, more, expected) => {
  expect(judge({ state: inState(more) }).reasons.map((r) => r.kind)).toEqual(expected)
})

test('fewer than 5 min of water are a reason, 5 are none, and not knowing is none', () => {
  const at = (waterMin: number | null): readonly string[] => judge({ waterMin }).reasons.map((r) => r.kind)
  expect([at(4.9), at(5), at(null)]).toEqual([['water'], [], []])
})

test('what no alarm watches is said: a poor loop sees neither acid nor gas, a rich one sees all four', () => {
  expect(judge().blind).toEqual([])
  expect(judge({ loop: poor }).blind).toEqual(['acidity', 'gas'])
})

test('an alarm that is out of service watches nothing', () => {
  const out = { outOfService: { by: 'Ruth A.', reason: 'blower away', measure: 'look', reviewMs: NOON + HOUR, atMs: NOON, overdue: false } }
  const alarms = rich.defs.map((d) => alarmView(d, { state: 'normal', ...(d.rule.kind === 'no-air' && out) }))
  expect(judge({ alarms }).blind).toEqual(['air'])
})
