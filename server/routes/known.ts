/** Finds what a request names, or refuses it saying what there is. */
import type { AlarmView } from '../../gateway/alarms/alarm.ts'
import type { GatewayPort, SiteState } from '../../gateway/port.ts'
import { siteOfKey } from '../../gateway/site/reading.ts'
import { QUANTITIES, type QuantitySpec } from '../../gateway/site/quantity.ts'
import type { Signal } from '../../gateway/site/site.ts'
import type { Coursed } from '../bodies/course.ts'
import type { Trended } from '../bodies/history.ts'
import { unitText } from '../bodies/unit.ts'
import { Fault, listed, shown } from '../errors.ts'

/** A vital that does not move is given this often. */
const VITAL_EVERY_MS = 15 * 60_000

export function loopOf(gateway: GatewayPort, id: string): SiteState {
  const state = gateway.site(id)
  if (state) return state
  const names = gateway.sites().map((s) => s.site.id)
  throw new Fault('unknown-loop', names.length === 0 ? `no loop ${shown(id)}: there are none yet` : `no loop ${shown(id)}: there are ${listed(names)}`)
}

/** A measured or computed signal of a loop. */
export function signalOf(gateway: Pick<GatewayPort, 'vitals'>, state: SiteState, id: string): Trended {
  const vital = gateway.vitals(state.site.id).find((v) => v.def.id === id)
  if (vital) return { id, unit: vital.def.unit, unitText: vital.def.unitText }
  const signal = measuredOf(state, id)
  return { id, unit: signal.unit, unitText: unitText(signal.unit) }
}

/** A measured or computed signal with what its course needs, and how often it has a reading. */
export function coursedOf(gateway: Pick<GatewayPort, 'vitals'>, state: SiteState, id: string): { readonly signal: Coursed; readonly everyMs: number } {
  const vital = gateway.vitals(state.site.id).find((v) => v.def.id === id)
  if (vital) {
    const { unit, unitText: text, digits } = vital.def
    return { signal: { id, unit, unitText: text, digits, resolution: 10 ** -digits, kind: 'analogue' }, everyMs: VITAL_EVERY_MS }
  }
  const signal = measuredOf(state, id)
  const { unit, digits, resolution, quantity } = signal
  const spec: QuantitySpec = QUANTITIES[quantity]
  return { signal: { id, unit, unitText: unitText(unit), digits, resolution, kind: spec.kind }, everyMs: Math.max(signal.sampleEveryMs, signal.reportEveryMs) }
}

/** A signal the loop's site file names. */
export function measuredOf(state: SiteState, id: string): Signal {
  const signal = state.site.signals.find((s) => s.id === id)
  if (signal) return signal
  throw new Fault(
    'unknown-signal',
    `loop ${state.site.id} has no signal ${shown(id)}: it has ${listed(
      state.site.signals.map((s) => s.id),
      60,
    )}`,
  )
}

export function alarmOf(gateway: GatewayPort, id: string): { readonly state: SiteState; readonly view: AlarmView } {
  const slash = id.indexOf('/')
  if (slash < 1) throw new Fault('unknown-alarm', `no alarm ${shown(id)}: the id of an alarm is <loop>/<rule>, in a path written as <loop>%2F<rule>`)
  const state = gateway.site(siteOfKey(id))
  if (!state) throw new Fault('unknown-alarm', `no alarm ${shown(id)}: there is no loop ${shown(siteOfKey(id))}`)
  const all = gateway.alarmsOf(state.site.id)
  const view = all.find((a) => a.def.id === id)
  if (view) return { state, view }
  throw new Fault(
    'unknown-alarm',
    `no alarm ${shown(id)}: loop ${state.site.id} has ${listed(
      all.map((a) => a.def.id),
      60,
    )}`,
  )
}
