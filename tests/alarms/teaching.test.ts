import { expect, test } from 'vitest'
import type { AlarmDef, Priority } from '../../gateway/alarms/alarm.ts'
import { redefine } from '../../gateway/alarms/redefine.ts'
import { watch, type Watch } from './watch.ts'
import { def, loop, SITE } from './yard.ts'

/** Reports once an hour. */
const yard = loop((t) => t.replaceAll('30s', '60min'))

const DAY = 86_400_000
const HOUR = DAY / 24
const usual = def(
  {
    kind: 'deviation',
    signal: 'tu.ph',
    from: { kind: 'median', spanMs: 7 * DAY, leastMs: DAY },
    as: 'difference',
    side: 'high',
    limit: 1,
    deadband: 0.1,
    onDelayMs: 0,
    offDelayMs: 0,
  },
  { id: `${SITE}/tu.ph.usual`, stage: 'tu', priority: 'medium' },
)
const contact = (signal: string, stage: string | null, priority: Priority): AlarmDef => def({ kind: 'state', signal, value: 1, onDelayMs: 0, offDelayMs: 0 }, { stage, priority })

/** Slots the median has learned. */
const learned = (w: Watch): number => w.engine.runs.get(usual.id)?.rule.learned?.[0]?.keep()[0]?.length ?? -1
function hours(w: Watch, n: number, row: Readonly<Record<string, number>>): number {
  const before = learned(w)
  for (let h = 0; h < n; h++) {
    w.row(row)
    w.wait(HOUR / 1000)
  }
  return learned(w) - before
}
const pause = (w: Watch, on: boolean): void => {
  for (const s of w.engine.inside.sites) s.teaching.paused = on
}

test('a median learns hour by hour, and nothing while the state of the loop is not its usual one', () => {
  const w = watch([usual], { site: yard })
  hours(w, 2, { 'tu.ph': 7 })
  expect(hours(w, 24, { 'tu.ph': 7 })).toBe(24)
  pause(w, true)
  expect(hours(w, 24, { 'tu.ph': 7.6 })).toBe(0)
  pause(w, false)
  // The first reading after a pause is learned when the next one comes.
  expect(hours(w, 24, { 'tu.ph': 7 })).toBe(23)
})

test.each([
  ['of high priority at its stage', 'tu', 'high', 'nothing'],
  ['of medium priority at its stage', 'tu', 'medium', 'nothing'],
  ['of medium priority at no stage in particular', null, 'medium', 'nothing'],
  ['of low priority at its stage', 'tu', 'low', 'on'],
  ['that is an alert at its stage', 'tu', 'alert', 'on'],
  ['of high priority at another stage', 'bio1', 'high', 'on'],
] as const)('while an alarm stands %s (%s, %s), a rule beside it learns %s', (_, stage, priority, learns) => {
  const w = watch([usual, contact('common.trip', stage, priority)], { site: yard })
  hours(w, 2, { 'tu.ph': 7, 'common.trip': 0 })
  w.row({ 'tu.ph': 7, 'common.trip': 1 })
  const n = hours(w, 24, { 'tu.ph': 7, 'common.trip': 1 })
  // The reading before the trip may be learned with it.
  if (learns === 'nothing') expect(n).toBeLessThanOrEqual(1)
  else expect(n).toBeGreaterThanOrEqual(23)
  w.row({ 'tu.ph': 7, 'common.trip': 0 })
  expect(hours(w, 24, { 'tu.ph': 7, 'common.trip': 0 })).toBeGreaterThanOrEqual(23)
})

test('its own alarm does not keep a rule from learning: what has stood as long as the span is the new normal', () => {
  const w = watch([usual], { site: yard })
  hours(w, 30, { 'tu.ph': 7 })
  w.news()
  hours(w, 7 * 24 + 2, { 'tu.ph': 8.5 })
  expect(w.news().map((n) => n.split(' ')[0])).toEqual(['raised'])
  hours(w, 7 * 24, { 'tu.ph': 8.5 })
  expect(w.news().map((n) => n.split(' ')[0])).toEqual(['cleared'])
})

test('a standing alarm goes on keeping others from learning over a restart and a re-definition, and no longer when it is taken out', () => {
  const trip = contact('common.trip', 'tu', 'high')
  const first = watch([usual, trip], { site: yard })
  first.row({ 'tu.ph': 7, 'common.trip': 1 })
  const lives = new Map([...first.engine.runs].map(([id, r]) => [id, r.life]))
  const w = watch([usual, trip], { lives, site: yard })
  expect(hours(w, 24, { 'tu.ph': 7 })).toBe(0)
  const become = (defs: readonly AlarmDef[]): void => {
    const now = { nowMs: w.clock.nowMs(), steadyMs: w.clock.steadyMs() }
    redefine(w.engine, { was: yard, site: yard, defs, runs: [...w.engine.runs.values()], lifeOf: () => undefined, goneNote: () => 'taken out' }, now)
  }
  // Another limit: the rule is made anew.
  const moved = { ...usual, version: 2, rule: { ...usual.rule, limit: 2 } as AlarmDef['rule'] }
  become([moved, trip])
  expect(hours(w, 24, { 'tu.ph': 7 })).toBe(0)
  pause(w, true)
  become([moved])
  expect(hours(w, 24, { 'tu.ph': 7 }), 'the pause of the loop outlives a re-definition').toBe(0)
  pause(w, false)
  expect(hours(w, 24, { 'tu.ph': 7 })).toBe(23)
})
