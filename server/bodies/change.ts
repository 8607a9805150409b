/** Changes of alarms as people see them. */
import type { AlarmChange } from '../../gateway/alarms/changes.ts'
import { figuresOf, type InForce, type Proposal } from '../../gateway/alarms/changes-proposal.ts'
import type { Changeable, RaisedUnder, SiteState } from '../../gateway/port.ts'
import type { Site } from '../../gateway/site/site.ts'
import type { ChangeableBody, ChangeBody, InForceBody, PreviewBody } from '../wire.ts'
import { signalOfRule } from '../../gateway/alarms/rule-signals.ts'
import { alarmValueNow } from './alarm.ts'
import { unitText } from './unit.ts'

const inForceOf = (f: InForce): InForceBody => ({ ...f, action: [...f.action] })

/** Unit the figures of an alarm are given in, and their digits. */
function unitOf({ def }: Changeable, site: Site): { readonly unit: string; readonly digits: number } {
  const signal = site.signals.find((s) => s.id === signalOfRule(def.rule))
  if (def.rule.kind === 'water-left') return { unit: 'min', digits: 0 }
  return { unit: signal ? unitText(signal.unit) : '', digits: signal?.digits ?? 0 }
}

export function changeableOf(c: Changeable, state: SiteState, raised: RaisedUnder | null, nowMs: number): ChangeableBody {
  const { def } = c
  return {
    alarm: def.id,
    site: def.site,
    siteName: state.site.name,
    what: def.what,
    ...unitOf(c, state.site),
    now: inForceOf(c.now),
    mark: c.mark,
    byPage: Object.keys(c.page),
    byFile: Object.keys(c.file),
    valueNow: alarmValueNow(state, def.rule, nowMs),
    raisedUnder:
      raised === null || raised.version === def.version
        ? null
        : { version: raised.version, ...figuresOf(raised.rule), priority: raised.priority, respondWithinMin: raised.respondWithinMin },
  }
}

export const previewOf = (p: Extract<Proposal, { ok: true }>): PreviewBody => ({
  was: inForceOf(p.was),
  is: inForceOf(p.is),
  moved: p.moved.map(movedOf),
  warnings: [...p.warnings],
  needsApprover: p.needsApprover,
})

export function changeBodyOf(c: AlarmChange, now: Changeable | null, site: Site | undefined): ChangeBody {
  const priorities = c.moved.filter((m) => m.field === 'priority').flatMap((m) => [m.was, m.is])
  return {
    id: c.id,
    alarm: c.alarm,
    site: c.site,
    siteName: site?.name ?? c.site,
    what: now?.def.what ?? `${c.alarm.slice(c.site.length + 1)} (no longer defined)`,
    unit: now && site ? unitOf(now, site).unit : '',
    atMs: c.atMs,
    by: c.by,
    approver: c.approver,
    reason: c.reason,
    moved: c.moved.map(movedOf),
    undoes: c.undoes,
    needsApprover: now?.def.priority === 'high' || now?.def.class === 'safety' || priorities.includes('high'),
  }
}

const movedOf = (m: AlarmChange['moved'][number]): ChangeBody['moved'][number] => ({ field: m.field, was: plainly(m.was), is: plainly(m.is) })
const plainly = (v: AlarmChange['moved'][number]['was']): string | number | boolean | string[] | null =>
  v === null || typeof v === 'string' || typeof v === 'number' || typeof v === 'boolean' ? v : [...v]
