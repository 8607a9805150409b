/** Records of changes of alarms in the state database: added, never altered (the database refuses), read back in any selection. */
import type { Selectable } from 'kysely'
import type { AlarmChange, AlarmFields, Moved } from './alarms/changes.ts'
import type { ChangeRow, Database } from './database.ts'
import type { ChangeQuery } from './port.ts'

export interface ChangeStore {
  /** Newest record of each alarm. */
  newest(): Promise<readonly AlarmChange[]>
  byId(id: number): Promise<AlarmChange | null>
  /** Newest first. */
  list(q: ChangeQuery): Promise<readonly AlarmChange[]>
  /** Writes one record and gives it its number. One at a time. */
  append(change: Omit<AlarmChange, 'id'>): Promise<AlarmChange>
}

export function openChangeStore(db: Database): ChangeStore {
  return {
    async newest() {
      const ids = db
        .selectFrom('alarm_change')
        .select((e) => e.fn.max('id').as('id'))
        .groupBy('alarm')
      return (await db.selectFrom('alarm_change').selectAll().where('id', 'in', ids).orderBy('id').execute()).map(changeOf)
    },
    async byId(id) {
      const row = await db.selectFrom('alarm_change').selectAll().where('id', '=', id).executeTakeFirst()
      return row ? changeOf(row) : null
    },
    async list(q) {
      let s = db.selectFrom('alarm_change').selectAll().where('at_ms', '>=', q.fromMs).where('at_ms', '<', q.toMs)
      if (q.site !== undefined) s = s.where('site', '=', q.site)
      if (q.alarm !== undefined) s = s.where('alarm', '=', q.alarm)
      if (q.by !== undefined) s = s.where('by_whom', '=', q.by)
      if (q.before !== undefined) s = s.where('id', '<', q.before)
      return (await s.orderBy('id', 'desc').limit(q.limit).execute()).map(changeOf)
    },
    async append(c) {
      const last = await db
        .selectFrom('alarm_change')
        .select((e) => e.fn.max('id').as('id'))
        .executeTakeFirst()
      const id = (last?.id ?? 0) + 1
      const row: ChangeRow = {
        id,
        alarm: c.alarm,
        site: c.site,
        at_ms: c.atMs,
        by_whom: c.by,
        approver: c.approver,
        reason: c.reason,
        fields_before: JSON.stringify(c.before),
        fields_after: JSON.stringify(c.after),
        moved: JSON.stringify(c.moved),
        undoes: c.undoes,
      }
      await db.insertInto('alarm_change').values(row).execute()
      return { ...c, id }
    },
  }
}

const changeOf = (r: Selectable<ChangeRow>): AlarmChange => ({
  id: r.id,
  alarm: r.alarm,
  site: r.site,
  atMs: r.at_ms,
  by: r.by_whom,
  approver: r.approver,
  reason: r.reason,
  before: JSON.parse(r.fields_before) as AlarmFields,
  after: JSON.parse(r.fields_after) as AlarmFields,
  moved: JSON.parse(r.moved) as Moved[],
  undoes: r.undoes,
})
