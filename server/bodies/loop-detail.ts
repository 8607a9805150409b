/** One loop as its own page shows it: everything known about it now. */
import type { AlarmView } from '../../gateway/alarms/alarm.ts'
import type { LogEntry } from '../../gateway/log/entry.ts'
import type { LoopStateView, SiteState } from '../../gateway/port.ts'
import { notObserved } from '../../gateway/site/observable.ts'
import { within, type Equipment, type Site } from '../../gateway/site/site.ts'
import type { Explanation } from '../../gateway/vitals/vital.ts'
import type { EntryBody, LoopDetailBody } from '../wire.ts'
import { loopHazards } from './cautions.ts'
import { loopBodyOf, waterRuleOf } from './loop.ts'
import { signalBodyOf } from './signal.ts'
import { vitalBodyOf } from './vital.ts'

/** `alarms` is every definition of the site with its state; `vitals` what is computed of it; `log` its newest entries, newest first. */
export function loopDetailBodyOf(
  state: SiteState,
  alarms: readonly AlarmView[],
  vitals: readonly Explanation[],
  log: readonly LogEntry[],
  nowMs: number,
  loopState?: LoopStateView,
): LoopDetailBody {
  const { site } = state
  const standing = alarms.filter((a) => a.shown !== 'normal' && a.shown === a.state)
  return {
    ...loopBodyOf(state, standing, waterRuleOf(alarms), nowMs, loopState),
    latitude: site.latitude,
    longitude: site.longitude,
    altitudeM: site.altitudeM,
    customer: site.customer,
    openNow: within(site.open, site.zone, nowMs, true),
    yardPhone: site.yardPhone,
    access: site.access,
    signals: site.signals.map((s) => signalBodyOf(s, state.latest.get(s.id), alarms)),
    equipment: site.equipment.map((e) => ({ id: e.id, kind: e.kind, name: e.name, serves: [...e.serves], run: signalAt(site, e, 'run'), current: signalAt(site, e, 'current') })),
    protections: site.protections.map((p) => ({ ...p })),
    consumables: site.consumables.map((c) => ({ ...c })),
    notObserved: notObserved(site).map((n) => ({ ...n })),
    vitals: vitals.map(vitalBodyOf),
    hazards: loopHazards(site),
    log: log.map(entryBodyOf),
  }
}

const signalAt = (site: Site, e: Equipment, quantity: 'run' | 'current'): string | null => site.signals.find((s) => s.at === e.id && s.quantity === quantity)?.id ?? null

export const entryBodyOf = (e: LogEntry): EntryBody => ({ ...e })
