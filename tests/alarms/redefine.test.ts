import { expect, test } from 'vitest'
import type { AlarmDef } from '../../gateway/alarms/alarm.ts'
import { tellFact } from '../../gateway/alarms/engine.ts'
import { redefine } from '../../gateway/alarms/redefine.ts'
import type { Run } from '../../gateway/alarms/engine-state.ts'
import type { Site } from '../../gateway/site/site.ts'
import { watch, type Watch } from './watch.ts'
import { def, limitDef, loop, SITE } from './yard.ts'

const MINUTE = 60_000
const ph = limitDef('tu.ph', { side: 'high', limit: 9, deadband: 0.1, onDelayMs: 5 * MINUTE, offDelayMs: MINUTE }, { priority: 'low' })
const oxygen = limitDef('tu.do', { side: 'low', limit: 2, deadband: 0.3, onDelayMs: 10 * MINUTE, offDelayMs: 2 * MINUTE })
const sump = def({ kind: 'state', signal: 'sump.high-high', value: 1, onDelayMs: 0, offDelayMs: 0 }, { priority: 'high' })
const silent = def({ kind: 'silent', afterMs: 15 * MINUTE })
const blind = def({ kind: 'blind', signal: 'tu.do', afterMs: 30 * MINUTE }, { id: `${SITE}/tu.do.blind` })
const SET = [ph, oxygen, sump, silent, blind]

/** Defines the loop's alarms anew and keeps what was told. */
function become(w: Watch, defs: readonly AlarmDef[], more: { was?: Site; site?: Site } = {}): ReadonlyMap<string, unknown> {
  const now = { nowMs: w.clock.nowMs(), steadyMs: w.clock.steadyMs() }
  const runs: Run[] = [...w.engine.runs.values()].filter((r) => r.def.site === SITE)
  const was = more.was ?? loop()
  const r = redefine(w.engine, { was, site: more.site ?? was, defs, runs, lifeOf: () => undefined, goneNote: () => 'taken out' }, now)
  w.told.push(...r.told)
  return r.gone
}

/** A row every 30 s for so long. */
function rows(w: Watch, seconds: number, values: Readonly<Record<string, number>>): void {
  for (let s = 0; s < seconds; s += 30) {
    w.wait(30)
    w.row(values)
  }
}

const limitOf = (d: AlarmDef, limit: number, version = 2): AlarmDef => {
  if (d.rule.kind !== 'limit') throw new Error('no limit')
  return { ...d, rule: { ...d.rule, limit }, version }
}

test('an alarm that is the same goes on with its delay, its memory and its life, and tells nothing', () => {
  const w = watch(SET)
  w.row({ 'tu.ph': 9.5, 'tu.do': 5, 'sump.high-high': 1 })
  expect(w.news()).toEqual(['raised sump.high-high.test @0'])
  w.wait(30)
  w.row({ 'tu.ph': 9.5, 'tu.do': 5, 'sump.high-high': 1 })
  const runs = [...w.engine.runs.values()]
  become(w, SET)
  expect([...w.engine.runs.values()]).toEqual(runs)
  for (const [i, r] of [...w.engine.runs.values()].entries()) expect(r).toBe(runs[i])
  rows(w, 300, { 'tu.ph': 9.5, 'tu.do': 5, 'sump.high-high': 1 })
  expect(w.news(), 'the delay of pH ran on from its first value').toEqual(['raised tu.ph.test @300'])
})

test('a changed limit is judged at once by the newest value, and its delay begins anew', () => {
  const w = watch(SET)
  w.row({ 'tu.ph': 8.7, 'tu.do': 5 })
  w.wait(20)
  become(w, [limitOf(ph, 8.5), oxygen, sump, silent, blind])
  expect(w.news()).toEqual([])
  for (let s = 30; s <= 330; s += 30) {
    w.wait(s === 30 ? 10 : 30)
    w.row({ 'tu.ph': 8.7, 'tu.do': 5 })
  }
  expect(w.news()).toEqual(['raised tu.ph.test @320'])
  expect(w.view('tu.ph.test')).toMatchObject({ limit: 8.5, def: { version: 2 } })
})

test('what a re-definition raises is stamped in whole milliseconds, whatever the steady clock counts in', () => {
  const w = watch(SET)
  w.row({ 'tu.ph': 8.7 })
  w.clock.advance(100.37)
  become(w, [{ ...ph, version: 2, rule: { kind: 'limit', signal: 'tu.ph', side: 'high', limit: 8.5, deadband: 0.1, onDelayMs: 0, offDelayMs: 0 } }])
  expect(w.told.map((t) => t.event.atMs)).toEqual([w.t0 + 100])
})

test('ALM-62 a standing alarm whose limit is moved out of the way clears by its value, and its raise keeps the version that raised it', () => {
  const w = watch([sump, limitOf(ph, 9, 1)])
  w.row({ 'tu.ph': 9.5 })
  rows(w, 300, { 'tu.ph': 9.5 })
  become(w, [sump, limitOf(ph, 10)])
  rows(w, 90, { 'tu.ph': 9.5 })
  expect(w.told.map((t) => [t.event.kind, t.event.limit, t.event.defVersion])).toEqual([
    ['raised', 9, 1],
    ['cleared', 9, 2],
  ])
})

test('a standing alarm that is still beyond its new limit goes on standing, and nothing is told twice', () => {
  const w = watch(SET)
  w.row({ 'tu.ph': 9.5 })
  rows(w, 300, { 'tu.ph': 9.5 })
  expect(w.news()).toEqual(['raised tu.ph.test @300'])
  become(w, [limitOf(ph, 8.8), oxygen, sump, silent, blind])
  rows(w, 600, { 'tu.ph': 9.5 })
  expect(w.news()).toEqual([])
  expect(w.view('tu.ph.test')).toMatchObject({ state: 'unacknowledged', count: 1 })
})

test('an alarm that is gone ends its occurrence in writing with the reason, and one that never stood goes without a word', () => {
  const w = watch(SET)
  w.row({ 'sump.high-high': 1 })
  w.news()
  const gone = become(w, [oxygen, silent, blind])
  expect(w.news()).toEqual(['closed sump.high-high.test @0'])
  expect(w.told.at(-1)?.event).toMatchObject({ kind: 'closed', note: 'taken out', state: 'normal' })
  expect([...gone.keys()]).toEqual([ph.id, sump.id])
  expect([...w.engine.runs.keys()]).toEqual([oxygen.id, silent.id, blind.id])
  w.wait(30)
  w.row({ 'sump.high-high': 0 })
  w.row({ 'sump.high-high': 1 })
  expect(w.news()).toEqual([])
})

test('a new alarm begins: it is judged by what is known, and by the readings that come', () => {
  const w = watch([oxygen])
  w.row({ 'tu.do': 5, 'tu.ph': 9.5 })
  become(w, [oxygen, sump, { ...ph, rule: { kind: 'limit', signal: 'tu.ph', side: 'high', limit: 9, deadband: 0.1, onDelayMs: 0, offDelayMs: 0 } }])
  w.wait(30)
  w.row({ 'tu.ph': 9.5, 'sump.high-high': 1 })
  expect(w.news().toSorted()).toEqual(['raised sump.high-high.test @30', 'raised tu.ph.test @30'])
})

test('a new signal is given its own time before it counts as never heard, and a new silence counts from its definition', () => {
  const w = watch([oxygen])
  rows(w, 1800, { 'tu.do': 5 })
  become(w, [oxygen, ph, { ...silent, rule: { kind: 'silent', afterMs: MINUTE } }])
  w.wait(30)
  w.row({ 'tu.do': 5 })
  w.tick()
  expect(w.view('tu.ph.test').heldSinceMs).toBeNull()
  expect(w.news()).toEqual([])
  for (let i = 0; i < 5; i++) {
    w.wait(30)
    w.row({ 'tu.do': 5 })
  }
  w.tick()
  expect(w.view('tu.ph.test').heldSinceMs, 'three reports and the link after it was defined').toBe(w.t0 + 1_800_000 + 100_000)
})

test('a site that reports at other intervals keeps what its signals last said, and its running delays', () => {
  const w = watch(SET)
  w.row({ 'tu.ph': 9.5, 'tu.do': 1 })
  const slower = loop((t) => t.replace('reportEvery: 30s', 'reportEvery: 60s'))
  become(w, SET, { site: slower })
  expect(w.engine.inside.signals.get(`${SITE}/tu.ph`)?.memory).toMatchObject({ value: 9.5, reportEveryMs: 60_000, staleAfterMs: 190_000 })
  for (let i = 0; i < 10; i++) {
    w.wait(60)
    w.row({ 'tu.ph': 9.5, 'tu.do': 1 })
  }
  expect(w.news()).toEqual(['raised tu.ph.test @300', 'raised tu.do.test @600'])
})

test('a changed text, a changed priority and other opening hours tell nothing and end no delay', () => {
  const w = watch(SET)
  w.row({ 'tu.ph': 9.5 })
  const open = loop((t) => t.replace('06:00-18:00', '05:00-22:00'))
  become(w, [{ ...ph, cause: 'Too much of the buffer was dosed.', priority: 'medium', version: 2 }, oxygen, sump, silent, blind], { site: open })
  rows(w, 300, { 'tu.ph': 9.5 })
  expect(w.news()).toEqual(['raised tu.ph.test @300'])
  expect(w.view('tu.ph.test').def).toMatchObject({ cause: 'Too much of the buffer was dosed.', priority: 'medium' })
})

test('the lists inside hold every signal and every alarm once, however often a loop is defined anew', () => {
  const w = watch(SET)
  for (const defs of [SET, [oxygen, blind], SET, [limitOf(ph, 8)], [], SET, SET]) {
    become(w, defs)
    const { inside, runs } = w.engine
    expect([...runs.keys()].toSorted()).toEqual(defs.map((d) => d.id).toSorted())
    expect(new Set(inside.entries).size).toBe(inside.entries.length)
    expect(new Set(inside.entries)).toEqual(new Set(inside.signals.values()))
    expect(inside.ticked.map((r) => r.def.id).toSorted()).toEqual(
      defs
        .filter((d) => d.rule.kind === 'silent' || d.rule.kind === 'blind')
        .map((d) => d.id)
        .toSorted(),
    )
    for (const run of [...inside.pending, ...inside.timed, ...inside.entries.flatMap((e) => e.runs)]) expect(runs.get(run.def.id)).toBe(run)
    for (const e of inside.entries) for (const r of e.runs) expect(r.rule.reads).toContain(e.memory)
  }
})

test('faults of a loop are those of its newest definitions', () => {
  const w = watch(SET)
  const wrong = limitDef('tu.nothing', { side: 'high', limit: 9, deadband: 0.1, onDelayMs: 0, offDelayMs: 0 })
  become(w, [...SET, wrong])
  expect(w.engine.faults).toEqual([expect.stringContaining('tu.nothing.test')])
  become(w, SET)
  expect(w.engine.faults).toEqual([])
})

const told = (onDelayMs: number): AlarmDef => def({ kind: 'fact', onDelayMs, offDelayMs: MINUTE }, { id: `${SITE}/site.told` })
function tell(w: Watch, active: boolean): void {
  const now = { nowMs: w.clock.nowMs(), steadyMs: w.clock.steadyMs() }
  w.told.push(...(tellFact(w.engine, `${SITE}/site.told`, { active, atMs: now.nowMs, value: 2, unit: 'min', note: 'Blower 1' }, now) ?? []))
}

test('a fact that stands goes on standing under another delay, and one still in its delay begins it anew without being told again', () => {
  const w = watch([told(0), ph])
  tell(w, true)
  expect(w.news()).toEqual(['raised site.told @0'])
  w.wait(60)
  become(w, [{ ...told(5 * MINUTE), version: 2 }, ph])
  w.wait(600)
  expect(w.news()).toEqual([])
  tell(w, false)
  w.wait(61)
  expect(w.news()).toEqual(['cleared site.told @720'])
  tell(w, true)
  w.news()
  w.wait(60)
  become(w, [{ ...told(2 * MINUTE), version: 3 }, ph])
  w.wait(119)
  expect(w.news()).toEqual([])
  w.wait(2)
  // The occurrence before, never answered, ends with it.
  expect(w.news().map((n) => n.split(' ')[0])).toEqual(['closed', 'raised'])
  expect(w.view('site.told')).toMatchObject({ state: 'unacknowledged', raisedNote: 'Blower 1' })
})
