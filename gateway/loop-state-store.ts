/** Records of loop states on the state database: added, never changed. One process writes them, so row numbers are counted here. */
import type { LoopStateName, StateRecord } from './alarms/loop-state.ts'
import type { Database, LoopStateRow } from './database.ts'

export interface LoopStateStore {
  /** In the order written; of one loop, or of all. */
  all(site?: string): Promise<readonly StateRecord[]>
  /** Newest first. */
  newest(site: string, limit: number): Promise<readonly StateRecord[]>
  /** Rejects when it cannot be written. */
  add(record: StateRecord): Promise<void>
}

export async function openLoopStateStore(db: Database): Promise<LoopStateStore> {
  const last = await db
    .selectFrom('loop_state')
    .select((e) => e.fn.max('id').as('id'))
    .executeTakeFirst()
  let nextId = (last?.id ?? 0) + 1
  return {
    async all(site) {
      let q = db.selectFrom('loop_state').selectAll()
      if (site !== undefined) q = q.where('site', '=', site)
      return (await q.orderBy('id').execute()).map(recordOf)
    },
    async newest(site, limit) {
      return (await db.selectFrom('loop_state').selectAll().where('site', '=', site).orderBy('id', 'desc').limit(limit).execute()).map(recordOf)
    },
    async add(r) {
      await db.insertInto('loop_state').values(rowOf(r, nextId++)).execute()
    },
  }
}

const rowOf = (r: StateRecord, id: number): LoopStateRow => ({
  id,
  site: r.site,
  act: r.act,
  state: r.state,
  person: r.person,
  at_ms: r.atMs,
  from_ms: r.fromMs,
  until_ms: r.untilMs,
  why: r.why,
  by_whom: r.by,
  recorded_ms: r.recordedMs,
})

const recordOf = (r: LoopStateRow): StateRecord => ({
  site: r.site,
  act: r.act as StateRecord['act'],
  state: r.state as LoopStateName | null,
  person: r.person,
  atMs: r.at_ms,
  fromMs: r.from_ms,
  untilMs: r.until_ms,
  why: r.why,
  by: r.by_whom,
  recordedMs: r.recorded_ms,
})
