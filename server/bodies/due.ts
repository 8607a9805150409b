/** Due lists and protections as the page and programs get them, and the list of the fleet as CSV. */
import { cell, timeText } from '../../gateway/history/csv/cells.ts'
import type { AlarmView } from '../../gateway/alarms/alarm.ts'
import type { DueItem } from '../../gateway/due/item.ts'
import { dueOrder } from '../../gateway/due/due.ts'
import type { LoopDue, SiteState } from '../../gateway/port.ts'
import { protectionNamed } from '../../gateway/site/protections.ts'
import type { Site } from '../../gateway/site/site.ts'
import type { DueBody, DueItemBody, FleetDueBody } from '../wire.ts'

export function dueBodyOf(site: Site, due: LoopDue, alarms: readonly AlarmView[]): DueBody {
  return {
    site: site.id,
    atMs: due.atMs,
    items: due.items.map((d) => itemOf(site, d)),
    protections: due.proofs.map((p) => ({
      id: p.id,
      what: p.what,
      fitted: p.fitted,
      provedMs: p.provedMs,
      provedBy: p.provedBy,
      dueMs: p.dueMs,
      prove: p.prove,
      everyDays: p.everyDays,
      alarms: alarms.filter((a) => a.def.protection !== null && protectionNamed(site, a.def.protection)?.id === p.id).map((a) => ({ id: a.def.id, what: a.def.what })),
    })),
  }
}

export function fleetDueBodyOf(states: readonly SiteState[], due: readonly LoopDue[], nowMs: number, site: string | null): FleetDueBody {
  const wanted = states.filter((s) => site === null || s.site.id === site)
  const sites = new Map(wanted.map((s) => [s.site.id, s.site]))
  const lists = due.filter((d) => sites.has(d.site))
  return {
    nowMs,
    waiting: wanted.length - lists.length,
    sites: wanted.map(({ site: s }) => ({ id: s.id, name: s.name, zone: s.zone })),
    items: lists
      .flatMap((d) => d.items)
      .toSorted(dueOrder(nowMs))
      .flatMap((d) => {
        const at = sites.get(d.site)
        return at ? [{ ...itemOf(at, d), site: d.site }] : []
      }),
  }
}

function itemOf(at: Site, item: DueItem): DueItemBody {
  const { site: _, settles, dueMs, ...d } = item
  return { ...d, dueMs: dueMs === null ? null : Math.round(dueMs), settles: settles && { ...settles }, stageName: at.stages.find((s) => s.id === d.stage)?.name ?? null }
}

const COLUMNS = ['loop', 'name', 'due', 'overdue_days', 'kind', 'what', 'where', 'why', 'bring'] as const

/** One line for each thing due, RFC 4180; times in UTC. */
export function* dueCsv(body: FleetDueBody): Generator<string> {
  yield `${COLUMNS.join(',')}\r\n`
  const names = new Map(body.sites.map((s) => [s.id, s.name]))
  for (const d of body.items) {
    const late = d.dueMs !== null && d.dueMs <= body.nowMs ? String(Math.floor((body.nowMs - d.dueMs) / 86_400_000)) : ''
    yield `${[d.site, names.get(d.site) ?? '', d.dueMs === null ? '' : timeText(d.dueMs), late, d.kind, d.what, d.stageName ?? '', d.why, d.bring].map(safe).join(',')}\r\n`
  }
}

/** A text that a spreadsheet would take for a formula gets a quote in front: names and notes come from people. */
export const safe = (text: string): string => cell(/^[=+\-@\t\r]/.test(text) && !/^-?\d/.test(text) ? `'${text}` : text)
