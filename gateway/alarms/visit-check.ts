/**
 * After a visit, and after a power cut, what ran in the hour before must run again: air first, then selectors, then the other machines. A
 * selector left in hand or off is the commonest cause of trouble in the night after a visit (common practice, no source).
 *
 * When a machine is due follows from how it ran in that hour: one that ran all the time is due at once, one with a rhythm after twice its
 * longest rest, a pump that works for the washing not before somebody washes; one that ran once or twice, or only when somebody presses a
 * handle, is never due, and that is said.
 */
import type { Quantity } from '../site/quantity.ts'
import type { Equipment, Signal, Site } from '../site/site.ts'
import { washSignal } from './draft.ts'
import { evidenceOf, holdMs, isOn, rhythmOf, runsFrom, type Sample } from './run-evidence.ts'

const MIN = 60_000
/** A check that has found nothing wrong ends after this. */
export const CHECK_ENDS_MS = 2 * 3_600_000
/** Machines have so long to run again: after a visit, after the mains are back. */
export const AFTER_VISIT_MIN = 15
export const AFTER_POWER_MIN = 10

export type Outcome = 'runs' | 'not-yet' | 'not-seen' | 'cannot-tell'
export type Part = 'air' | 'selector' | 'machine' | 'link'

export interface CheckLine {
  readonly id: string
  readonly name: string
  readonly part: Part
  readonly outcome: Outcome
  /** How it ran before, and what is waited for: one sentence. */
  readonly why: string
  /** It must be seen running by then; null: it is never due, or not while nobody washes. */
  readonly dueMs: number | null
}

export interface CheckPlan {
  readonly kind: 'visit' | 'power'
  /** The hour it is compared with. */
  readonly fromMs: number
  readonly toMs: number
  /** Check-out, or mains back. */
  readonly sinceMs: number
  readonly items: readonly Item[]
  /** Machines that were at rest in that hour: nothing is expected of them. */
  readonly atRest: readonly string[]
  readonly washing: { readonly signal: Signal; readonly from: number } | null
}

interface Item {
  readonly id: string
  readonly name: string
  readonly part: Part
  /** null: nothing to be seen by, or the link. */
  readonly signal: Signal | null
  readonly from: number
  readonly dueMs: number | null
  /** Must it be running now, and not just have run? */
  readonly steady: boolean
  readonly waitsForWash: boolean
  readonly why: string
  readonly blind: boolean
}

/** Signals whose readings a check needs. */
export function checkSignals(site: Site): readonly Signal[] {
  const wash = washSignal(site)
  const found = [...site.equipment.map((e) => evidenceOf(site, e)), ...site.signals.filter((s) => s.quantity === 'auto'), wash]
  return [...new Set(found.filter((s) => s !== null))]
}

/**
 * What is expected after `sinceMs`, from the readings of the hour before `toMs`.
 *
 * samples  usable readings by signal id, oldest first, one from before the hour included where there is one
 */
export function planCheck(kind: 'visit' | 'power', site: Site, samples: ReadonlyMap<string, readonly Sample[]>, toMs: number, sinceMs: number): CheckPlan {
  const fromMs = toMs - 60 * MIN
  const withinMs = (kind === 'visit' ? AFTER_VISIT_MIN : AFTER_POWER_MIN) * MIN
  const of = (s: Signal): readonly Sample[] => samples.get(s.id) ?? []
  const wash = washSignal(site)
  const washFrom = wash && runsFrom(wash, null, inside(of(wash), fromMs, toMs))
  const washed = wash !== null && washFrom !== null && rhythmOf(wash, washFrom, of(wash), fromMs, toMs).runs > 0
  const atRest: string[] = []
  const items: Item[] = []
  for (const e of site.equipment) {
    const item = itemOf(site, e, of, fromMs, toMs, sinceMs, withinMs, washed)
    if (item === 'rest') atRest.push(e.name)
    else items.push(item)
  }
  for (const s of site.signals.filter((x) => x.quantity === 'auto')) {
    const last = of(s).findLast((x) => x.atMs < toMs)
    if (!last || last.value !== 1) continue
    const machine = site.equipment.find((e) => e.id === s.at)
    items.push({
      id: s.id,
      name: machine ? `Selector of ${machine.name}` : 'Panel selector',
      part: 'selector',
      signal: s,
      from: 1,
      dueMs: sinceMs + withinMs,
      steady: true,
      waitsForWash: false,
      why: 'was in auto before',
      blind: false,
    })
  }
  const link: Item = {
    id: 'link',
    name: 'Link',
    part: 'link',
    signal: null,
    from: 0,
    dueMs: sinceMs + withinMs,
    steady: true,
    waitsForWash: false,
    why: 'readings must arrive',
    blind: false,
  }
  return {
    kind,
    fromMs,
    toMs,
    sinceMs,
    items: [...items, link].toSorted((a, b) => ORDER.indexOf(a.part) - ORDER.indexOf(b.part)),
    atRest,
    washing: wash && washFrom !== null ? { signal: wash, from: washFrom } : null,
  }
}

const ORDER: readonly Part[] = ['air', 'selector', 'machine', 'link']
const inside = (all: readonly Sample[], fromMs: number, toMs: number): readonly Sample[] => {
  const first = all.findLastIndex((x) => x.atMs <= fromMs)
  return all.slice(Math.max(0, first)).filter((x) => x.atMs < toMs)
}

function itemOf(site: Site, e: Equipment, of: (s: Signal) => readonly Sample[], fromMs: number, toMs: number, sinceMs: number, withinMs: number, washed: boolean): Item | 'rest' {
  const part: Part = e.kind === 'aerator' ? 'air' : 'machine'
  const common = { id: e.id, name: e.name, part, steady: false, waitsForWash: false, blind: false, dueMs: null as number | null }
  const s = evidenceOf(site, e)
  if (!s) return { ...common, signal: null, from: 0, blind: true, why: `no signal of this loop shows whether it runs${e.kind === 'aerator' ? ': look for bubbles' : ''}` }
  const before = inside(of(s), fromMs, toMs)
  const from = runsFrom(s, e, before)
  const r = rhythmOf(s, from, before, fromMs, toMs)
  if (r.kind === 'unknown') return { ...common, signal: s, from: from ?? 0, blind: true, why: 'too little of it was received in the hour before' }
  if (r.kind === 'rest' || from === null) return 'rest'
  const seen = { ...common, signal: s, from }
  if (r.kind === 'all') return { ...seen, steady: true, dueMs: sinceMs + withinMs, why: 'ran all through the hour before' }
  const ran = `ran ${times(r.runs)} in the hour before`
  const rest = Math.ceil(r.longestRestMs / MIN)
  if (e.kind === 'aerator') {
    const dueMs = sinceMs + Math.max(withinMs, 1.5 * r.longestRestMs, e.longestPlannedOffMs + 5 * MIN)
    return { ...seen, dueMs, why: `${ran}, longest rest ${rest} min` }
  }
  if (e.kind === 'washer') return { ...seen, why: `${ran}; it runs only when somebody washes` }
  if (r.kind === 'seldom') return { ...seen, why: `${ran}: too seldom to be due at a time` }
  return { ...seen, dueMs: sinceMs + Math.max(withinMs, 2 * r.longestRestMs), waitsForWash: washed && e.kind !== 'ozone', why: `${ran}, longest rest ${rest} min` }
}

const times = (n: number): string => (n === 1 ? 'once' : n === 2 ? 'twice' : `${n} times`)

/** What has been seen since, by item id; `wash` for washing. Changed in place by `see`. */
export interface Seen {
  readonly of: Map<string, { lastMs: number; value: number; on: boolean; firstOnMs: number | null }>
  heardMs: number | null
}

export const newSeen = (): Seen => ({ of: new Map(), heardMs: null })

/** Takes in one usable reading, in the order of its signal's time; the newest one from before `sinceMs` says how it stood then. */
export function see(plan: CheckPlan, seen: Seen, signalId: string, x: Sample): void {
  if (x.atMs > plan.sinceMs) seen.heardMs = Math.max(seen.heardMs ?? 0, x.atMs)
  const watched: { id: string; signal: Signal | null; from: number }[] = plan.items.filter((i) => i.signal?.id === signalId && !i.blind)
  if (plan.washing?.signal.id === signalId) watched.push({ id: WASH, ...plan.washing })
  for (const { id, signal, from } of watched) {
    const was = seen.of.get(id)
    if (!signal || (was && x.atMs < was.lastMs)) continue
    const on = isOn(signal, from, x.value, was?.value ?? null)
    const counts = on && (x.atMs >= plan.sinceMs || !isCounter(signal.quantity))
    seen.of.set(id, { lastMs: x.atMs, value: x.value, on, firstOnMs: was?.firstOnMs ?? (counts ? Math.max(x.atMs, plan.sinceMs) : null) })
  }
}

const WASH = 'wash'
const isCounter = (q: Quantity): boolean => q === 'hours' || q === 'starts' || q === 'pulses' || q === 'volume'

/** Result of every item, air first. */
export function judgeCheck(plan: CheckPlan, seen: Seen, nowMs: number): readonly CheckLine[] {
  const washed = seen.of.get(WASH)?.firstOnMs ?? null
  return plan.items.map((i) => {
    const [outcome, why] = outcomeOf(i, plan, seen, washed, nowMs)
    return { id: i.id, name: i.name, part: i.part, outcome, why, dueMs: i.waitsForWash && washed === null ? null : i.dueMs }
  })
}

function outcomeOf(i: Item, plan: CheckPlan, seen: Seen, washedMs: number | null, nowMs: number): readonly [Outcome, string] {
  if (i.blind) return ['cannot-tell', i.why]
  const over = i.dueMs !== null && nowMs >= i.dueMs
  if (i.part === 'link') {
    if (seen.heardMs !== null) return ['runs', 'readings arrive']
    return over ? ['not-seen', 'nothing has arrived since'] : ['not-yet', 'nothing has arrived yet']
  }
  const s = seen.of.get(i.id)
  const heard = s !== undefined && i.signal !== null && nowMs - s.lastMs <= holdMs(i.signal)
  if (i.steady && over && !heard) return ['cannot-tell', `nothing of it has arrived lately; ${i.why}`]
  if (s && (i.steady ? s.on : s.firstOnMs !== null)) return ['runs', i.part === 'selector' ? 'in auto' : i.why]
  if (i.dueMs === null) return ['cannot-tell', i.why]
  if (i.waitsForWash && washedMs === null) return [nowMs >= plan.sinceMs + CHECK_ENDS_MS ? 'cannot-tell' : 'not-yet', `${i.why}; nobody has washed since`]
  const due = i.waitsForWash && washedMs !== null ? Math.max(i.dueMs, washedMs + (i.dueMs - plan.sinceMs)) : i.dueMs
  if (nowMs < due) return ['not-yet', i.part === 'selector' && s && !s.on ? 'in hand or off; was in auto before' : i.why]
  if (!heard) return ['cannot-tell', `nothing of it has arrived lately; ${i.why}`]
  return ['not-seen', i.part === 'selector' ? 'in hand or off; was in auto before' : `${i.why}; not seen running since`]
}

/** Which of them make an alarm: due and not seen. */
export function notBack(lines: readonly CheckLine[], air: boolean): readonly CheckLine[] {
  return lines.filter((l) => l.outcome === 'not-seen' && (l.part === 'air') === air)
}

/** Due, and nothing has arrived that would tell: what was found before stays found. */
export const undecided = (lines: readonly CheckLine[], air: boolean): boolean => lines.some((l) => (l.part === 'air') === air && l.outcome === 'cannot-tell' && l.dueMs !== null)

/** Nothing more is to come of it. begunMs: when it began to be looked at, later than the visit after a restart. */
export function isOver(plan: CheckPlan, lines: readonly CheckLine[], nowMs: number, begunMs: number): boolean {
  const withinMs = (plan.kind === 'visit' ? AFTER_VISIT_MIN : AFTER_POWER_MIN) * MIN
  if (nowMs < plan.sinceMs + withinMs || lines.some((l) => l.outcome === 'not-seen')) return false
  if (nowMs >= Math.max(plan.sinceMs, begunMs) + CHECK_ENDS_MS) return true
  return !lines.some((l) => l.outcome === 'not-yet') && !undecided(lines, true) && !undecided(lines, false)
}
