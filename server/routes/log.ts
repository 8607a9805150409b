import { z } from 'zod'
import { newEntrySchema, type LogEntry } from '../../gateway/log/entry.ts'
import type { SiteState } from '../../gateway/port.ts'
import { protectionsOf } from '../../gateway/site/protections.ts'
import { entryBodyOf } from '../bodies/loop-detail.ts'
import { Fault, listed, shown } from '../errors.ts'
import { entryBody, logBody } from '../wire.ts'
import { countField, siteField, timeField } from './fields.ts'
import { spanOf } from './history.ts'
import { loopOf } from './known.ts'
import { row } from './row.ts'

const MONTH_MS = 30 * 86_400_000
/** A clock on a phone may run ahead a little; an entry about tomorrow is a slip of the pen. */
const AHEAD_MS = 5 * 60_000

export const logRows = [
  row({
    method: 'GET',
    path: '/api/log',
    summary: 'The site log: what people saw, measured, filled, replaced and did, newest first.',
    query: z.strictObject({
      site: siteField.optional(),
      from: timeField.optional().describe('Start, inclusive; 30 days before `to` unless given. Ms since 1970 UTC or RFC 3339.'),
      to: timeField.optional().describe('End, exclusive; five minutes from now unless given. Ms since 1970 UTC or RFC 3339.'),
      limit: countField(1, 1000, 'At most so many entries; 200 unless given').optional(),
    }),
    reply: logBody,
    faults: ['unknown-loop'],
    async answer({ gateway }, { query, nowMs }) {
      if (query.site !== undefined) loopOf(gateway, query.site)
      const span = spanOf(query, nowMs + AHEAD_MS + 1, MONTH_MS)
      const entries = await gateway.log.list({ ...span, limit: query.limit ?? 200, ...(query.site !== undefined && { site: query.site }) })
      return { entries: entries.map(entryBodyOf) }
    },
  }),
  row({
    method: 'POST',
    path: '/api/log',
    summary: 'Write an entry, under the name of the session or token. Entries are never changed: a later one corrects an earlier one by naming its id.',
    body: newEntrySchema,
    reply: entryBody,
    status: 201,
    faults: ['unknown-loop'],
    async answer({ gateway }, { body, person, nowMs }) {
      const state = loopOf(gateway, body.site)
      if (body.atMs > nowMs + AHEAD_MS)
        throw new Fault('bad-request', `body field atMs: ${body.atMs} found: that lies ahead of now (${nowMs}, ms since 1970 UTC); an entry tells what has happened`)
      if (body.about !== undefined)
        checkAbout(
          state,
          body.about,
          gateway.alarmsOf(body.site).map((a) => a.def.id),
        )
      let written: LogEntry
      try {
        written = await gateway.log.add(body, person.name)
      } catch (e) {
        // The only refusal a log makes for its content; anything else is a failure of ours and goes on as one.
        if (body.corrects !== undefined && e instanceof Error && e.message.includes('"corrects"')) throw new Fault('bad-request', `body field corrects: ${e.message}`)
        throw e
      }
      return entryBodyOf(written)
    },
  }),
]

/** `about` is read by programs later: a slip in it would hide the entry from them. */
function checkAbout({ site }: SiteState, about: string, alarms: readonly string[]): void {
  const places = [...site.stages, ...site.equipment, ...protectionsOf(site), ...site.consumables, ...site.signals].map((x) => x.id)
  if (places.includes(about) || alarms.includes(about)) return
  throw new Fault(
    'bad-request',
    `body field about: ${shown(about)} found: name a stage, machine, protection, consumable, signal or alarm of loop ${site.id}: ${listed(places, 60)}`,
  )
}
