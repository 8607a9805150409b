/** Alarms of a loop with their records, for the page and as CSV. */
import type { AlarmView } from '../../gateway/alarms/alarm.ts'
import { PRIORITIES } from '../../gateway/alarms/alarm.ts'
import { recordOf, type AlarmRecord } from '../../gateway/alarms/record.ts'
import type { LoopDue } from '../../gateway/port.ts'
import type { Site } from '../../gateway/site/site.ts'
import type { RulesBody } from '../wire.ts'
import { safe } from './due.ts'

/** `due`: its protections carry proofs of the site log; null: the site file alone speaks. */
export function rulesBodyOf(site: Site, alarms: readonly AlarmView[], due: LoopDue | null, nowMs: number): RulesBody {
  const rules = recordsOf(site, alarms, due)
  const count = (p: AlarmRecord['priority']): number => rules.filter((r) => r.priority === p).length
  return {
    site: site.id,
    name: site.name,
    zone: site.zone,
    nowMs,
    rules: rules.map((record) => {
      const { site: _, ...r } = record
      return { ...r, action: [...r.action], protection: r.protection && { ...r.protection } }
    }),
    mix: { high: count('high'), medium: count('medium'), low: count('low'), alert: count('alert') },
  }
}

/** In the order of the train, worst first within a stage; being blind for one comes after them. */
export function recordsOf(site: Site, alarms: readonly AlarmView[], due: LoopDue | null): readonly AlarmRecord[] {
  const proved = new Map(due?.proofs.map((p) => [p.id, p.provedMs === null ? null : dateIn(site.zone, p.provedMs)]) ?? [])
  const place = (a: AlarmView): number => {
    const at = site.stages.findIndex((s) => s.id === a.def.stage)
    return at < 0 ? site.stages.length : at
  }
  const blind = (a: AlarmView): number => Number(a.def.rule.kind === 'blind')
  return alarms
    .toSorted((a, b) => place(a) - place(b) || blind(a) - blind(b) || PRIORITIES.indexOf(a.def.priority) - PRIORITIES.indexOf(b.def.priority) || (a.def.id < b.def.id ? -1 : 1))
    .map((a) => recordOf(site, a.def, (id) => proved.get(id) ?? null))
}

const zones = new Map<string, Intl.DateTimeFormat>()

/** Local date, `2026-09-14`. */
function dateIn(zone: string, ms: number): string {
  let f = zones.get(zone)
  if (!f) zones.set(zone, (f = new Intl.DateTimeFormat('en-CA', { timeZone: zone, year: 'numeric', month: '2-digit', day: '2-digit' })))
  return f.format(ms)
}

const COLUMNS: readonly (readonly [string, (r: AlarmRecord) => string | number | null])[] = [
  ['loop', (r) => r.site],
  ['alarm', (r) => r.id],
  ['stage', (r) => r.stage],
  ['what', (r) => r.what],
  ['kind', (r) => r.kind],
  ['priority', (r) => r.priority],
  ['priority_because', (r) => r.priorityBecause],
  ['severity', (r) => r.severity],
  ['class', (r) => r.class],
  ['cause', (r) => r.cause],
  ['consequence', (r) => r.consequence],
  ['action', (r) => r.action.join(' | ')],
  ['confirm', (r) => r.confirm],
  ['respond_within_min', (r) => r.respondWithinMin],
  ['raises', (r) => r.raises],
  ['basis', (r) => r.basis],
  ['detection_at_worst_min', (r) => r.detectionMin],
  ['left_for_a_person_min', (r) => r.leftMin],
  ['latching', (r) => (r.latching ? 'yes' : 'no')],
  ['shelve_at_most_min', (r) => r.shelveMostMin ?? 'not'],
  ['held_back', (r) => r.suppressed],
  ['protection', (r) => r.protection?.what ?? null],
  ['protection_fitted', (r) => r.protection?.fitted ?? null],
  ['protection_proved', (r) => r.protection?.provedOn ?? null],
  ['owner', (r) => r.owner],
  ['reviewed', (r) => r.reviewedOn],
  ['review_by', (r) => r.reviewBy],
  ['version', (r) => r.version],
]

export const rulesCsvHead = `${COLUMNS.map(([name]) => name).join(',')}\r\n`

export const rulesCsvLine = (r: AlarmRecord): string => `${COLUMNS.map(([, of]) => safe(String(of(r) ?? ''))).join(',')}\r\n`
