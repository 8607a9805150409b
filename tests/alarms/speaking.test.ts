/** Alarms that hang together: levels of one signal, a silent loop, suppression from outside, re-alarms, first out. */
import { expect, test } from 'vitest'
import type { AlarmEvent } from '../../gateway/alarms/alarm.ts'
import { act, suppress } from '../../gateway/alarms/living.ts'
import { rebuild } from '../../gateway/alarms/life.ts'
import { shelfBound } from '../../gateway/alarms/shelf-bound.ts'
import { RE_ALARM_MOST } from '../../gateway/alarms/timers.ts'
import { watch, type Watch } from './watch.ts'
import { def, limitDef, SITE } from './yard.ts'

const MIN = 60
const LOW = limitDef('tu.do', { side: 'low', limit: 2, deadband: 0.2, onDelayMs: 60_000, offDelayMs: 0 }, { id: `${SITE}/do.low`, what: 'Little oxygen' })
const LOWLOW = limitDef('tu.do', { side: 'low', limit: 0.5, deadband: 0.2, onDelayMs: 0, offDelayMs: 0 }, { id: `${SITE}/do.low-low`, what: 'No oxygen', priority: 'high' })
const PH = limitDef('tu.ph', { side: 'high', limit: 9, deadband: 0.1, onDelayMs: 0, offDelayMs: 0 }, { id: `${SITE}/ph.high` })
const ACID = def({ kind: 'state', signal: 'acid.run', value: 1, onDelayMs: 0, offDelayMs: 0 }, { id: `${SITE}/acid` })
const SILENT = def({ kind: 'silent', afterMs: 900_000 }, { id: `${SITE}/site.silent` })
const BLIND = def({ kind: 'blind', signal: 'tu.ph', afterMs: 900_000 }, { id: `${SITE}/ph.blind` })

const now = (w: Watch) => ({ nowMs: w.clock.nowMs(), steadyMs: w.clock.steadyMs() })
function answer(w: Watch, rule: string, by = 'J. Orme'): void {
  const a = act(w.engine, `${SITE}/${rule}`, { kind: 'acknowledge', atMs: w.clock.nowMs(), occurrence: w.view(rule).occurrence ?? '', version: null, by, note: null }, now(w))
  expect(a?.refused).toBeNull()
  w.told.push(...(a?.told ?? []))
}
/** Readings every 30 s, so that nothing goes stale. */
function go(w: Watch, values: Readonly<Record<string, number | null>>, seconds: number): void {
  for (let s = 0; s < seconds; s += 30) {
    w.row(values)
    w.wait(30)
  }
}
const kinds = (w: Watch): string[] => w.news().map((n) => n.replace(/ @.*/, ''))
const lives = (w: Watch) => rebuild(w.told.map((t): AlarmEvent => t.event))

test('ALM-T08 the step up from low to low-low is announced although low was answered; the step down leaves low answered', () => {
  const w = watch([LOW, LOWLOW])
  go(w, { 'tu.do': 1.5 }, 90)
  answer(w, 'do.low')
  expect(kinds(w)).toEqual(['raised do.low', 'acknowledged do.low'])
  go(w, { 'tu.do': 0.3 }, 30)
  expect(kinds(w)).toEqual(['raised do.low-low', 'stepped-up do.low'])
  expect(w.view('do.low')).toMatchObject({ shown: 'suppressed', suppressed: { ruleId: LOWLOW.id, reason: '"No oxygen" speaks for it' } })
  expect(w.view('do.low-low').shown).toBe('unacknowledged')
  answer(w, 'do.low-low', 'A. Reyes')
  w.news()
  go(w, { 'tu.do': 1.2 }, 30)
  expect(kinds(w)).toEqual(['cleared do.low-low', 'suppressed do.low'])
  go(w, { 'tu.do': 1.2 }, 90)
  expect(kinds(w)).toEqual(['unsuppressed do.low'])
  expect(w.view('do.low')).toMatchObject({ shown: 'acknowledged', acknowledgedBy: 'A. Reyes' })
})

test('a value that falls through both levels at once calls once: low is hidden and counted, and asks for an answer only if nobody answered low-low', () => {
  const w = watch([LOW, LOWLOW])
  go(w, { 'tu.do': 0.3 }, 120)
  expect(kinds(w)).toEqual(['raised do.low-low', 'suppressed do.low', 'raised-hidden do.low'])
  expect(w.view('do.low').hiddenCount).toBe(1)
  go(w, { 'tu.do': 1.2 }, 120)
  expect(kinds(w)).toEqual(['cleared do.low-low', 'suppressed do.low', 'unsuppressed do.low', 'raised do.low'])
  expect(w.view('do.low').shown).toBe('unacknowledged')
})

test('ALM-T23 when both have recovered by the end of the settle delay, low is never told', () => {
  const w = watch([LOW, LOWLOW])
  go(w, { 'tu.do': 0.3 }, 120)
  go(w, { 'tu.do': 4 }, 120)
  expect(kinds(w).filter((k) => k.endsWith('raised do.low') || k.endsWith('unsuppressed do.low'))).toEqual(['unsuppressed do.low'])
  expect(w.view('do.low')).toMatchObject({ shown: 'normal', occurrence: null })
})

test('ALM-56 a level whose input is held speaks for nobody: the lower one comes back', () => {
  const w = watch([LOW, LOWLOW])
  go(w, { 'tu.do': 0.3 }, 120)
  expect(w.view('do.low').shown).toBe('suppressed')
  w.row({ 'tu.do': null })
  w.wait(90)
  expect(w.view('do.low-low').heldSinceMs).not.toBeNull()
  expect(w.view('do.low').shown).toBe('unacknowledged')
})

test('gas speaks for itself at every level, and so does what latches and a low level more urgent than the high one', () => {
  const pair = (more: object, moreHigh: object) =>
    watch([
      limitDef('sump.h2s', { side: 'high', limit: 5, deadband: 1, onDelayMs: 0, offDelayMs: 0 }, { id: `${SITE}/h2s.high`, ...more }),
      limitDef('sump.h2s', { side: 'high', limit: 10, deadband: 1, onDelayMs: 0, offDelayMs: 0 }, { id: `${SITE}/h2s.high-high`, ...moreHigh }),
    ])
  for (const [a, b] of [
    [{ class: 'safety' }, { class: 'safety' }],
    [{ latching: true }, {}],
    [{ priority: 'high' }, { priority: 'low' }],
  ] as const) {
    const w = pair(a, b)
    w.row({ 'sump.h2s': 12 })
    expect(kinds(w)).toEqual(['raised h2s.high', 'raised h2s.high-high'])
  }
  const plain = pair({}, {})
  plain.row({ 'sump.h2s': 12 })
  expect(plain.view('h2s.high').shown).toBe('suppressed')
})

test('ALM-34 a silent loop suppresses the blind alarms of its signals and is itself announced; it comes back, and they settle', () => {
  const w = watch([SILENT, BLIND, PH])
  go(w, { 'tu.do': 3, 'tu.ph': 7 }, 60)
  for (let i = 0; i < 40; i++) go(w, { 'tu.do': 3 }, 30)
  expect(kinds(w)).toEqual(['raised ph.blind'])
  w.wait(20 * MIN)
  expect(kinds(w)).toEqual(['raised site.silent', 'stepped-up ph.blind'].map((k) => k.replace('stepped-up', 'suppressed')))
  expect(w.view('ph.blind')).toMatchObject({ shown: 'suppressed', suppressed: { ruleId: SILENT.id } })
  go(w, { 'tu.do': 3, 'tu.ph': 7 }, 16 * MIN)
  expect(w.view('ph.blind').shown).toBe('normal')
  expect(kinds(w).filter((k) => k.startsWith('raised'))).toEqual([])
})

test('ALM-T22/T23/ALM-55 suppression from outside hides and counts, ends after the settle delay, and never hides the alarm that starts it', () => {
  const w = watch([LOW, ACID])
  const told = suppress(w.engine, LOW.id, { ruleId: ACID.id, reason: 'acid is being dosed' }, now(w))
  expect(told?.map((t) => t.event.kind)).toEqual(['suppressed'])
  expect(suppress(w.engine, ACID.id, { ruleId: ACID.id, reason: 'acid is being dosed' }, now(w))).toBeNull()
  expect(suppress(w.engine, `${SITE}/none`, null, now(w))).toBeNull()
  expect(suppress(w.engine, LOW.id, { ruleId: ACID.id, reason: 'acid is being dosed' }, now(w))).toEqual([])
  go(w, { 'tu.do': 1, 'acid.run': 1 }, 90)
  expect(kinds(w)).toEqual(['raised acid', 'raised-hidden do.low'])
  suppress(w.engine, LOW.id, null, now(w))
  expect(w.view('do.low').shown).toBe('suppressed')
  go(w, { 'tu.do': 1, 'acid.run': 1 }, 90)
  expect(kinds(w)).toEqual(['unsuppressed do.low', 'raised do.low'])
})

test('a suppression that comes back while it settles goes on without a word', () => {
  const w = watch([LOW])
  suppress(w.engine, LOW.id, { ruleId: 'work', reason: 'planned work' }, now(w))
  suppress(w.engine, LOW.id, null, now(w))
  w.wait(30)
  suppress(w.engine, LOW.id, { ruleId: 'work', reason: 'planned work' }, now(w))
  w.wait(3600)
  expect(w.view('do.low')).toMatchObject({ shown: 'suppressed', suppressed: { endsMs: null } })
})

test('ALM-T07/ALM-15 acknowledged and then nothing: medium is announced again after 90 min, three times, and no more', () => {
  const w = watch([PH])
  go(w, { 'tu.ph': 9.5 }, 30)
  for (let i = 0; i < RE_ALARM_MOST; i++) {
    answer(w, 'ph.high')
    go(w, { 'tu.ph': 9.5 }, 89 * MIN)
    expect(w.view('ph.high').state).toBe('acknowledged')
    go(w, { 'tu.ph': 9.5 }, 2 * MIN)
    expect(w.view('ph.high')).toMatchObject({ state: 'unacknowledged', reAlarms: i + 1 })
  }
  answer(w, 'ph.high')
  go(w, { 'tu.ph': 9.5 }, 180 * MIN)
  expect(w.view('ph.high').state).toBe('acknowledged')
  expect(kinds(w).filter((k) => k.startsWith('raised'))).toHaveLength(1)
})

test('a high alarm is announced again after 30 min, a low one and an alert never', () => {
  const at = (priority: 'high' | 'low' | 'alert') =>
    limitDef('tu.ph', { side: 'high', limit: 9, deadband: 0.1, onDelayMs: 0, offDelayMs: 0 }, { id: `${SITE}/ph.${priority}`, priority })
  const w = watch([at('high'), { ...at('low'), rule: { ...LOW.rule, signal: 'tu.ph', limit: 99 } as never }, at('alert')])
  go(w, { 'tu.ph': 9.5 }, 120)
  answer(w, 'ph.high')
  answer(w, 'ph.low')
  go(w, { 'tu.ph': 9.5 }, 31 * MIN)
  expect(w.told.filter((t) => t.event.kind === 're-alarmed').map((t) => t.event.alarm)).toEqual([`${SITE}/ph.high`])
})

test('an entry in the log of the loop since the answer keeps it quiet; one from before does not', () => {
  const w = watch([PH])
  const site = w.engine.inside.sites[0]
  if (!site) throw new Error('no site')
  site.attendedMs = w.clock.nowMs()
  go(w, { 'tu.ph': 9.5 }, 30)
  answer(w, 'ph.high')
  go(w, { 'tu.ph': 9.5 }, 91 * MIN)
  expect(w.view('ph.high').state).toBe('unacknowledged')
  answer(w, 'ph.high')
  go(w, { 'tu.ph': 9.5 }, 10 * MIN)
  site.attendedMs = w.clock.nowMs()
  go(w, { 'tu.ph': 9.5 }, 200 * MIN)
  expect(w.view('ph.high').state).toBe('acknowledged')
})

test('ALM-08 first out: the first to rise since all were normal, kept until all are normal again, also when it has cleared itself', () => {
  const w = watch([PH, ACID, LOW])
  go(w, { 'tu.ph': 9.5 }, 30)
  go(w, { 'tu.ph': 9.5, 'acid.run': 1 }, 30)
  expect([w.view('ph.high').firstOut, w.view('acid').firstOut]).toEqual([true, false])
  answer(w, 'ph.high')
  go(w, { 'tu.ph': 7, 'acid.run': 1 }, 30)
  expect(w.view('ph.high')).toMatchObject({ state: 'normal', firstOut: true })
  answer(w, 'acid')
  go(w, { 'tu.ph': 7, 'acid.run': 0 }, 30)
  expect(w.view('ph.high').firstOut).toBe(false)
  go(w, { 'tu.ph': 7, 'acid.run': 1 }, 30)
  go(w, { 'tu.ph': 9.5, 'acid.run': 1 }, 30)
  expect([w.view('ph.high').firstOut, w.view('acid').firstOut]).toEqual([false, true])
  // A restart knows it from the journal.
  const again = watch([PH, ACID, LOW], { startMs: w.clock.nowMs(), lives: lives(w) })
  expect([again.view('ph.high').firstOut, again.view('acid').firstOut]).toEqual([false, true])
})

test('ALM-T18/T19/ALM-21 a shelf that ended while the gateway was down ends once at the start, and what is still there is announced once', () => {
  const w = watch([PH])
  go(w, { 'tu.ph': 9.5 }, 30)
  answer(w, 'ph.high')
  const shelve = {
    kind: 'shelve',
    atMs: w.clock.nowMs(),
    untilMs: w.clock.nowMs() + 600_000,
    oneShot: false,
    reason: 'part on its way',
    by: 'A. Reyes',
    version: null,
    bound: { latestMs: w.clock.nowMs() + 600_000, words: '' },
  } as const
  w.told.push(...(act(w.engine, PH.id, shelve, now(w))?.told ?? []))
  w.wait(60)
  expect(w.view('ph.high').shown).toBe('shelved')
  const later = watch([PH], { startMs: w.clock.nowMs() + 3_600_000, lives: lives(w) })
  later.tick()
  expect(kinds(later)).toEqual(['unshelved ph.high', 'closed ph.high', 'raised ph.high'])
  later.wait(3600)
  expect(kinds(later)).toEqual(['held ph.high'])
  expect(later.view('ph.high')).toMatchObject({ shown: 'unacknowledged', raisedMs: w.view('ph.high').raisedMs })
})

test('ALM-51 how long an alarm may rest: low 24 h, high 1 h, medium until 08:00 of the next working day and at most 72 h, safety not at all', () => {
  const at = (text: string) => Date.parse(text)
  const bound = (priority: 'high' | 'medium' | 'low', text: string, zone = 'Europe/London') => {
    const { latestMs } = shelfBound({ priority, class: 'process' }, zone, at(text))
    return latestMs === null ? null : new Date(latestMs).toISOString().slice(0, 16)
  }
  expect(bound('low', '2026-01-06T10:00Z')).toBe('2026-01-07T10:00')
  expect(bound('high', '2026-01-06T10:00Z')).toBe('2026-01-06T11:00')
  expect(bound('medium', '2026-01-06T10:00Z')).toBe('2026-01-07T08:00')
  expect(bound('medium', '2026-01-09T17:07Z')).toBe('2026-01-12T08:00')
  expect(bound('medium', '2026-01-09T07:00Z')).toBe('2026-01-12T07:00')
  expect(bound('medium', '2026-01-11T03:00Z')).toBe('2026-01-12T08:00')
  // On the wall of the loop, over the change to summer time.
  expect(bound('medium', '2026-03-28T12:00Z')).toBe('2026-03-30T07:00')
  expect(bound('medium', '2026-01-06T23:30Z', 'Europe/Berlin')).toBe('2026-01-08T07:00')
  expect(shelfBound({ priority: 'low', class: 'safety' }, 'UTC', 0).latestMs).toBeNull()
})
