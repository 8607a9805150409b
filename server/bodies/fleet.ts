/** Many loops at once: the standing alarms are asked for once and handed out by site. */
import type { AlarmView } from '../../gateway/alarms/alarm.ts'
import type { GatewayPort, SiteState } from '../../gateway/port.ts'
import type { Site } from '../../gateway/site/site.ts'
import type { LoopBody } from '../wire.ts'
import { loopBodyOf, waterRuleOf, type WaterRule } from './loop.ts'

// A site object is replaced as a whole when its file changes, and its alarm definitions with it.
const waterRules = new WeakMap<Site, { readonly rule: WaterRule | null }>()

function waterRule(gateway: GatewayPort, site: Site): WaterRule | null {
  let known = waterRules.get(site)
  if (!known) {
    known = { rule: waterRuleOf(gateway.alarmsOf(site.id)) }
    waterRules.set(site, known)
  }
  return known.rule
}

/** Bodies of `states`, in their order. */
export function fleetBodies(gateway: GatewayPort, states: readonly SiteState[], nowMs: number): LoopBody[] {
  const standing = new Map<string, AlarmView[]>()
  for (const view of gateway.standing()) {
    const list = standing.get(view.def.site)
    if (list) list.push(view)
    else standing.set(view.def.site, [view])
  }
  return states.flatMap((s) => {
    const loopState = gateway.loopState(s.site.id)
    return loopState ? [loopBodyOf(s, standing.get(s.site.id) ?? [], waterRule(gateway, s.site), nowMs, loopState)] : []
  })
}
