/**
 * The database of alarms, people's answers and site log (state.db): a copy while the server writes to it, and a check.
 *
 *   node state.mjs backup FROM TO    TO must not exist
 *   node state.mjs check FILE        a copy, not one in use; exit code 1 if SQLite finds damage or it is no such database
 */
import Database from 'better-sqlite3'
import { existsSync } from 'node:fs'

const [verb, file, to] = process.argv.slice(2)
if (verb === 'backup' && file !== undefined && to !== undefined) process.exitCode = await backup(file, to)
else if (verb === 'check' && file !== undefined) process.exitCode = check(file)
else {
  console.error('state.mjs backup FROM TO | check FILE')
  process.exitCode = 2
}

async function backup(from, target) {
  if (existsSync(target)) {
    console.error(`${target} exists already: choose another name`)
    return 1
  }
  const db = new Database(from, { readonly: true, fileMustExist: true, timeout: 5000 })
  try {
    await db.backup(target)
    return 0
  } finally {
    db.close()
  }
}

function check(path) {
  let db
  try {
    // Not read-only: a reader of a database in WAL mode would leave two files beside it.
    db = new Database(path, { fileMustExist: true })
    const found = db.pragma('integrity_check', { simple: true })
    const tables = db.prepare("SELECT name FROM sqlite_master WHERE type = 'table'").pluck().all()
    if (found !== 'ok') console.error(`${path}: ${String(found)}`)
    else if (!tables.includes('alarm_journal')) console.error(`${path}: there is no journal of alarms in it`)
    else return 0
  } catch (e) {
    console.error(`${path}: ${e instanceof Error ? e.message : String(e)}`)
  } finally {
    db?.close()
  }
  return 1
}
