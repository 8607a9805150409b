/**
 * What the engine holds: every alarm at work, what is remembered of every signal they read, and of every site. Made once from
 * definitions and sites; changed in place by engine.ts alone, and looked at by nobody else.
 */
import { keyOf, type Reading } from '../site/reading.ts'
import { silentAfterMs, type Site } from '../site/site.ts'
import { computedSignals } from './computed.ts'
import type { AlarmDef, AlarmEvent, AlarmView } from './alarm.ts'
import { ACTIVE, NORMAL, type DelayState, type Delays } from './delay.ts'
import { BORN, isActive, type Life, type LifeFacts } from './lifecycle.ts'
import { openAt, readyRule, type ReadyRule } from './rules.ts'
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
  mark: number
}

export interface Entry {
  readonly memory: SignalMemory
  readonly runs: Run[]
  /** Of those: the ones that read this signal alone, and the ones that must see a whole row. */
  readonly alone: Run[]
  readonly shared: Run[]
  /** Those that remember more of it than its newest value. */
  readonly takers: Run[]
}

export interface SiteMemory {
  readonly index: number
  readonly id: string
  /** Nothing for this long: the site is silent. */
  readonly silentAfterMs: number
  heardMs: number | null
  /** Steady clock at that moment. */
  heardSteadyMs: number
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
  /** Low alarms that have returned unanswered. */
  readonly returned: Set<Run>
  readonly started: Now
  touched: Run[]
  serial: number
}

/**
 * Makes the engine ready.
 *
 * defs   definitions of `sites`; one whose signals the site does not have becomes a sentence in `faults`
 * lives  what the journal remembers; an occurrence that stands there goes on standing
 * latest  newest stored reading per key: known values for gates and for telling a signal that fell silent from one that never
 *         came. They are not judged: the first live reading is.
 */
export function createEngine(
  defs: readonly AlarmDef[],
  sites: Iterable<Site>,
  now: Now,
  lives: ReadonlyMap<string, Life> = new Map(),
  latest: ReadonlyMap<string, Stored> = new Map(),
): Engine {
  const faults: string[] = []
  const signals = new Map<string, Entry>()
  const runs = new Map<string, Run>()
  const ticked: Run[] = []
  const places = new Map(
    [...sites].map((site, index) => {
      const memory: SiteMemory = { index, id: site.id, silentAfterMs: silentAfterMs(site), heardMs: null, heardSteadyMs: now.steadyMs }
      return [site.id, { site, memory, isOpen: openAt(site), computed: computedSignals(site) }] as const
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
        entry = { memory, runs: [], alone: [], shared: [], takers: [] }
        const stored = latest.get(key)
        if (stored) recall(entry.memory, stored, now)
        signals.set(key, entry)
      }
      return entry.memory
    }
    const watched = def.rule.kind === 'blind' ? find(def.rule.signal) : null
    const rule = def.rule.kind === 'blind' && !watched ? null : readyRule(def, find, place.isOpen)
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
      mark: 0,
    }
    runs.set(def.id, run)
    const reads = new Set(rule.reads)
    for (const m of reads) {
      const entry = signals.get(m.key)
      entry?.runs.push(run)
      ;(reads.size === 1 ? entry?.alone : entry?.shared)?.push(run)
      if (rule.take) entry?.takers.push(run)
    }
    if (def.rule.kind === 'silent' || def.rule.kind === 'blind') ticked.push(run)
  }
  const returned = new Set<Run>()
  for (const run of runs.values()) sortReturned(returned, run)
  const inside: Inside = {
    signals,
    entries: [...signals.values()],
    sites: [...places.values()].map((p) => p.memory),
    ticked,
    pending: new Set(),
    started: now,
    touched: [],
    serial: 0,
    returned,
  }
  return { runs, faults, judged: 0, passedOver: 0, quiet: false, merged: 0, inside }
}

/** what an alarm must say before it may call anybody; null: nothing is missing. */
function missing(def: AlarmDef): string | null {
  if (def.priority === 'alert') return null
  const texts = { cause: def.cause, consequence: def.consequence, 'way to confirm it': def.confirm, 'basis for its limit': def.basis, owner: def.owner }
  for (const [name, text] of Object.entries(texts)) if (text.trim() === '') return name
  if (def.action.length === 0 || def.action.some((a) => a.trim() === '')) return 'action'
  return def.respondWithinMin > 0 ? null : 'time to respond'
}

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

/** Keeps the list of low alarms that wait to be closed by themselves. */
export function sortReturned(returned: Set<Run>, run: Run): void {
  if (run.life.state === 'returned' && run.def.priority === 'low') returned.add(run)
  else returned.delete(run)
}

export function viewOf(run: Run): AlarmView {
  const l = run.life
  return {
    def: run.def,
    state: l.state,
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
    heldSinceMs: l.heldSinceMs ?? run.heldMs,
    count: l.count,
  }
}
