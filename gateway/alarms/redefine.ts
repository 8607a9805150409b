/**
 * Alarms of one loop defined anew while the engine runs, after its site file or a change of an alarm. What is the same goes on as
 * if nothing had happened: its delay, what is remembered of its signals, its life. An alarm whose rule has changed keeps its life, is
 * judged at once by the newest known value, and its delay begins anew. One that is gone ends its occurrence in writing.
 *
 * The new alarms are made ready as at the start, by an engine of this one loop, and put into the running one: other loops are not
 * touched, and cost nothing.
 */
import type { Site } from '../site/site.ts'
import type { AlarmDef } from './alarm.ts'
import { ACTIVE, NORMAL } from './delay.ts'
import { judge, tellFact } from './engine.ts'
import { createEngine, inTrouble, sortTimed, viewOf, type Engine, type Entry, type Now, type Run, type SiteMemory, type Told } from './engine-state.ts'
import type { FactRule } from './fact-rule.ts'
import { keepLearned, resumeLearned } from './learned.ts'
import { pair } from './levels.ts'
import { applyEvent, BORN, isActive, type Life } from './life.ts'
import { transition } from './lifecycle.ts'
import { ownClaim, reconcile } from './living.ts'
import { sortStanding } from './teaching.ts'
import { heard, presentOf, type SignalMemory } from './signal-memory.ts'

export interface Redefinition {
  /** As it was when its alarms were last defined; null: a new loop. */
  readonly was: Site | null
  readonly site: Site
  /** All alarms of `site`, with their versions. */
  readonly defs: readonly AlarmDef[]
  /** Its alarms as they are at work now. */
  readonly runs: readonly Run[]
  /** What is remembered of an alarm that is not at work now. */
  readonly lifeOf: (alarm: string) => Life | undefined
  /** Why an alarm is gone, for the journal. */
  readonly goneNote: (alarm: string) => string
}

export interface Redefined {
  readonly told: readonly Told[]
  /** Alarms that are not watched any more, with what is remembered of them. */
  readonly gone: ReadonlyMap<string, Life>
}

/** Changes `engine` in place. It must not be quiet, or ends of occurrences would get lost. */
export function redefine(engine: Engine, to: Redefinition, now: Now): Redefined {
  const { site, defs } = to
  const told: Told[] = []
  const gone = new Map<string, Life>()
  const before = new Map(to.runs.map((r) => [r.def.id, r]))
  const ticked = to.runs.filter((r) => isTicked(r))
  const keys = new Set(to.runs.flatMap((r) => memoriesOf(r).map((m) => m.key)))
  const lives = new Map(defs.map((d) => [d.id, before.get(d.id)?.life ?? to.lifeOf(d.id) ?? BORN]))
  const fresh = freshEngine(engine, site, defs, now, lives)
  const place = placeIn(engine, fresh, site)
  for (const { memory } of fresh.inside.signals.values()) set(memory, { site: place.index })
  const sameYard = to.was !== null && to.was.zone === site.zone && JSON.stringify(to.was.open) === JSON.stringify(site.open)
  const sameMemories = (run: Run): boolean => run.rule.reads.every((m) => fresh.inside.signals.get(m.key)?.memory === m)
  /** What each alarm of the fresh engine is in the running one. */
  const runOf = new Map<Run, Run>()
  const anew: Run[] = []
  const runs = engine.runs as Map<string, Run>

  for (const next of fresh.runs.values()) set(next, { site: place })
  for (const [id, next] of fresh.runs) {
    const run = before.get(id)
    if (!run) {
      runs.set(id, next)
      runOf.set(next, next)
      anew.push(next)
      continue
    }
    runOf.set(next, run)
    const same = JSON.stringify(run.def.rule) === JSON.stringify(next.def.rule) && sameMeaning(run, fresh)
    if (!same || !sameYard || !sameMemories(run)) replaceRule(run, next)
    set(run, { def: next.def, facts: next.facts })
    if (same) continue
    engine.inside.pending.delete(run)
    set(run, { delay: isActive(run.life) ? ACTIVE : NORMAL, delays: next.rule.delays(), frozenMs: null, heldMs: run.life.heldSinceMs })
    anew.push(run)
  }
  for (const [id, run] of before) {
    if (fresh.runs.has(id)) continue
    for (const event of transition(run.life, { kind: 'close', atMs: now.nowMs, note: to.goneNote(id) }, run.facts, now.nowMs).events) {
      run.life = applyEvent(run.life, event)
      told.push({ event, view: viewOf(run) })
    }
    runs.delete(id)
    engine.inside.pending.delete(run)
    engine.inside.timed.delete(run)
    gone.set(id, run.life)
  }
  putEntries(engine, keys, fresh, runOf)
  putList(
    engine.inside.ticked as Run[],
    ticked,
    fresh.inside.ticked.map((r) => runOf.get(r) ?? r),
  )
  putList(
    engine.faults as string[],
    engine.faults.filter((f) => f.startsWith(`${site.id}/`)),
    fresh.faults,
  )
  const all = [...runOf.values()]
  place.teaching.standing.clear()
  for (const run of all) {
    sortTimed(engine.inside.timed, run)
    sortStanding(place.teaching, run)
  }
  place.troubled = all.filter((run) => inTrouble(run, run.life)).length
  pairAnew(engine, all, now, told)
  for (const run of anew) {
    // A fact is not told again until it changes: what was told last is judged under the new delays.
    const fact = 'told' in run.rule ? (run.rule as FactRule).told()?.fact : undefined
    if (fact) told.push(...(tellFact(engine, run.def.id, { ...fact, atMs: Math.max(fact.atMs, now.nowMs) }, now) ?? []))
    const m = run.rule.restsOn()
    // Event times are whole ms, the steady clock counts finer.
    if (m && heard(m)) judge(engine, run, Math.round(presentOf(m, now.steadyMs)), now, told)
  }
  return { told, gone }
}

/** Gives an alarm the life the journal says it has. Its condition is judged anew with the next reading. */
export function mendLife(engine: Engine, run: Run, life: Life): void {
  engine.inside.pending.delete(run)
  set(run, { life, delay: isActive(life) ? ACTIVE : NORMAL, heldMs: life.heldSinceMs })
  sortTimed(engine.inside.timed, run)
  sortStanding(run.site.teaching, run)
}

/** What is read-only for everybody else is put together here. */
const set = <T extends object>(target: T, fields: Partial<T>): T => Object.assign(target, fields)

/** The rule is made anew; what it had learned, and what it was last told, it knows still, where that is of the same shape. */
function replaceRule(run: Run, next: Run): void {
  const kept = keepLearned([run])
  const { learnedToMs } = run
  const fact = 'told' in run.rule ? (run.rule as FactRule).told() : null
  set(run, { rule: next.rule, watched: next.watched })
  resumeLearned([run], kept)
  run.learnedToMs = learnedToMs
  if (fact && 'tell' in run.rule) (run.rule as FactRule).tell(fact.fact, fact.steadyMs)
}

/** Which alarms speak for which follows from the limits, and those may have moved. */
function pairAnew(engine: Engine, runs: readonly Run[], now: Now, told: Told[]): void {
  for (const run of runs) set(run, { spokenForBy: [], speaksFor: [] })
  pair(runs)
  for (const run of runs) {
    const was = run.own
    run.own = ownClaim(run)
    if (was?.ruleId !== run.own?.ruleId) reconcile(engine, run, null, now, told)
  }
}

/** An engine of this loop alone. Signals that are what they were keep their memory; one that only reports otherwise keeps what it said. */
function freshEngine(engine: Engine, site: Site, defs: readonly AlarmDef[], now: Now, lives: ReadonlyMap<string, Life>): Engine {
  const kept = new Map<string, SignalMemory>()
  const said = new Map<string, SignalMemory>()
  for (const [key, { memory }] of createEngine(defs, [site], now).inside.signals) {
    const was = engine.inside.signals.get(key)?.memory
    if (was?.unit !== memory.unit || was.kind !== memory.kind) continue
    if (was.reportEveryMs === memory.reportEveryMs && was.staleAfterMs === memory.staleAfterMs) kept.set(key, was)
    else said.set(key, was)
  }
  const fresh = createEngine(defs, [site], now, lives, new Map(), kept)
  for (const [key, was] of said) {
    const memory = fresh.inside.signals.get(key)?.memory
    if (!memory) continue
    const { value, sourceMs, stampMs, steadyMs, heldSinceMs, cameLate, busySinceMs } = was
    set(memory, { value, sourceMs, stampMs, steadyMs, heldSinceMs, cameLate, busySinceMs })
  }
  return fresh
}

const isTicked = ({ def: { rule } }: Run): boolean => rule.kind === 'silent' || rule.kind === 'blind' || rule.kind === 'fact'
const memoriesOf = (run: Run): readonly SignalMemory[] => (run.watched ? [...run.rule.reads, run.watched] : run.rule.reads)

/** Every signal the alarm read says the same in the same unit as before. */
const sameMeaning = (run: Run, fresh: Engine): boolean =>
  memoriesOf(run).every((m) => {
    const next = fresh.inside.signals.get(m.key)?.memory
    return next?.unit === m.unit && next.kind === m.kind
  })

function placeIn(engine: Engine, fresh: Engine, site: Site): SiteMemory {
  const next = fresh.inside.sites.find((s) => s.id === site.id)
  if (!next) throw new Error(`the engine of ${site.id} does not know its site`)
  const sites = engine.inside.sites as SiteMemory[]
  const was = sites.find((s) => s.id === site.id)
  if (was) return set(was, { silentAfterMs: next.silentAfterMs })
  set(next, { index: sites.length })
  sites.push(next)
  return next
}

/** `keys`: signals the alarms of the loop read until now. */
function putEntries(engine: Engine, keys: ReadonlySet<string>, fresh: Engine, runOf: ReadonlyMap<Run, Run>): void {
  const signals = engine.inside.signals as Map<string, Entry>
  const before = [...new Set([...keys, ...fresh.inside.signals.keys()])].flatMap((key) => signals.get(key) ?? [])
  const atWork = (list: readonly Run[]): Run[] => list.map((r) => runOf.get(r) ?? r)
  const after: Entry[] = []
  for (const [key, next] of fresh.inside.signals) {
    const was = signals.get(key)
    const entry = was ?? next
    const lists = { runs: atWork(next.runs), alone: atWork(next.alone), shared: atWork(next.shared), takers: next.takers && atWork(next.takers) }
    set(entry, { ...lists, ...(was?.memory !== next.memory && { memory: next.memory, since: next.since }) })
    signals.set(key, entry)
    after.push(entry)
  }
  for (const e of before) if (!fresh.inside.signals.has(e.memory.key)) signals.delete(e.memory.key)
  putList(engine.inside.entries as Entry[], before, after)
}

/** Takes `before` out of the list and puts `after` at its end; nothing is moved when they are the same. */
function putList<T>(list: T[], before: readonly T[], after: readonly T[]): void {
  const out = new Set(before)
  if (out.size === after.length && after.every((x) => out.has(x))) return
  const left = list.filter((x) => !out.has(x))
  list.length = 0
  for (const x of left) list.push(x)
  for (const x of after) list.push(x)
}
