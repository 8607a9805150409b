/**
 * What the engine holds: every alarm at work, what is remembered of every signal they read, and of every site. Made once from
 * definitions and sites; changed in place by engine.ts alone, and looked at by nobody else.
 */
import { keyOf, type Reading } from '../site/reading.ts'
import { silentAfterMs, type Site } from '../site/site.ts'
import { computedSignals } from './computed.ts'
import type { AlarmDef, AlarmEvent, AlarmView } from './alarm.ts'
import { ACTIVE, NORMAL, type DelayState, type Delays } from './delay.ts'
import { pair } from './levels.ts'
import { BORN, isActive, type Life } from './life.ts'
import type { LifeFacts } from './life-input.ts'
import { isHidden, shownOf, type SuppressedBy } from './overlay.ts'
import { createGates, openAt, readyRule, type ReadyRule } from './rules.ts'
import { newTeaching, sortStanding, teaches, type Teaching } from './teaching.ts'
import type { Normality } from './rules/ready.ts'
import { doubt, learn, remember, rememberVital, usable, type SignalMemory } from './signal-memory.ts'

/** Our clock: `nowMs` stamps, `steadyMs` measures. */
export interface Now {
  readonly nowMs: number
  readonly steadyMs: number
}

/** One event with the alarm as it stands right after it. */
export interface Told {
  readonly event: AlarmEvent
  readonly view: AlarmView
}

export type Stored = Pick<Reading, 'sourceMs' | 'receivedMs' | 'value' | 'quality' | 'sub'>

/** One alarm at work. */
export interface Run {
  readonly def: AlarmDef
  readonly rule: ReadyRule
  readonly facts: LifeFacts
  readonly site: SiteMemory
  /** The signal a `blind` rule looks at. */
  readonly watched: SignalMemory | null
  delay: DelayState
  delays: Delays
  /** Event time of the last judgement. */
  atMs: number
  /** Event time of the last raise or clear of the condition. */
  changedMs: number
  /** Timers stand still since. */
  frozenMs: number | null
  /** Its signal gives nothing usable since. */
  heldMs: number | null
  /** What it has learned was kept at this event time: readings up to then, looked at again, teach nothing. */
  learnedToMs: number
  life: Life
  /** Why it is suppressed by a rule outside the engine, and by what is built in; null: it is not. */
  outer: SuppressedBy | null
  own: SuppressedBy | null
  /** Alarms that suppress this one while they stand, the highest level first, and those this one suppresses. */
  spokenForBy: readonly Run[]
  speaksFor: readonly Run[]
  mark: number
}

export interface Entry {
  readonly memory: SignalMemory
  readonly runs: Run[]
  /** Of those: the ones that read this signal alone, and the ones that must see a whole row. */
  readonly alone: Run[]
  readonly shared: Run[]
  /** Those that remember more of it than its newest value. */
  takers: Run[] | null
  /** When it was first looked at: the start, or when its alarms were defined. */
  readonly since: Now
}

export interface SiteMemory {
  readonly index: number
  readonly id: string
  /** Nothing for this long: the site is silent. */
  readonly silentAfterMs: number
  /** Our clock when it was first looked at. */
  readonly sinceMs: number
  heardMs: number | null
  /** Steady clock at that moment. */
  heardSteadyMs: number
  readonly zone: string
  /** Somebody last wrote into the log of the loop or checked in, our clock; 0: never. */
  attendedMs: number
  /** Alarms that call for somebody now. */
  troubled: number
  /** How many times that began from none. */
  trouble: number
  readonly teaching: Teaching
}

export interface Engine {
  readonly runs: ReadonlyMap<string, Run>
  /** Sentences about definitions that could not be made ready. */
  readonly faults: readonly string[]
  /** Rules judged since the start. */
  judged: number
  /** Readings of alarm signals that were late, retained or out of order and so judged nothing. */
  passedOver: number
  /** true: conditions and delays go on, lives stand still until `catchUp`. */
  quiet: boolean
  /** Raises and clears that happened while quiet. */
  merged: number
  readonly inside: Inside
}

interface Inside {
  readonly signals: ReadonlyMap<string, Entry>
  readonly entries: readonly Entry[]
  readonly sites: readonly SiteMemory[]
  readonly ticked: readonly Run[]
  readonly pending: Set<Run>
  /** Alarms something happens to by the clock alone. */
  readonly timed: Set<Run>
  readonly started: Now
  touched: Run[]
  serial: number
  /** Nobody has looked yet which alarms speak for which. */
  fresh: boolean
}

/** Most alarms speak for nobody: one list for all of them. */
const NONE: readonly Run[] = []

/**
 * Makes the engine ready.
 *
 * defs   definitions of `sites`; one whose signals the site does not have becomes a sentence in `faults`
 * lives  what the journal remembers; an occurrence that stands there goes on standing
 * latest  newest stored reading per key: known values for gates and for telling a signal that fell silent from one that never
 *         came. They are not judged: the first live reading is.
 * kept   memories that go on, by key, instead of new ones
 */
export function createEngine(
  defs: readonly AlarmDef[],
  sites: Iterable<Site>,
  now: Now,
  lives: ReadonlyMap<string, Life> = new Map(),
  latest: ReadonlyMap<string, Stored> = new Map(),
  kept: ReadonlyMap<string, SignalMemory> = new Map(),
): Engine {
  const faults: string[] = []
  const signals = new Map<string, Entry>()
  const runs = new Map<string, Run>()
  const ticked: Run[] = []
  const places = new Map(
    [...sites].map((site, index) => {
      const memory: SiteMemory = {
        index,
        id: site.id,
        silentAfterMs: silentAfterMs(site),
        heardMs: null,
        sinceMs: now.nowMs,
        heardSteadyMs: now.steadyMs,
        zone: site.zone,
        attendedMs: 0,
        troubled: 0,
        trouble: 0,
        teaching: newTeaching(),
      }
      return [site.id, { site, memory, gates: createGates(openAt(site)), computed: computedSignals(site) }] as const
    }),
  )
  for (const def of defs) {
    const place = places.get(def.site)
    if (!place) {
      faults.push(`${def.id}: no site "${def.site}" is loaded, so this alarm is not watched`)
      continue
    }
    if (runs.has(def.id)) {
      faults.push(`${def.id}: defined twice, the second one is not watched`)
      continue
    }
    const gap = missing(def)
    if (gap !== null) {
      faults.push(`${def.id}: has no ${gap}, so it is no alarm and is not watched; an alert needs none`)
      continue
    }
    const find = (id: string): SignalMemory | null => {
      const key = keyOf(def.site, id)
      let entry = signals.get(key)
      if (!entry) {
        const signal = place.site.signals.find((s) => s.id === id)
        const vital = signal ? null : place.computed(id)
        const memory = signal ? remember(key, place.memory.index, signal) : vital && rememberVital(key, place.memory.index, vital)
        if (!memory) return null
        entry = { memory: kept.get(key) ?? memory, runs: [], alone: [], shared: [], takers: null, since: now }
        const stored = latest.get(key)
        if (stored) recall(entry.memory, stored, now)
        signals.set(key, entry)
      }
      return entry.memory
    }
    const at: { run?: Run } = {}
    const watched = def.rule.kind === 'blind' ? find(def.rule.signal) : null
    const rule = def.rule.kind === 'blind' && !watched ? null : readyRule(def, find, place.gates, normalityOf(at))
    if (!rule) {
      faults.push(`${def.id}: a signal its rule needs is none of ${def.site}'s, so this alarm is not watched`)
      continue
    }
    const life = lives.get(def.id) ?? BORN
    const run: Run = {
      def,
      rule,
      facts: { alarm: def.id, latching: def.latching, answerRequired: def.priority !== 'alert', defVersion: def.version },
      site: place.memory,
      watched,
      delay: isActive(life) ? ACTIVE : NORMAL,
      delays: rule.delays(),
      atMs: 0,
      changedMs: life.raisedMs ?? 0,
      frozenMs: null,
      heldMs: life.heldSinceMs,
      learnedToMs: Number.NEGATIVE_INFINITY,
      life,
      outer: null,
      own: null,
      spokenForBy: NONE,
      speaksFor: NONE,
      mark: 0,
    }
    at.run = run
    runs.set(def.id, run)
    const reads = new Set(rule.reads)
    for (const m of reads) {
      const entry = signals.get(m.key)
      entry?.runs.push(run)
      ;(reads.size === 1 ? entry?.alone : entry?.shared)?.push(run)
      if (rule.take && entry) (entry.takers ??= []).push(run)
    }
    if (def.rule.kind === 'silent' || def.rule.kind === 'blind' || def.rule.kind === 'fact') ticked.push(run)
  }
  // A list that grows has room for more to come, and here nothing comes.
  for (const e of signals.values()) Object.assign(e, { runs: closed(e.runs), alone: closed(e.alone), shared: closed(e.shared), takers: e.takers && closed(e.takers) })
  const timed = new Set<Run>()
  const bySite = new Map<SiteMemory, Run[]>()
  for (const run of runs.values()) {
    sortTimed(timed, run)
    const { site, life } = run
    site.troubled += Number(inTrouble(run, life))
    sortStanding(site.teaching, run)
    site.trouble = Math.max(site.trouble, life.firstOut ?? 0)
    const mine = bySite.get(site)
    if (mine) mine.push(run)
    else bySite.set(site, [run])
  }
  for (const mine of bySite.values()) pair(mine)
  for (const run of runs.values()) {
    // What the engine asks for itself it finds out anew; the rest was asked for from outside, and holds until that is taken back.
    const s = run.life.suppressed
    const gone = s !== null && s.ruleId.startsWith(`${run.def.site}/`) && !runs.has(s.ruleId)
    if (s && s.endsMs === null && !gone && !run.spokenForBy.some((r) => r.def.id === s.ruleId)) run.outer = { ruleId: s.ruleId, reason: s.reason }
  }
  const inside: Inside = {
    signals,
    entries: [...signals.values()],
    sites: [...places.values()].map((p) => p.memory),
    ticked,
    pending: new Set(),
    started: now,
    touched: [],
    serial: 0,
    timed,
    fresh: true,
  }
  return { runs, faults, judged: 0, passedOver: 0, quiet: false, merged: 0, inside }
}

const closed = (list: Run[]): Run[] => list.slice()

/** What an alarm must say before it may call anybody; null: nothing is missing. */
function missing(def: AlarmDef): string | null {
  if (def.priority === 'alert') return null
  const texts = { cause: def.cause, consequence: def.consequence, 'way to confirm it': def.confirm, 'basis for its limit': def.basis, owner: def.owner }
  for (const [name, text] of Object.entries(texts)) if (text.trim() === '') return name
  if (def.action.length === 0 || def.action.some((a) => a.trim() === '')) return 'action'
  return def.respondWithinMin > 0 ? null : 'time to respond'
}

/** Outside the making of the engine, so that an alarm keeps nothing of it but its run. */
const normalityOf = (at: { readonly run?: Run }): Normality => ({ calm: () => !at.run?.site.teaching.paused, teaches: () => !at.run || teaches(at.run) })

/** What was stored before the start, as old as it is. */
function recall(m: SignalMemory, r: Stored, now: Now): void {
  const steadyMs = now.steadyMs - Math.max(0, now.nowMs - r.receivedMs)
  if (usable({ ...r, live: true })) learn(m, r.value as number, r.sourceMs, steadyMs)
  else {
    doubt(m, r.sourceMs)
    m.stampMs = r.sourceMs
    m.steadyMs = steadyMs
  }
}

/** Keeps the list of alarms that the clock alone may change. */
export function sortTimed(timed: Set<Run>, run: Run): void {
  const { life, def } = run
  const waits =
    life.shelved !== null ||
    (life.suppressed !== null && life.suppressed.endsMs !== null) ||
    (life.outOfService !== null && !life.outOfService.overdue) ||
    (life.state === 'acknowledged' && def.priority !== 'low' && def.priority !== 'alert') ||
    (life.state === 'returned' && def.priority === 'low')
  if (waits) timed.add(run)
  else timed.delete(run)
}

/** It calls for somebody, or did and waits for an answer or a reset: what makes a loop one in trouble. */
export const inTrouble = (run: Pick<Run, 'def'>, life: Life): boolean => life.state !== 'normal' && run.def.priority !== 'alert' && !isHidden(life)

export function viewOf(run: Run): AlarmView {
  const l = run.life
  return {
    def: run.def,
    state: l.state,
    shown: shownOf(l, l.state),
    shelved: l.shelved,
    suppressed: l.suppressed,
    outOfService: l.outOfService,
    occurrence: l.occurrence,
    version: l.version,
    raisedMs: l.raisedMs,
    clearedMs: l.clearedMs,
    value: l.value,
    limit: l.limit ?? run.rule.limit,
    unit: l.occurrence === null ? run.rule.unit : l.unit,
    acknowledgedBy: l.acknowledgedBy,
    acknowledgedMs: l.acknowledgedMs,
    note: l.note,
    raisedNote: l.raisedNote,
    heldSinceMs: l.heldSinceMs ?? run.heldMs,
    count: l.count,
    hiddenCount: l.hiddenCount,
    reAlarms: l.reAlarms,
    firstOut: l.firstOut !== null && l.firstOut === run.site.trouble && run.site.troubled > 0,
  }
}
