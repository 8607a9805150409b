/** The site log on the state database: entries are added, never changed; a wrong one is put right by a later one that names it. */
import { sql } from 'kysely'
import type { Clock } from '../clock.ts'
import type { Database, LogRow } from '../database.ts'
import type { EntryKind, LogEntry, SiteLog } from './entry.ts'

/** Opens the log. `add` rejects with one sentence when an entry corrects one that is not there, or is of another site. */
export function openSiteLog(db: Database, clock: Clock): SiteLog {
  return {
    async add(entry, by) {
      const recordedMs = clock.nowMs()
      return db.transaction().execute(async (t) => {
        // The write comes first: a transaction that begins with a read can be refused when it turns into a write.
        const { id } = await t
          .insertInto('site_log')
          .values({ ...rowOf({ ...entry, by, recordedMs, id: 0 }), id: (e) => e.selectFrom('site_log').select(sql<number>`coalesce(max(id), 0) + 1`.as('id')) })
          .returning('id')
          .executeTakeFirstOrThrow()
        if (entry.corrects !== undefined) {
          const wrong = await t.selectFrom('site_log').select('site').where('id', '=', entry.corrects).where('id', '<', id).executeTakeFirst()
          if (wrong?.site !== entry.site) throw new Error(`entry ${entry.corrects} is none of the log of ${entry.site}: "corrects" must name one that is`)
        }
        return { ...entry, id, by, recordedMs }
      })
    },

    async list(q) {
      let s = db.selectFrom('site_log').selectAll().where('at_ms', '>=', q.fromMs).where('at_ms', '<', q.toMs)
      if (q.site !== undefined) s = s.where('site', '=', q.site)
      const rows = await s.orderBy('at_ms', 'desc').orderBy('id', 'desc').limit(q.limit).execute()
      return rows.map(entryOf)
    },
  }
}

const rowOf = (e: LogEntry): LogRow => ({
  id: e.id,
  site: e.site,
  kind: e.kind,
  at_ms: e.atMs,
  about: e.about ?? null,
  item: e.item ?? null,
  value: e.value ?? null,
  as_found: e.asFound ?? null,
  unit: e.unit ?? null,
  below: e.below === undefined ? null : e.below ? 1 : 0,
  text: e.text ?? null,
  corrects: e.corrects ?? null,
  by_whom: e.by,
  recorded_ms: e.recordedMs,
})

const entryOf = (r: LogRow): LogEntry => ({
  id: r.id,
  site: r.site,
  kind: r.kind as EntryKind,
  atMs: r.at_ms,
  by: r.by_whom,
  recordedMs: r.recorded_ms,
  ...(r.about !== null && { about: r.about }),
  ...(r.item !== null && { item: r.item }),
  ...(r.value !== null && { value: r.value }),
  ...(r.as_found !== null && { asFound: r.as_found }),
  ...(r.unit !== null && { unit: r.unit }),
  ...(r.below !== null && { below: r.below === 1 }),
  ...(r.text !== null && { text: r.text }),
  ...(r.corrects !== null && { corrects: r.corrects }),
})
