/** Alarms as people see them. */
import type { AlarmView, Rule } from '../../gateway/alarms/alarm.ts'
import { PRIORITIES } from '../../gateway/alarms/alarm.ts'
import { expectedDetectionMs } from '../../gateway/alarms/detection-delay.ts'
import { signalOfRule } from '../../gateway/alarms/rule-signals.ts'
import type { JournalledEvent } from '../../gateway/alarms/event-query.ts'
import type { SiteState } from '../../gateway/port.ts'
import type { Site } from '../../gateway/site/site.ts'
import { alarmCautions } from './cautions.ts'
import type { AlarmBody, JournalBody } from '../wire.ts'
import { valueNow } from './freshness.ts'
import { overlayBodyOf } from './overlay.ts'
import { unitText } from './unit.ts'
import { minutesLeft } from './water.ts'

/** What the alarm's value would be at this moment: the reading, or what the rule makes of it. */
export function alarmValueNow(state: SiteState, rule: Rule, nowMs: number): number | null {
  // Of a rate, a distance or a time the reading itself is not the figure.
  if (rule.kind !== 'limit' && rule.kind !== 'state' && rule.kind !== 'no-air' && rule.kind !== 'water-left') return null
  const id = signalOfRule(rule)
  const value = valueNow(
    state,
    state.site.signals.find((s) => s.id === id),
    nowMs,
  )
  return value !== null && rule.kind === 'water-left' ? minutesLeft(value, rule) : value
}

export function alarmBodyOf(view: AlarmView, state: SiteState, nowMs: number): AlarmBody {
  const { def } = view
  const { site } = state
  const id = signalOfRule(def.rule)
  const signal = site.signals.find((s) => s.id === id)
  return {
    id: def.id,
    site: site.id,
    siteName: site.name,
    zone: site.zone,
    stage: def.stage,
    stageName: site.stages.find((s) => s.id === def.stage)?.name ?? null,
    signal: id,
    priority: def.priority,
    state: view.state,
    ...overlayBodyOf(view, site.zone, nowMs),
    occurrence: view.occurrence,
    version: view.version,
    what: def.what,
    value: view.value,
    valueNow: alarmValueNow(state, def.rule, nowMs),
    limit: view.limit,
    ...((def.rule.kind === 'rate' || def.rule.kind === 'deviation' || def.rule.kind === 'drift') && { difference: true }),
    unit: unitText(view.unit),
    digits: def.rule.kind === 'water-left' ? 0 : (signal?.digits ?? 0),
    raisedMs: view.raisedMs,
    clearedMs: view.clearedMs,
    heldSinceMs: view.heldSinceMs,
    acknowledgedBy: view.acknowledgedBy,
    acknowledgedMs: view.acknowledgedMs,
    note: view.note,
    raisedNote: view.raisedNote,
    count: view.count,
    cause: def.cause,
    consequence: def.consequence,
    action: [...def.action],
    confirm: def.confirm,
    respondWithinMin: def.respondWithinMin,
    detectMs: expectedDetectionMs(site, def.rule),
    basis: def.basis,
    cautions: alarmCautions(def.cautions),
  }
}

/** Nobody has answered it yet. */
const unanswered = (v: AlarmView): boolean => v.state === 'unacknowledged' || v.state === 'returned' || v.state === 'latched-unacknowledged'
/** The condition still holds. */
const active = (v: AlarmView): boolean => v.state === 'unacknowledged' || v.state === 'acknowledged'

const byPriority = (a: AlarmView, b: AlarmView): number => PRIORITIES.indexOf(a.def.priority) - PRIORITIES.indexOf(b.def.priority)
const bySooner = (a: AlarmView, b: AlarmView): number => (b.raisedMs ?? 0) - (a.raisedMs ?? 0) || (a.def.id < b.def.id ? -1 : 1)

/** Order within one loop: the worst that still holds first. */
export const worstFirst = (a: AlarmView, b: AlarmView): number =>
  byPriority(a, b) || Number(active(b)) - Number(active(a)) || Number(unanswered(b)) - Number(unanswered(a)) || bySooner(a, b)

/** Order of a list over loops: what nobody has answered first, then priority, then the newest. */
export const unansweredFirst = (a: AlarmView, b: AlarmView): number => Number(unanswered(b)) - Number(unanswered(a)) || byPriority(a, b) || bySooner(a, b)

/** Digits an alarm's figures are shown with; null: it has no figure, a contact is on or off. */
function digitsOfAlarm(rule: Rule, site: Site): number | null {
  if (rule.kind === 'water-left') return 0
  return rule.kind === 'limit' ? (site.signals.find((s) => s.id === rule.signal)?.digits ?? 0) : null
}

/** A line of the journal; an alarm that is no longer defined keeps its id as its name. */
export function journalLine(e: JournalledEvent, view: AlarmView | undefined, site: Site | undefined): JournalBody['events'][number] {
  return {
    seq: e.seq,
    alarm: e.alarm,
    occurrence: e.occurrence,
    kind: e.kind,
    atMs: e.atMs,
    recordedMs: e.recordedMs,
    state: e.state,
    value: e.value,
    limit: e.limit,
    unit: unitText(e.unit),
    digits: view && site ? digitsOfAlarm(view.def.rule, site) : 1,
    by: e.by,
    note: e.note,
    what: view?.def.what ?? `${e.alarm.slice(e.alarm.indexOf('/') + 1)} (no longer defined)`,
    priority: view?.def.priority ?? 'alert',
  }
}
