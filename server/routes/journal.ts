import { z } from 'zod'
import type { AlarmView } from '../../gateway/alarms/alarm.ts'
import type { GatewayPort } from '../../gateway/port.ts'
import { siteOfKey } from '../../gateway/site/reading.ts'
import { journalLine } from '../bodies/alarm.ts'
import { journalBody } from '../wire.ts'
import { countField, siteField, timeField } from './fields.ts'
import { spanOf } from './history.ts'
import { loopOf } from './known.ts'
import { row } from './row.ts'

const WEEK_MS = 7 * 86_400_000

export const journalRows = [
  row({
    method: 'GET',
    path: '/api/journal',
    summary: 'What happened to alarms, newest first.',
    query: z.strictObject({
      site: siteField.optional(),
      from: timeField.optional().describe('Start, inclusive; a week before `to` unless given. Ms since 1970 UTC or RFC 3339.'),
      to: timeField.optional().describe('End, exclusive; now unless given. Ms since 1970 UTC or RFC 3339.'),
      limit: countField(1, 1000, 'At most so many events; 200 unless given').optional(),
    }),
    reply: journalBody,
    faults: ['unknown-loop'],
    async answer({ gateway }, { query, nowMs }) {
      if (query.site !== undefined) loopOf(gateway, query.site)
      // To the end of this millisecond, so that what has just happened is in it.
      const span = spanOf(query, nowMs + 1, WEEK_MS)
      const events = await gateway.journal({ ...span, limit: query.limit ?? 200, ...(query.site !== undefined && { site: query.site }) })
      const find = finder(gateway)
      return { events: events.map((e) => journalLine(e, find(e.alarm), gateway.site(siteOfKey(e.alarm))?.site)) }
    },
  }),
]

/** Finds alarms by id, asking for each site once. */
function finder(gateway: GatewayPort): (id: string) => AlarmView | undefined {
  const bySite = new Map<string, ReadonlyMap<string, AlarmView>>()
  return (id) => {
    const site = siteOfKey(id)
    let views = bySite.get(site)
    if (!views) {
      views = new Map(gateway.alarmsOf(site).map((v) => [v.def.id, v]))
      bySite.set(site, views)
    }
    return views.get(id)
  }
}
