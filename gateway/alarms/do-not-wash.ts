/**
 * "Do not wash now, because ...": what the yard is told, decided from the alarms of a loop and its state alone. Danger to people first,
 * then water where it must not be, then what harms the biology or the machine, then work that is going on. Which alarm speaks against
 * washing is common practice, no source: each of them asks the yard to stop in its own first step.
 */
import type { Site } from '../site/site.ts'
import type { AlarmDef, AlarmView } from './alarm.ts'
import { POWER_AIR, VISIT_AIR } from './defaults-visit.ts'
import type { EntryBlock } from './entry-block.ts'
import type { LoopNow } from './loop-state.ts'

/** In the order in which they are said. */
export const WASH_REASONS = ['entry', 'gas', 'overflow', 'leak', 'sump', 'air', 'oxygen', 'acid', 'alkaline', 'water', 'work', 'on-site', 'resting'] as const
export type WashReasonKind = (typeof WASH_REASONS)[number]

/** What a loop may be unable to tell. */
export const WASH_WATCHES = ['air', 'sump', 'acidity', 'gas'] as const
export type WashWatch = (typeof WASH_WATCHES)[number]

export interface WashReason {
  readonly kind: WashReasonKind
  /** The alarm's own words, or why the loop is in that state; null: nothing beyond the kind. */
  readonly what: string | null
  readonly sinceMs: number | null
  /** When it ends by itself; null: not known. */
  readonly untilMs: number | null
  /** No good data since then: held as it was. */
  readonly heldSinceMs: number | null
}

export interface WashFacts {
  readonly site: Pick<Site, 'signals' | 'stages'>
  /** Every alarm of the loop with its state. */
  readonly alarms: readonly AlarmView[]
  readonly block: EntryBlock | null
  readonly state: LoopNow
  /** Minutes of washing left; null: not known. */
  readonly waterMin: number | null
}

export interface WashVerdict {
  /** One of a kind at most, the gravest kind first; empty: nothing speaks against washing as far as this loop can tell. */
  readonly reasons: readonly WashReason[]
  /** What no alarm of this loop watches, or none that is in service. */
  readonly blind: readonly WashWatch[]
}

/** With less than this the vehicle in hand is not finished and the pump may run dry (common practice, no source). */
const LEAST_MIN = 5
/** A loop out of its pH band speaks against washing when somebody must act within the hour; slower drifts do not. */
const SOON_MIN = 60

export function doNotWash({ site, alarms, block, state, waterMin }: WashFacts): WashVerdict {
  const found: WashReason[] = []
  const say = (kind: WashReasonKind, more: Partial<WashReason> = {}): void => void found.push({ kind, what: null, sinceMs: null, untilMs: null, heldSinceMs: null, ...more })

  if (block) say('entry', { what: block.what, sinceMs: block.sinceMs })
  for (const view of alarms) {
    const kind = isThere(view) ? kindOf(view.def, site) : null
    if (kind) say(kind, { what: view.def.what, sinceMs: view.raisedMs, heldSinceMs: view.heldSinceMs })
  }
  if (waterMin !== null && waterMin < LEAST_MIN) say('water')
  if (state.work) say('work', { what: state.work.why, sinceMs: state.work.fromMs, untilMs: state.work.untilMs })
  const [visit] = state.visits.toSorted((a, b) => a.fromMs - b.fromMs)
  if (visit) say('on-site', { what: visit.why, sinceMs: visit.fromMs, untilMs: visit.overdue ? null : visit.untilMs })
  if (state.life.state === 'resting') say('resting', { what: state.life.why, untilMs: state.life.untilMs })

  return { reasons: WASH_REASONS.flatMap((kind) => oldest(found.filter((r) => r.kind === kind))), blind: WASH_WATCHES.filter((w) => !alarms.some((a) => watches(a, w, site))) }
}

/** The one that has stood longest; a reason without a time comes last. */
const oldest = (same: readonly WashReason[]): readonly WashReason[] => same.toSorted((a, b) => (a.sinceMs ?? Infinity) - (b.sinceMs ?? Infinity)).slice(0, 1)

/** Its condition is there now. A shelf rests a phone and brings no air back, so what is shelved still counts; what is out of service or suppressed by design says nothing. */
const isThere = (v: AlarmView): boolean => v.state !== 'normal' && v.state !== 'returned' && v.clearedMs === null && inUse(v)
const inUse = (v: AlarmView): boolean => v.shown !== 'out-of-service' && v.shown !== 'suppressed'

/** What an alarm says against washing; null: nothing. */
function kindOf(def: AlarmDef, site: WashFacts['site']): WashReasonKind | null {
  const { rule } = def
  if (rule.kind === 'no-air' || def.id === `${def.site}/${VISIT_AIR}` || def.id === `${def.site}/${POWER_AIR}`) return 'air'
  if (rule.kind === 'water-left') return def.severity === 'minor' ? null : 'water'
  if (rule.kind !== 'limit' && rule.kind !== 'state') return null
  const stage = site.stages.find((s) => s.id === def.stage)?.kind
  switch (site.signals.find((s) => s.id === rule.signal)?.quantity) {
    case 'h2s':
    case 'ozone':
      return 'gas'
    case 'float':
      if (stage === 'finished' && rule.kind === 'state' && rule.value === 0) return 'water'
      return def.class === 'environment' ? overflowing(def, stage) : null
    case 'level':
      if (stage === 'finished' && rule.kind === 'limit' && rule.side === 'low') return def.severity === 'minor' ? null : 'water'
      return def.class === 'environment' ? overflowing(def, stage) : null
    case 'do':
      return rule.kind === 'limit' && rule.side === 'low' && def.severity === 'severe' ? 'oxygen' : null
    case 'ph':
      if (rule.kind !== 'limit' || def.respondWithinMin > SOON_MIN) return null
      return rule.side === 'low' ? 'acid' : 'alkaline'
    default:
      return null
  }
}

const overflowing = (def: AlarmDef, stage: string | undefined): WashReasonKind => (stage !== 'sump' ? 'leak' : def.severity === 'severe' ? 'overflow' : 'sump')

const WATCHED: Readonly<Record<WashWatch, readonly WashReasonKind[]>> = { air: ['air'], sump: ['sump', 'overflow'], acidity: ['acid', 'alkaline'], gas: ['gas'] }

function watches(view: AlarmView, what: WashWatch, site: WashFacts['site']): boolean {
  const kind = inUse(view) ? kindOf(view.def, site) : null
  // That air runs again after a visit is no watch over the air of every other day.
  return kind !== null && WATCHED[what].includes(kind) && (kind !== 'air' || view.def.rule.kind === 'no-air')
}
