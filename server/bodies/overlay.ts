/** What lies over an alarm, and floods, as people see them. */
import type { AlarmView } from '../../gateway/alarms/alarm.ts'
import type { Flood, Floods } from '../../gateway/alarms/flood.ts'
import { shelfBound } from '../../gateway/alarms/shelf-bound.ts'
import type { GatewayPort } from '../../gateway/port.ts'
import { siteOfKey } from '../../gateway/site/reading.ts'
import type { AlarmBody, FloodsBody } from '../wire.ts'

type OverlayBody = Pick<AlarmBody, 'shown' | 'shelved' | 'suppressed' | 'outOfService' | 'hiddenCount' | 'reAlarms' | 'firstOut' | 'shelf'>

export function overlayBodyOf(view: AlarmView, zone: string, nowMs: number): OverlayBody {
  const { shown, shelved, suppressed, outOfService, hiddenCount, reAlarms, firstOut } = view
  return { shown, shelved, suppressed, outOfService, hiddenCount, reAlarms, firstOut, shelf: shelfBound(view.def, zone, nowMs) }
}

export function floodsBodyOf(gateway: Pick<GatewayPort, 'site' | 'alarmsOf'>, floods: Floods): FloodsBody {
  const nameOf = (site: string): string => gateway.site(site)?.site.name ?? site
  const whatOf = (alarm: string): string => gateway.alarmsOf(siteOfKey(alarm)).find((v) => v.def.id === alarm)?.def.what ?? alarm.slice(alarm.indexOf('/') + 1)
  const flood = (f: Flood) => ({
    sinceMs: f.sinceMs,
    count: f.count,
    peak: f.peak,
    lately: f.lately,
    firstMs: f.firstMs,
    firstAlarm: f.firstAlarm,
    firstWhat: whatOf(f.firstAlarm),
  })
  return {
    fleet: floods.fleet && flood(floods.fleet),
    sites: floods.sites.map((f) => ({ ...flood(f), site: f.site ?? '', siteName: nameOf(f.site ?? '') })),
    groups: floods.groups.map((g) => ({
      rule: g.rule,
      what: whatOf(g.firstAlarm),
      sinceMs: g.sinceMs,
      latestMs: g.latestMs,
      sites: g.sites.map((site) => ({ site, siteName: nameOf(site) })),
    })),
  }
}
