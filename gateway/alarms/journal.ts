/**
 * The alarm journal: every change of every alarm, numbered, never changed, and in the same transaction the state it leads
 * to. The state table is a convenience for a fast start; `rebuild` over the journal gives the same (a test compares).
 *
 * One process writes it, so row numbers are counted here and not by the database. A consumer that must miss nothing across
 * restarts (on-call notices) keeps the number it has got to and asks for what came `after` it.
 */
import { sql, type Insertable, type Selectable } from 'kysely'
import type { Database, JournalRow, StateRow } from '../database.ts'
import { applyEvent, BORN, type Life } from './life.ts'
import { factsText, readFacts, overText, readOver } from './journal-text.ts'
import type { AlarmDef, AlarmEvent, AlarmState, Priority, Rule } from './alarm.ts'
import type { JournalledEvent, JournalQuery } from './event-query.ts'

export type { JournalledEvent, JournalQuery } from './event-query.ts'

export interface AlarmJournal {
  /** State of every alarm that ever had an event, as of the last append. */
  lives(): ReadonlyMap<string, Life>
  /** Writes the events, in order, in one transaction; gives their numbers. Rejects, keeping nothing of them, when it cannot. */
  append(events: readonly AlarmEvent[]): Promise<readonly number[]>
  /** Newest first, in the order written. */
  query(q: JournalQuery): Promise<readonly JournalledEvent[]>
  /** Oldest first, what was written after number `seq`. */
  after(seq: number, limit: number): Promise<readonly JournalledEvent[]>
  /** Number of the newest entry; 0: none. */
  lastSeq(): number
  /** Rebuilds the stored state of one alarm from the journal, and gives it. */
  mend(alarm: string): Promise<Life>
  /** What decided over an alarm when this occurrence was raised; null: not on record. */
  raisedUnder(alarm: string, occurrence: string): Promise<{ readonly version: number; readonly rule: Rule; readonly priority: Priority; readonly respondWithinMin: number } | null>
  /** Gives every definition its version: the one on record, or the next when rule, priority, latching or time to respond have changed (its words have not). */
  register(defs: readonly AlarmDef[], nowMs: number): Promise<readonly AlarmDef[]>
}

const CHUNK = 200

export async function openJournal(db: Database): Promise<AlarmJournal> {
  const lives = new Map<string, Life>()
  for (const row of await db.selectFrom('alarm_state').selectAll().execute()) lives.set(row.alarm, lifeOf(row))
  const last = await db
    .selectFrom('alarm_journal')
    .select((e) => e.fn.max('seq').as('seq'))
    .executeTakeFirst()
  let lastSeq = last?.seq ?? 0

  return {
    lives: () => lives,
    lastSeq: () => lastSeq,

    async mend(alarm) {
      return db.transaction().execute(async (t) => {
        let life = BORN
        let seq = 0
        for (const row of await t.selectFrom('alarm_journal').selectAll().where('alarm', '=', alarm).orderBy('seq').execute()) {
          life = applyEvent(life, eventOf(row))
          seq = row.seq
        }
        await t.deleteFrom('alarm_state').where('alarm', '=', alarm).execute()
        if (seq > 0)
          await t
            .insertInto('alarm_state')
            .values(stateRow(alarm, life, seq))
            .execute()
        if (seq > 0) lives.set(alarm, life)
        else lives.delete(alarm)
        return life
      })
    },

    async append(events) {
      if (events.length === 0) return []
      const changed = new Map<string, StateRow>()
      const next = new Map<string, Life>()
      const rows = events.map((e, i): Insertable<JournalRow> => {
        const seq = lastSeq + 1 + i
        const life = applyEvent(next.get(e.alarm) ?? lives.get(e.alarm) ?? BORN, e)
        next.set(e.alarm, life)
        changed.set(e.alarm, stateRow(e.alarm, life, seq))
        return journalRow(e, seq)
      })
      await db.transaction().execute(async (t) => {
        for (const part of chunks(rows)) await t.insertInto('alarm_journal').values(part).execute()
        for (const part of chunks([...changed.values()])) {
          await t
            .insertInto('alarm_state')
            .values(part)
            .onConflict((c) =>
              c.column('alarm').doUpdateSet((x) => ({
                state: x.ref('excluded.state'),
                occurrence: x.ref('excluded.occurrence'),
                version: x.ref('excluded.version'),
                count: x.ref('excluded.count'),
                raised_ms: x.ref('excluded.raised_ms'),
                cleared_ms: x.ref('excluded.cleared_ms'),
                value: x.ref('excluded.value'),
                limit_value: x.ref('excluded.limit_value'),
                unit: x.ref('excluded.unit'),
                acknowledged_by: x.ref('excluded.acknowledged_by'),
                acknowledged_ms: x.ref('excluded.acknowledged_ms'),
                acknowledged_occurrence: x.ref('excluded.acknowledged_occurrence'),
                note: x.ref('excluded.note'),
                held_since_ms: x.ref('excluded.held_since_ms'),
                over: x.ref('excluded.over'),
                seq: x.ref('excluded.seq'),
              })),
            )
            .execute()
        }
      })
      lastSeq += rows.length
      for (const [alarm, life] of next) lives.set(alarm, life)
      return rows.map((r) => r.seq)
    },

    async query(q) {
      let s = db.selectFrom('alarm_journal').selectAll().where('at_ms', '>=', q.fromMs).where('at_ms', '<', q.toMs)
      if (q.site !== undefined) s = s.where('site', '=', q.site)
      if (q.alarm !== undefined) s = s.where('alarm', '=', q.alarm)
      if (q.kind !== undefined) s = s.where('kind', '=', q.kind)
      if (q.by !== undefined) s = s.where('by_whom', '=', q.by)
      if (q.before !== undefined) s = s.where('seq', '<', q.before)
      if (q.text !== undefined) {
        const { words, rules } = q.text
        const like = `%${words.toLowerCase().replace(/[\\%_]/g, '\\$&')}%`
        const holds = (column: string) => sql<boolean>`lower(${sql.ref(column)}) like ${like} escape '\\'`
        const rule = sql<string>`substr(alarm, length(site) + 2)`
        s = s.where((e) => e.or([holds('alarm'), holds('note'), holds('by_whom'), ...(rules.length > 0 ? [e(rule, 'in', rules)] : [])]))
      }
      const rows = await s.orderBy('seq', 'desc').limit(q.limit).execute()
      return rows.map(eventOf)
    },

    async after(seq, limit) {
      const rows = await db.selectFrom('alarm_journal').selectAll().where('seq', '>', seq).orderBy('seq').limit(limit).execute()
      return rows.map(eventOf)
    },

    async raisedUnder(alarm, occurrence) {
      const raise = await db
        .selectFrom('alarm_journal')
        .select('def_version')
        .where('alarm', '=', alarm)
        .where('occurrence', '=', occurrence)
        .where('kind', '=', 'raised')
        .orderBy('seq', 'desc')
        .limit(1)
        .executeTakeFirst()
      if (!raise) return null
      const row = await db.selectFrom('alarm_definition').select('body').where('alarm', '=', alarm).where('version', '=', raise.def_version).executeTakeFirst()
      if (!row) return null
      const { rule, priority, respondWithinMin } = JSON.parse(row.body) as { rule: Rule; priority: Priority; respondWithinMin: number }
      return { version: raise.def_version, rule, priority, respondWithinMin }
    },

    async register(defs, nowMs) {
      const known = new Map<string, { version: number; body: string }>()
      const onRecord = db.selectFrom('alarm_definition').select(['alarm', 'version', 'body']).orderBy('alarm').orderBy('version')
      // The alarms of a loop are looked up by their ids, those of a fleet are read in one go.
      if (defs.length > 10 * CHUNK) for (const r of await onRecord.execute()) known.set(r.alarm, r)
      else for (const part of chunks(defs.map((d) => d.id))) for (const r of await onRecord.where('alarm', 'in', part).execute()) known.set(r.alarm, r)
      // Sites built alike share their rules.
      const bodies = new Map<Rule, { readonly def: AlarmDef; readonly body: string }>()
      const bodyOf = (def: AlarmDef): string => {
        const made = bodies.get(def.rule)
        const { rule, priority, latching, respondWithinMin } = def
        if (made && made.def.priority === priority && made.def.latching === latching && made.def.respondWithinMin === respondWithinMin) return made.body
        const body = JSON.stringify({ rule, priority, latching, respondWithinMin })
        bodies.set(rule, { def, body })
        return body
      }
      const fresh: { alarm: string; version: number; body: string; since_ms: number }[] = []
      const out = defs.map((def): AlarmDef => {
        const body = bodyOf(def)
        const was = known.get(def.id)
        if (was && was.body === body) return def.version === was.version ? def : { ...def, version: was.version }
        const version = (was?.version ?? 0) + 1
        fresh.push({ alarm: def.id, version, body, since_ms: nowMs })
        return def.version === version ? def : { ...def, version }
      })
      await db.transaction().execute(async (t) => {
        for (const part of chunks(fresh)) await t.insertInto('alarm_definition').values(part).execute()
      })
      return out
    },
  }
}

function* chunks<T>(all: readonly T[]): Generator<T[]> {
  for (let i = 0; i < all.length; i += CHUNK) yield all.slice(i, i + CHUNK)
}

const siteOf = (alarm: string): string => alarm.slice(0, alarm.indexOf('/'))

const journalRow = (e: AlarmEvent, seq: number): JournalRow => ({
  seq,
  alarm: e.alarm,
  site: siteOf(e.alarm),
  occurrence: e.occurrence,
  kind: e.kind,
  at_ms: e.atMs,
  recorded_ms: e.recordedMs,
  state: e.state,
  value: e.value,
  limit_value: e.limit,
  unit: e.unit,
  by_whom: e.by,
  note: e.note,
  def_version: e.defVersion,
  facts: factsText(e.facts),
})

const eventOf = (r: Selectable<JournalRow>): JournalledEvent => ({
  seq: r.seq,
  alarm: r.alarm,
  occurrence: r.occurrence,
  kind: r.kind as AlarmEvent['kind'],
  atMs: r.at_ms,
  recordedMs: r.recorded_ms,
  state: r.state as AlarmState,
  value: r.value,
  limit: r.limit_value,
  unit: r.unit,
  by: r.by_whom,
  note: r.note,
  defVersion: r.def_version,
  ...readFacts(r.facts),
})

const stateRow = (alarm: string, l: Life, seq: number): StateRow => ({
  alarm,
  site: siteOf(alarm),
  state: l.state,
  occurrence: l.occurrence,
  version: l.version,
  count: l.count,
  raised_ms: l.raisedMs,
  cleared_ms: l.clearedMs,
  value: l.value,
  limit_value: l.limit,
  unit: l.unit,
  acknowledged_by: l.acknowledgedBy,
  acknowledged_ms: l.acknowledgedMs,
  acknowledged_occurrence: l.acknowledgedOccurrence,
  note: l.note,
  held_since_ms: l.heldSinceMs,
  over: overText(l),
  seq,
})

const lifeOf = (r: Selectable<StateRow>): Life => ({
  state: r.state as AlarmState,
  occurrence: r.occurrence,
  version: r.version,
  count: r.count,
  raisedMs: r.raised_ms,
  clearedMs: r.cleared_ms,
  value: r.value,
  limit: r.limit_value,
  unit: r.unit,
  acknowledgedBy: r.acknowledged_by,
  acknowledgedMs: r.acknowledged_ms,
  acknowledgedOccurrence: r.acknowledged_occurrence,
  note: r.note,
  heldSinceMs: r.held_since_ms,
  ...readOver(r.over, r.occurrence !== null),
})
