/**
 * The state of the product (alarm journal, site log) in one SQLite file, through Kysely. Everything above this file speaks
 * Kysely with portable column types and gives its own row numbers, so that PostgreSQL can take its place: another dialect
 * here, the same migrations, the same queries (int8 must then be read as a number).
 *
 * WAL with `synchronous = FULL`: a commit survives a power cut. better-sqlite3 would otherwise stop at NORMAL, which may
 * lose the newest commits; an alarm that was told and is then forgotten is worse than the few milliseconds.
 */
import BetterSqlite from 'better-sqlite3'
import { Kysely, Migrator, sql, SqliteDialect, type Migration } from 'kysely'
import { StartFault } from './start-fault.ts'

export interface JournalRow {
  seq: number
  alarm: string
  site: string
  occurrence: string
  kind: string
  at_ms: number
  recorded_ms: number
  state: string
  value: number | null
  limit_value: number | null
  unit: string
  by_whom: string | null
  note: string | null
  def_version: number
  /** What an event says beyond these columns, as JSON; null: nothing. */
  facts: string | null
}

export interface StateRow {
  alarm: string
  site: string
  state: string
  occurrence: string | null
  version: number
  count: number
  raised_ms: number | null
  cleared_ms: number | null
  value: number | null
  limit_value: number | null
  unit: string
  acknowledged_by: string | null
  acknowledged_ms: number | null
  acknowledged_occurrence: string | null
  note: string | null
  held_since_ms: number | null
  /** What lies over the alarm and counts that go with it, as JSON; null: nothing. */
  over: string | null
  /** Journal entry that led here. */
  seq: number
}

export interface DefinitionRow {
  alarm: string
  version: number
  /** What decides (rule, priority, latching, time to respond) as JSON, as it was from `since_ms` on. */
  body: string
  since_ms: number
}

export interface LogRow {
  id: number
  site: string
  kind: string
  at_ms: number
  about: string | null
  item: string | null
  value: number | null
  as_found: number | null
  unit: string | null
  /** 1: the value is a detection limit. */
  below: number | null
  text: string | null
  corrects: number | null
  by_whom: string
  recorded_ms: number
}

/** A loop's state as it was said; rows are only added. */
export interface LoopStateRow {
  id: number
  site: string
  act: string
  state: string | null
  person: string | null
  at_ms: number
  from_ms: number | null
  until_ms: number | null
  why: string | null
  by_whom: string
  recorded_ms: number
}

export interface ChangeRow {
  id: number
  alarm: string
  site: string
  at_ms: number
  by_whom: string
  approver: string | null
  reason: string
  /** Fields the page changes of the alarm before and after, and what came of it, as JSON. */
  fields_before: string
  fields_after: string
  moved: string
  undoes: number | null
}

export interface Tables {
  alarm_change: ChangeRow
  alarm_journal: JournalRow
  alarm_state: StateRow
  alarm_definition: DefinitionRow
  site_log: LogRow
  loop_state: LoopStateRow
}

export type Database = Kysely<Tables>

/** In order; a name is never changed and a migration never edited once it has left the house. */
const MIGRATIONS: Readonly<Record<string, Migration>> = {
  '001-alarms': {
    async up(db) {
      await db.schema
        .createTable('alarm_journal')
        .addColumn('seq', 'integer', (c) => c.primaryKey())
        .addColumn('alarm', 'text', (c) => c.notNull())
        .addColumn('site', 'text', (c) => c.notNull())
        .addColumn('occurrence', 'text', (c) => c.notNull())
        .addColumn('kind', 'text', (c) => c.notNull())
        .addColumn('at_ms', 'bigint', (c) => c.notNull())
        .addColumn('recorded_ms', 'bigint', (c) => c.notNull())
        .addColumn('state', 'text', (c) => c.notNull())
        .addColumn('value', 'double precision')
        .addColumn('limit_value', 'double precision')
        .addColumn('unit', 'text', (c) => c.notNull())
        .addColumn('by_whom', 'text')
        .addColumn('note', 'text')
        .addColumn('def_version', 'integer', (c) => c.notNull())
        .execute()
      await db.schema.createIndex('alarm_journal_time').on('alarm_journal').columns(['at_ms', 'seq']).execute()
      await db.schema.createIndex('alarm_journal_site').on('alarm_journal').columns(['site', 'seq']).execute()
      await db.schema.createIndex('alarm_journal_alarm').on('alarm_journal').columns(['alarm', 'seq']).execute()
      await db.schema
        .createTable('alarm_state')
        .addColumn('alarm', 'text', (c) => c.primaryKey())
        .addColumn('site', 'text', (c) => c.notNull())
        .addColumn('state', 'text', (c) => c.notNull())
        .addColumn('occurrence', 'text')
        .addColumn('version', 'integer', (c) => c.notNull())
        .addColumn('count', 'integer', (c) => c.notNull())
        .addColumn('raised_ms', 'bigint')
        .addColumn('cleared_ms', 'bigint')
        .addColumn('value', 'double precision')
        .addColumn('limit_value', 'double precision')
        .addColumn('unit', 'text', (c) => c.notNull())
        .addColumn('acknowledged_by', 'text')
        .addColumn('acknowledged_ms', 'bigint')
        .addColumn('acknowledged_occurrence', 'text')
        .addColumn('note', 'text')
        .addColumn('held_since_ms', 'bigint')
        .addColumn('seq', 'integer', (c) => c.notNull())
        .execute()
      await db.schema
        .createTable('alarm_definition')
        .addColumn('alarm', 'text', (c) => c.notNull())
        .addColumn('version', 'integer', (c) => c.notNull())
        .addColumn('body', 'text', (c) => c.notNull())
        .addColumn('since_ms', 'bigint', (c) => c.notNull())
        .addPrimaryKeyConstraint('alarm_definition_key', ['alarm', 'version'])
        .execute()
    },
  },
  '002-site-log': {
    async up(db) {
      await db.schema
        .createTable('site_log')
        .addColumn('id', 'integer', (c) => c.primaryKey())
        .addColumn('site', 'text', (c) => c.notNull())
        .addColumn('kind', 'text', (c) => c.notNull())
        .addColumn('at_ms', 'bigint', (c) => c.notNull())
        .addColumn('about', 'text')
        .addColumn('item', 'text')
        .addColumn('value', 'double precision')
        .addColumn('as_found', 'double precision')
        .addColumn('unit', 'text')
        .addColumn('below', 'integer')
        .addColumn('text', 'text')
        .addColumn('corrects', 'integer')
        .addColumn('by_whom', 'text', (c) => c.notNull())
        .addColumn('recorded_ms', 'bigint', (c) => c.notNull())
        .execute()
      await db.schema.createIndex('site_log_site').on('site_log').columns(['site', 'at_ms']).execute()
      await db.schema.createIndex('site_log_time').on('site_log').column('at_ms').execute()
    },
  },
  '010-alarm-life': {
    async up(db) {
      await db.schema.alterTable('alarm_journal').addColumn('facts', 'text').execute()
      await db.schema.alterTable('alarm_state').addColumn('over', 'text').execute()
    },
  },
  '011-loop-state': {
    async up(db) {
      await db.schema
        .createTable('loop_state')
        .addColumn('id', 'integer', (c) => c.primaryKey())
        .addColumn('site', 'text', (c) => c.notNull())
        .addColumn('act', 'text', (c) => c.notNull())
        .addColumn('state', 'text')
        .addColumn('person', 'text')
        .addColumn('at_ms', 'bigint', (c) => c.notNull())
        .addColumn('from_ms', 'bigint')
        .addColumn('until_ms', 'bigint')
        .addColumn('why', 'text')
        .addColumn('by_whom', 'text', (c) => c.notNull())
        .addColumn('recorded_ms', 'bigint', (c) => c.notNull())
        .execute()
      await db.schema.createIndex('loop_state_site').on('loop_state').columns(['site', 'id']).execute()
    },
  },
  '012-alarm-changes': {
    async up(db) {
      await db.schema
        .createTable('alarm_change')
        .addColumn('id', 'integer', (c) => c.primaryKey())
        .addColumn('alarm', 'text', (c) => c.notNull())
        .addColumn('site', 'text', (c) => c.notNull())
        .addColumn('at_ms', 'bigint', (c) => c.notNull())
        .addColumn('by_whom', 'text', (c) => c.notNull())
        .addColumn('approver', 'text')
        .addColumn('reason', 'text', (c) => c.notNull())
        .addColumn('fields_before', 'text', (c) => c.notNull())
        .addColumn('fields_after', 'text', (c) => c.notNull())
        .addColumn('moved', 'text', (c) => c.notNull())
        .addColumn('undoes', 'integer')
        .execute()
      await db.schema.createIndex('alarm_change_alarm').on('alarm_change').columns(['alarm', 'id']).execute()
      await db.schema.createIndex('alarm_change_site').on('alarm_change').columns(['site', 'id']).execute()
      // Records are added and never altered, whoever asks; another database does the same by the rights of its role.
      for (const what of ['UPDATE', 'DELETE'])
        await sql
          .raw(`CREATE TRIGGER alarm_change_no_${what.toLowerCase()} BEFORE ${what} ON alarm_change BEGIN SELECT RAISE(ABORT, 'changes of alarms are only ever added'); END`)
          .execute(db)
    },
  },
}

/**
 * Opens `file` (made when missing) and brings its tables up to date. Rejects with StartFault when it cannot.
 * Close it with `destroy()`.
 */
export async function openDatabase(file: string): Promise<Database> {
  let sqlite: BetterSqlite.Database | null = null
  try {
    sqlite = new BetterSqlite(file)
    sqlite.pragma('busy_timeout = 5000')
    sqlite.pragma('journal_mode = WAL')
    sqlite.pragma('synchronous = FULL')
    sqlite.pragma('foreign_keys = ON')
  } catch (e) {
    sqlite?.close()
    throw new StartFault(
      4,
      `${file} cannot be opened as the state database (alarm states, journal, site log): ${sentence(e)}. Put a backup back; moved away, a new one is made and starts empty.`,
    )
  }
  const db = new Kysely<Tables>({ dialect: new SqliteDialect({ database: sqlite }) })
  const migrator = new Migrator({ db, provider: { getMigrations: () => Promise.resolve({ ...MIGRATIONS }) } })
  const { error } = await migrator.migrateToLatest()
  if (error !== undefined) {
    await db.destroy()
    throw new StartFault(4, `${file} could not be brought up to date: ${sentence(error)}. A database of a newer version is not read by an older one; otherwise put a backup back.`)
  }
  return db
}

const sentence = (e: unknown): string => (e instanceof Error ? e.message : String(e))
