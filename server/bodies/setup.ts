/** Site files and credentials as the setup pages see them. */
import type { CredentialsPort, GatewayPort, SiteFileTried } from '../../gateway/port.ts'
import type { CredentialsBody, SetupBody, SiteFileTriedBody } from '../wire.ts'
import { unitText } from './unit.ts'

const nameOf = (gateway: Pick<GatewayPort, 'site'>, site: string): string => gateway.site(site)?.site.name ?? site

export function setupOf(gateway: GatewayPort, nowMs: number): SetupBody {
  const files = gateway.siteFiles.list()
  const told = new Set(files.flatMap((f) => f.faults.map((x) => `${x.file} ${x.line} ${x.message}`)))
  return {
    locked: gateway.siteFiles.locked,
    folder: gateway.siteFiles.folder,
    files: files.map((f) => ({ ...f, faults: [...f.faults] })),
    faults: gateway.health().siteFaults.filter((f) => !told.has(`${f.file} ${f.line} ${f.message}`)),
    unassigned: gateway.unassigned().length,
    reviews: gateway
      .dueEverywhere()
      .flatMap((d) => d.items)
      .filter((i) => i.kind === 'review' && (i.dueMs === null || i.dueMs <= nowMs))
      .map((i) => ({ site: i.site, siteName: nameOf(gateway, i.site), dueMs: i.dueMs, why: i.why })),
    unused: gateway.credentials
      .list()
      .filter((c) => c.usedMs === null)
      .map((c) => ({ site: c.site, siteName: nameOf(gateway, c.site), createdMs: c.createdMs })),
  }
}

export function triedOf({ file, site, isNew, text, fields, mark, diff, faults, difference: d }: SiteFileTried): SiteFileTriedBody {
  return {
    file,
    site,
    isNew,
    text,
    mark,
    fields: fields && { ...fields },
    diff: diffOf(diff),
    faults: [...faults],
    means: d && {
      signals: { added: [...d.signals.added], gone: [...d.signals.gone], changed: d.signals.changed.map((s) => ({ ...s, what: [...s.what] })) },
      alarms: {
        added: [...d.alarms.added],
        gone: [...d.alarms.gone],
        changed: d.alarms.changed.map((a) => ({ ...a, unit: unitText(a.unit), moved: a.moved.map((m) => ({ field: m.field, was: plainly(m.was), is: plainly(m.is) })) })),
      },
      vitals: { unlocked: [...d.vitals.unlocked], lost: [...d.vitals.lost] },
      warnings: [...d.warnings],
    },
  }
}

export const diffOf = (diff: SiteFileTried['diff']): SiteFileTriedBody['diff'] => diff.map((stretch) => [...stretch])
const plainly = (v: number | string | boolean | readonly string[] | null): number | string | boolean | string[] | null =>
  Array.isArray(v) ? [...v] : (v as number | string | boolean | null)

export function credentialsOf(gateway: Pick<GatewayPort, 'site' | 'sites'>, port: CredentialsPort): CredentialsBody {
  const has = new Map(port.list().map((c) => [c.site, c]))
  const ids = [...new Set([...gateway.sites().map((s) => s.site.id), ...has.keys()])]
  return {
    locked: port.locked,
    outside: [...port.outside],
    sites: ids.map((site) => {
      const c = has.get(site)
      return { site, siteName: nameOf(gateway, site), createdMs: c?.createdMs ?? null, usedMs: c?.usedMs ?? null, known: gateway.site(site) !== null }
    }),
  }
}
