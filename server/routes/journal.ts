import { z } from 'zod'
import type { AlarmView } from '../../gateway/alarms/alarm.ts'
import type { JournalledEvent, JournalQuery } from '../../gateway/alarms/event-query.ts'
import type { GatewayPort } from '../../gateway/port.ts'
import { siteOfKey } from '../../gateway/site/reading.ts'
import { journalLine } from '../bodies/alarm.ts'
import { EVENT_KINDS, isEventKind } from '../bodies/event-kind.ts'
import { journalCsv } from '../bodies/journal-csv.ts'
import { journalBody } from '../wire.ts'
import { countField, siteField, timeField } from './fields.ts'
import { spanOf } from './history.ts'
import { loopOf } from './known.ts'
import { row, textRow } from './row.ts'

const WEEK_MS = 7 * 86_400_000
/** Rules a search is widened to by the words of their alarms. */
const MOST_RULES = 500

const filters = {
  site: siteField.optional(),
  alarm: z.string().min(1).max(300).optional().describe('Id of an alarm, also of one that is no longer defined.'),
  kind: z
    .string()
    .refine(isEventKind, `one of ${EVENT_KINDS.map((k) => k.id).join(', ')}`)
    .optional()
    .describe(`Kind of event: ${EVENT_KINDS.map((k) => k.id).join(', ')}.`),
  by: z.string().min(1).max(100).optional().describe('Name of the person.'),
  text: z
    .string()
    .trim()
    .min(1, 'some words')
    .max(100, 'at most 100 characters')
    .optional()
    .describe('Words in what the alarm says, its id, a note or a name; upper and lower case are the same.'),
  from: timeField.optional().describe('Start, inclusive; a week before `to` unless given. Ms since 1970 UTC or RFC 3339.'),
  to: timeField.optional().describe('End, exclusive; now unless given. Ms since 1970 UTC or RFC 3339.'),
}
const filterSchema = z.strictObject(filters)

export const journalRows = [
  row({
    method: 'GET',
    path: '/api/journal',
    summary: 'What happened to alarms, newest first.',
    query: z.strictObject({
      ...filters,
      before: countField(1, 999_999_999, 'Only events with a lower number than this, the last one shown').optional(),
      limit: countField(1, 1000, 'At most so many events; 200 unless given').optional(),
    }),
    reply: journalBody,
    faults: ['unknown-loop'],
    async answer({ gateway }, { query, nowMs }) {
      const limit = query.limit ?? 200
      const events = await gateway.journal({ ...askedOf(gateway, query, nowMs), limit: limit + 1, ...(query.before !== undefined && { before: query.before }) })
      const line = liner(gateway)
      return { events: events.slice(0, limit).map(line), more: events.length > limit, kinds: [...EVENT_KINDS] }
    },
  }),
  textRow('text/csv; charset=utf-8; header=present', {
    method: 'GET',
    path: '/api/journal.csv',
    summary: 'The same as CSV, newest first, sent as it is read and to its end.',
    query: filterSchema,
    faults: ['unknown-loop'],
    answer({ gateway }, { query, nowMs, setHeader }) {
      const asked = askedOf(gateway, query, nowMs)
      const line = liner(gateway)
      setHeader('content-disposition', 'attachment; filename="alarm-journal.csv"')
      return journalCsv(
        asked,
        (q) => gateway.journal(q),
        (e) => ({ ...line(e), siteName: gateway.site(siteOfKey(e.alarm))?.site.name ?? siteOfKey(e.alarm) }),
      )
    },
  }),
]

function askedOf(gateway: GatewayPort, query: z.output<typeof filterSchema>, nowMs: number): Omit<JournalQuery, 'limit' | 'before'> {
  const { site, alarm, kind, by, text } = query
  if (site !== undefined) loopOf(gateway, site)
  return {
    // To the end of this millisecond, so that what has just happened is in it.
    ...spanOf(query, nowMs + 1, WEEK_MS),
    ...(site !== undefined && { site }),
    ...(alarm !== undefined && { alarm }),
    ...(kind !== undefined && { kind }),
    ...(by !== undefined && { by }),
    ...(text !== undefined && { text: { words: text, rules: rulesSaying(gateway, text, site) } }),
  }
}

/** Rules whose alarms say these words. */
function rulesSaying(gateway: GatewayPort, text: string, site: string | undefined): readonly string[] {
  const words = text.toLowerCase()
  const rules = new Set<string>()
  for (const id of site === undefined ? gateway.sites().map((s) => s.site.id) : [site]) {
    for (const { def } of gateway.alarmsOf(id)) if (rules.size < MOST_RULES && def.what.toLowerCase().includes(words)) rules.add(def.id.slice(id.length + 1))
  }
  return [...rules]
}

/** Gives events their words, asking for each site once. */
function liner(gateway: GatewayPort): (e: JournalledEvent) => ReturnType<typeof journalLine> {
  const bySite = new Map<string, ReadonlyMap<string, AlarmView>>()
  return (e) => {
    const site = siteOfKey(e.alarm)
    let views = bySite.get(site)
    if (!views) {
      views = new Map(gateway.alarmsOf(site).map((v) => [v.def.id, v]))
      bySite.set(site, views)
    }
    return journalLine(e, views.get(e.alarm), gateway.site(site)?.site)
  }
}
