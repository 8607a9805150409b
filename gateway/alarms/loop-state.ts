/**
 * In which state a loop is, who said so, until when and why. Three layers lie over each other:
 *
 *   someone on site   one visit for each person, until they leave; past its time it is overdue and ends by nothing but a check-out
 *   planned work      one at a time, always with an end
 *   stage of life     in service, commissioning, resting, out of contract; one with an end lies over the one it falls back to
 *
 * The topmost is shown; what ends by itself uncovers what lies beneath. Nothing is remembered but records that are only added to: the state
 * is nothing but the records applied in order, so a restart is in the same state.
 */

import { LIFE_STATES, type FirstState, type LifeState } from '../site/site.ts'

export const LOOP_STATES = [...LIFE_STATES, 'planned-work', 'on-site'] as const
export type LoopStateName = (typeof LOOP_STATES)[number]

const MIN = 60_000
const HOUR = 60 * MIN
const DAY = 24 * HOUR
/** A visit nobody gave an end to. */
export const USUAL_VISIT_MS = 3 * HOUR
/** Longest visit and longest planned work one may announce. */
export const LONGEST_VISIT_MS = 16 * HOUR
export const LONGEST_WORK_MS = 14 * DAY
/** How long after its announced end a visit becomes an alarm of its own, and alarms of the loop go to everybody again (common practice, no source). */
export const GRACE_MS = 15 * MIN
/** After a check-out: machines have this long to run again, and the one who left is told first. */
export const AFTER_VISIT_MS = 15 * MIN
/** After a rest the loop has a course of its own for so long. */
export const AFTER_REST_MS = 14 * DAY

/** One line of the record. `person`: of whom a visit is; null for the other states. */
export interface StateRecord {
  readonly site: string
  /** power-back: mains came back at `atMs` after they were lost at `fromMs`. */
  readonly act: 'begin' | 'end' | 'power-back'
  readonly state: LoopStateName | null
  readonly person: string | null
  readonly atMs: number
  /** power-back: when it was lost. End of a visit: what the check compares with ended then, where that is not when the first came. */
  readonly fromMs: number | null
  readonly untilMs: number | null
  readonly why: string | null
  readonly by: string
  readonly recordedMs: number
}

export interface Spell<S extends LoopStateName = LoopStateName> {
  readonly state: S
  readonly fromMs: number
  readonly untilMs: number | null
  readonly why: string | null
  readonly by: string
}

export interface Visit {
  readonly person: string
  readonly fromMs: number
  readonly untilMs: number
  readonly why: string | null
}

export interface LoopStates {
  /** Bottom first; never empty. */
  readonly life: readonly Spell<LifeState>[]
  readonly work: Spell<'planned-work'> | null
  readonly visits: readonly Visit[]
  /** When the first came of those who are or were there together, and all their names. */
  readonly party: { readonly fromMs: number; readonly people: readonly string[] } | null
  /** The last time everybody had left. */
  readonly left: { readonly fromMs: number; readonly toMs: number; readonly people: readonly string[] } | null
  readonly power: { readonly lostMs: number; readonly backMs: number } | null
  /** End of the last rest and of commissioning; null: none on record. */
  readonly restedMs: number | null
  readonly commissionedMs: number | null
}

const FILE = 'site file'
const inService = (fromMs: number): Spell<LifeState> => ({ state: 'in-service', fromMs, untilMs: null, why: null, by: FILE })

export function firstStates(first: FirstState | null): LoopStates {
  const told = first && first.state !== 'in-service' ? [{ ...first, fromMs: 0, by: FILE }] : []
  const life = told[0]?.untilMs === null ? told : [inService(0), ...told]
  return { life, work: null, visits: [], party: null, left: null, power: null, restedMs: null, commissionedMs: null }
}

/** Lets end what ends by itself at or before `atMs`. */
export function settled(s: LoopStates, atMs: number): LoopStates {
  const over = s.life.filter((x) => x.untilMs !== null && x.untilMs <= atMs)
  const workOver = s.work !== null && s.work.untilMs !== null && s.work.untilMs <= atMs
  if (over.length === 0 && !workOver) return s
  return { ...over.reduce((t, x) => lifeEnded(t, x, x.untilMs ?? atMs), s), work: workOver ? null : s.work }
}

function lifeEnded(s: LoopStates, x: Spell<LifeState>, atMs: number): LoopStates {
  const rest = s.life.filter((y) => y !== x)
  return {
    ...s,
    life: rest.length > 0 ? rest : [inService(atMs)],
    restedMs: x.state === 'resting' ? Math.max(s.restedMs ?? 0, atMs) : s.restedMs,
    commissionedMs: x.state === 'commissioning' ? Math.max(s.commissionedMs ?? 0, atMs) : s.commissionedMs,
  }
}

/** One record upon the state it happened to. Records of one loop come in the order they were written. */
export function applyRecord(before: LoopStates, r: StateRecord): LoopStates {
  const s = settled(before, r.atMs)
  if (r.act === 'power-back') return { ...s, power: { lostMs: r.fromMs ?? r.atMs, backMs: r.atMs } }
  if (r.state === 'on-site') return r.act === 'begin' ? checkedIn(s, r) : checkedOut(s, r)
  if (r.state === 'planned-work') return { ...s, work: r.act === 'end' ? null : spellOf(r, 'planned-work', s.work) }
  if (r.state === null) return s
  const state = r.state
  const same = s.life.find((x) => x.state === state) ?? null
  if (r.act === 'end') return same && state !== 'in-service' ? lifeEnded(s, same, r.atMs) : s
  // One with an end lies over what is there; one without takes the place of all of it.
  const replaced = s.life.filter((x) => x.state !== state && r.untilMs === null)
  const cleared = replaced.reduce((t, x) => lifeEnded(t, x, r.atMs), s)
  const spell = spellOf(r, state, same)
  const below = r.untilMs === null ? [] : cleared.life.filter((x) => x.state !== state)
  return { ...cleared, life: below.length > 0 || r.untilMs === null ? [...below, spell] : [inService(r.atMs), spell] }
}

const spellOf = <S extends LoopStateName>(r: StateRecord, state: S, before: Spell<S> | null): Spell<S> => ({
  state,
  fromMs: before?.fromMs ?? r.atMs,
  untilMs: r.untilMs,
  why: r.why,
  by: r.by,
})

function checkedIn(s: LoopStates, r: StateRecord): LoopStates {
  const person = r.person ?? r.by
  const was = s.visits.find((v) => v.person === person)
  const visit: Visit = { person, fromMs: was?.fromMs ?? r.atMs, untilMs: r.untilMs ?? r.atMs + USUAL_VISIT_MS, why: r.why ?? was?.why ?? null }
  const people = s.party && s.visits.length > 0 ? s.party.people : []
  return {
    ...s,
    visits: [...s.visits.filter((v) => v !== was), visit],
    party: { fromMs: s.visits.length > 0 && s.party ? Math.min(s.party.fromMs, visit.fromMs) : visit.fromMs, people: people.includes(person) ? people : [...people, person] },
  }
}

function checkedOut(s: LoopStates, r: StateRecord): LoopStates {
  const person = r.person ?? r.by
  const visits = s.visits.filter((v) => v.person !== person)
  if (visits.length === s.visits.length) return s
  if (visits.length > 0) return { ...s, visits }
  return { ...s, visits, party: null, left: { fromMs: r.fromMs ?? s.party?.fromMs ?? r.atMs, toMs: r.atMs, people: s.party?.people ?? [person] } }
}

/** A loop's state at one moment. */
export interface LoopNow {
  /** The topmost. */
  readonly is: LoopStateName
  readonly sinceMs: number
  /** Ends by itself then (a visit: should end); null: until somebody says otherwise. */
  readonly untilMs: number | null
  readonly by: string
  readonly why: string | null
  readonly life: Spell<LifeState>
  readonly work: Spell<'planned-work'> | null
  readonly visits: readonly (Visit & { readonly overdue: boolean })[]
  /** When the first visit became, or will become, an alarm. null: nobody there. */
  readonly overdueFromMs: number | null
  readonly overdue: boolean
  /** Everybody has left a moment ago: the post-visit check runs until then. */
  readonly leaving: { readonly people: readonly string[]; readonly untilMs: number } | null
  /** Learned rules are silent until then after a rest; null: no rest lately. */
  readonly restartUntilMs: number | null
  readonly commissionedMs: number | null
}

export function loopNow(before: LoopStates, nowMs: number): LoopNow {
  const s = settled(before, nowMs)
  const life = s.life.at(-1) ?? inService(0)
  const visits = s.visits.map((v) => ({ ...v, overdue: nowMs >= v.untilMs + GRACE_MS }))
  const overdueFromMs = visits.length === 0 ? null : Math.min(...visits.map((v) => v.untilMs)) + GRACE_MS
  const restart = s.restedMs === null || life.state === 'resting' ? null : s.restedMs + AFTER_REST_MS
  const leaving = s.left !== null && visits.length === 0 && nowMs < s.left.toMs + AFTER_VISIT_MS ? { people: s.left.people, untilMs: s.left.toMs + AFTER_VISIT_MS } : null
  const top = visits.length > 0 ? visitTop(visits) : (s.work ?? life)
  return {
    is: top.state,
    sinceMs: top.fromMs,
    untilMs: top.untilMs,
    by: top.by,
    why: top.why,
    life,
    work: s.work,
    visits,
    overdueFromMs,
    overdue: overdueFromMs !== null && nowMs >= overdueFromMs,
    leaving,
    restartUntilMs: restart !== null && restart > nowMs ? restart : null,
    commissionedMs: s.commissionedMs,
  }
}

function visitTop(visits: readonly Visit[]): Spell<'on-site'> {
  const names = visits.map((v) => v.person)
  return {
    state: 'on-site',
    fromMs: Math.min(...visits.map((v) => v.fromMs)),
    untilMs: Math.max(...visits.map((v) => v.untilMs)),
    by: names.join(', '),
    why: visits.map((v) => v.why).find((w) => w !== null) ?? null,
  }
}

/** Why a person may not set this, as one sentence; null: they may. untilMs null: no end. */
export function refusedState(state: LoopStateName, nowMs: number, untilMs: number | null, why: string | null): string | null {
  if (untilMs !== null && untilMs <= nowMs) return 'the end lies in the past: give a time still to come'
  if (state === 'on-site' && untilMs !== null && untilMs - nowMs > LONGEST_VISIT_MS)
    return 'nobody stays longer than 16 h: give an earlier end, or say planned work beside it; a late check-out would be noticed too late'
  if (state === 'planned-work') {
    if (untilMs === null) return 'planned work needs an end, or its alarms would be forgotten: give one within 14 days'
    if (untilMs - nowMs > LONGEST_WORK_MS) return 'planned work ends within 14 days: give an earlier end and put it off later if need be'
  }
  if ((state === 'planned-work' || state === 'out-of-contract') && (why === null || why.trim() === '')) return 'why is missing: others see alarms go quiet and need the reason'
  return null
}

/** A span a loop was in a state. */
export interface StateSpan {
  readonly state: LoopStateName
  readonly fromMs: number
  /** null: still. */
  readonly toMs: number | null
}

/** Every span the records tell of, a state beneath another one included, oldest first. */
export function spansOf(first: FirstState | null, records: readonly StateRecord[], nowMs: number): readonly StateSpan[] {
  const out: StateSpan[] = []
  const open = (s: LoopStates): readonly { readonly key: string; readonly state: LoopStateName; readonly fromMs: number; readonly untilMs: number | null }[] => [
    ...s.life.map((x) => ({ key: `${x.state} ${x.fromMs}`, ...x })),
    ...(s.work ? [{ key: `planned-work ${s.work.fromMs}`, ...s.work }] : []),
    ...s.visits.map((v) => ({ key: `${v.person} ${v.fromMs}`, state: 'on-site' as const, fromMs: v.fromMs, untilMs: null })),
  ]
  let s = firstStates(first)
  const step = (next: LoopStates, atMs: number): void => {
    const still = new Set(open(next).map((x) => x.key))
    for (const x of open(s)) if (!still.has(x.key)) out.push({ state: x.state, fromMs: x.fromMs, toMs: Math.max(x.fromMs, Math.min(atMs, x.untilMs ?? atMs)) })
    s = next
  }
  for (const r of records) {
    step(settled(s, r.atMs), r.atMs)
    step(applyRecord(s, r), r.atMs)
  }
  step(settled(s, nowMs), nowMs)
  for (const x of open(s)) out.push({ state: x.state, fromMs: x.fromMs, toMs: null })
  return out.toSorted((a, b) => a.fromMs - b.fromMs)
}
