/**
 * 100,000 random days of a small loop, restarts in between: everything that can happen to an alarm in any order. The journal is a
 * list; a restart rebuilds from it. Seeded, so that a failure can be had again: its number is in the message.
 */
import { expect, test } from 'vitest'
import type { AlarmDef, AlarmEvent } from '../../gateway/alarms/alarm.ts'
import { onReadings, onTick } from '../../gateway/alarms/engine.ts'
import { createEngine, inTrouble, viewOf, type Engine, type Now, type Told } from '../../gateway/alarms/engine-state.ts'
import { BORN, rebuild } from '../../gateway/alarms/life.ts'
import type { PersonInput } from '../../gateway/alarms/life-input.ts'
import { act, suppress } from '../../gateway/alarms/living.ts'
import { isHidden } from '../../gateway/alarms/overlay.ts'
import { def, limitDef, loop, reading, SITE } from './yard.ts'

const RUNS = 100_000
const CHUNKS = 10

const limits = { deadband: 0.1, onDelayMs: 0, offDelayMs: 0 }
const DEFS: readonly AlarmDef[] = [
  limitDef('tu.do', { ...limits, side: 'low', limit: 2, onDelayMs: 60_000 }, { id: `${SITE}/do.low` }),
  limitDef('tu.do', { ...limits, side: 'low', limit: 0.5 }, { id: `${SITE}/do.low-low`, priority: 'high' }),
  limitDef('sump.h2s', { ...limits, side: 'high', limit: 5 }, { id: `${SITE}/h2s.high`, latching: true, class: 'safety', priority: 'high' }),
  def({ kind: 'state', signal: 'panel.auto', value: 0, onDelayMs: 0, offDelayMs: 0 }, { id: `${SITE}/auto`, priority: 'alert' }),
  def({ kind: 'silent', afterMs: 900_000 }, { id: `${SITE}/site.silent`, priority: 'low' }),
  def({ kind: 'blind', signal: 'tu.do', afterMs: 900_000 }, { id: `${SITE}/do.blind` }),
]
const yard = loop()

/** mulberry32 */
function random(seed: number): () => number {
  let a = seed
  return () => {
    a = (a + 0x6d2b79f5) | 0
    let t = Math.imul(a ^ (a >>> 15), 1 | a)
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t
    return ((t ^ (t >>> 14)) >>> 0) / 4_294_967_296
  }
}

interface Tally {
  events: number
  restarts: number
  readonly kinds: Map<string, number>
}

function day(seed: number, tally: Tally): void {
  const next = random(seed)
  const pick = <T>(all: readonly T[]): T => all[Math.floor(next() * all.length)] as T
  let nowMs = 1_767_600_000_000
  let heard: number | null = null
  const journal: AlarmEvent[] = []
  const say = (what: string): string => `run ${seed}: ${what}`
  const now = (): Now => ({ nowMs, steadyMs: nowMs - 1_767_000_000_000 })
  let engine: Engine = createEngine(DEFS, [yard], now())
  const take = (told: readonly Told[]): void => {
    for (const t of told) journal.push(t.event)
  }
  const values = { 'tu.do': 3, 'sump.h2s': 0, 'panel.auto': 1 }
  const row = (broken: boolean): void => {
    heard = nowMs
    take(
      onReadings(
        engine,
        Object.entries(values).map(([s, v]) => reading(s, broken && s === 'tu.do' ? null : v, nowMs)),
        now(),
      ),
    )
  }
  const tick = (): void => take(onTick(engine, now(), () => heard))
  const wait = (seconds: number): void => {
    nowMs += seconds * 1000
    tick()
  }
  const person = (alarm: string, input: PersonInput): void => take(act(engine, alarm, input, now())?.told ?? [])
  const restart = (): void => {
    tally.restarts++
    const lives = rebuild(journal)
    for (const run of engine.runs.values()) {
      const memory = JSON.stringify(run.life)
      if (JSON.stringify(lives.get(run.def.id) ?? BORN) !== memory) expect(lives.get(run.def.id) ?? BORN, say('journal and memory')).toEqual(run.life)
    }
    const before = [...engine.runs.values()].map((r) => viewOf(r).firstOut)
    engine = createEngine(DEFS, [yard], now(), lives)
    const after = [...engine.runs.values()].map((r) => viewOf(r).firstOut)
    if (before.join() !== after.join()) expect(after, say('first out')).toEqual(before)
  }

  const steps = 12 + Math.floor(next() * 16)
  for (let i = 0; i < steps; i++) {
    const alarm = pick(DEFS).id
    const life = engine.runs.get(alarm)?.life ?? BORN
    const by = { atMs: nowMs, by: pick(['J. Orme', 'A. Reyes']), version: next() < 0.1 ? life.version - 1 : life.version }
    switch (Math.floor(next() * 14)) {
      case 0:
      case 1:
      case 2:
      case 3:
        values['tu.do'] = pick([3, 1.5, 0.3, 2.05])
        values['sump.h2s'] = pick([0, 0, 8])
        values['panel.auto'] = pick([0, 1])
        row(next() < 0.1)
        break
      case 4:
      case 5:
        wait(pick([1, 30, 60, 600, 1800, 5500]))
        break
      case 6:
      case 7:
        person(alarm, { kind: 'acknowledge', ...by, occurrence: life.occurrence ?? '-', note: null })
        break
      case 8:
        person(alarm, { kind: 'reset', ...by, occurrence: life.occurrence ?? '-', note: null })
        break
      case 9:
        if (life.shelved && next() < 0.5) person(alarm, { kind: 'unshelve', ...by })
        else {
          const bound = { latestMs: alarm.includes('h2s') ? null : nowMs + 3_600_000, words: 'no longer' }
          person(alarm, { kind: 'shelve', ...by, untilMs: nowMs + pick([60, 3600, 7200]) * 1000, oneShot: next() < 0.3, reason: 'waiting', bound })
        }
        break
      case 10:
        if (life.outOfService) person(alarm, { kind: 'in-service', ...by })
        else person(alarm, { kind: 'out-of-service', ...by, reason: 'in repair', measure: 'looked at daily', reviewMs: nowMs + 600_000 })
        break
      case 11:
        take(suppress(engine, alarm, next() < 0.5 ? null : { ruleId: pick(['work', 'visit']), reason: 'planned' }, now()) ?? [])
        break
      case 12: {
        const site = engine.inside.sites[0]
        if (site && next() < 0.3) site.attendedMs = nowMs
        break
      }
      default:
        restart()
        if (next() < 0.5) nowMs += 3_600_000
    }
  }

  // Everything that lies over an alarm is taken off; oxygen is gone, the rest is well.
  restart()
  for (const { id } of DEFS) {
    take(suppress(engine, id, null, now()) ?? [])
    if (engine.runs.get(id)?.life.outOfService) person(id, { kind: 'in-service', atMs: nowMs, by: 'J. Orme', version: null })
  }
  Object.assign(values, { 'tu.do': 0.3, 'sump.h2s': 0, 'panel.auto': 1 })
  for (let i = 0; i < 150; i += 30) {
    row(false)
    wait(30)
  }
  nowMs += 7_200_000
  row(false)
  wait(30)
  row(false)
  tick()
  restart()

  const raised = journal.filter((e) => e.kind === 'raised').map((e) => e.occurrence)
  if (new Set(raised).size !== raised.length) throw new Error(say(`announced twice: ${raised.join(' ')}`))
  const told = new Set([...raised, ...journal.filter((e) => e.facts?.answeredBy !== undefined).map((e) => e.occurrence)])
  const again = new Map<string, number>()
  for (const e of journal) {
    if (e.kind === 're-alarmed') again.set(e.occurrence, (again.get(e.occurrence) ?? 0) + 1)
    tally.kinds.set(e.kind, (tally.kinds.get(e.kind) ?? 0) + 1)
  }
  if (Math.max(0, ...again.values()) > 3) throw new Error(say('announced again more than three times'))
  tally.events += journal.length
  let troubled = 0
  for (const { def: d, life } of engine.runs.values()) {
    troubled += Number(inTrouble({ def: d }, life))
    // Whatever stands in plain sight has been told.
    if (life.occurrence !== null && !isHidden(life) && !told.has(life.occurrence)) throw new Error(say(`${d.id} stands and was never told`))
  }
  if (engine.inside.sites[0]?.troubled !== troubled) throw new Error(say('alarms in trouble are miscounted'))
  const shown = (rule: string): string => {
    const run = engine.runs.get(`${SITE}/${rule}`)
    return run ? viewOf(run).shown : '?'
  }
  const is = (rule: string, want: RegExp): void => {
    if (!want.test(shown(rule))) throw new Error(say(`${rule} is ${shown(rule)}: ${journal.map((e) => `${e.kind} ${e.alarm.slice(SITE.length + 1)}`).join(', ')}`))
  }
  is('do.low-low', /^(un)?acknowledged$/)
  is('do.low', /^suppressed$/)
  is('h2s.high', /^(normal|latched-)/)
  is('auto', /^normal$/)
  is('site.silent', /^(normal|returned)$/)
}

const tally: Tally = { events: 0, restarts: 0, kinds: new Map() }

test.each(Array.from({ length: CHUNKS }, (_, i) => i))(
  '100,000 random days, part %i of 0 to 9: the journal gives what was in memory, nothing is announced twice, nothing that stands is untold',
  (part) => {
    for (let i = 0; i < RUNS / CHUNKS; i++) day(part * (RUNS / CHUNKS) + i, tally)
  },
)

test('the days were full: every kind of event happened often, and there were more restarts than days', () => {
  for (const kind of [
    're-alarmed',
    'stepped-up',
    'raised-hidden',
    'cleared-hidden',
    'shelved',
    'unshelved',
    'suppressed',
    'unsuppressed',
    'out-of-service',
    'in-service',
    'review-overdue',
    'held',
    'reset',
  ])
    expect(tally.kinds.get(kind) ?? 0, kind).toBeGreaterThan(500)
  expect(tally.restarts).toBeGreaterThan(RUNS)
  expect(tally.events).toBeGreaterThan(10 * RUNS)
})
