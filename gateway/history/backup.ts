/** A copy of a history that another process may have open and go on writing to, and the way back. */
import Database from 'better-sqlite3'
import { copyFileSync, existsSync, mkdirSync, renameSync, rmSync } from 'node:fs'
import { dirname, join } from 'node:path'
import { openEmbedded } from './embedded.ts'
import { FILE_NAME } from './file.ts'
import { HistoryRefused, refusedBy } from './refused.ts'
import type { Clock } from '../clock.ts'
import type { CheckResult } from './upkeep.ts'

const PAGES_A_TURN = 1_000

/** Copies the history of `dir` as it stands into one file, which must not exist. The writer goes on meanwhile. */
export async function backupOf(dir: string, path: string): Promise<void> {
  const from = join(dir, FILE_NAME)
  if (!existsSync(from)) throw new HistoryRefused('FOLDER', `there is no history in ${dir}: give its folder with --data DIR`)
  if (existsSync(path)) throw new HistoryRefused('FOLDER', `${path} exists already: choose another name`)
  if (!existsSync(dirname(path))) throw new HistoryRefused('FOLDER', `there is no folder ${dirname(path)}: make it first`)
  const partial = `${path}.partial`
  const db = new Database(from, { readonly: true, timeout: 5_000 })
  try {
    rmSync(partial, { force: true })
    // One view of the file for the whole copy: without it the copy begins again with every commit of the writer, and may never end.
    db.exec('BEGIN')
    db.prepare('SELECT count(*) FROM tail').get()
    await db.backup(partial, { progress: () => PAGES_A_TURN })
    db.exec('COMMIT')
    renameSync(partial, path)
  } catch (e) {
    rmSync(partial, { force: true })
    throw refusedBy(e, `the backup to ${path} failed`)
  } finally {
    db.close()
  }
}

/** Puts a backup in place as the history of `dir`, which must hold none, and checks every reading of it. */
export async function restoreTo(dir: string, path: string, clock: Clock): Promise<CheckResult> {
  if (!existsSync(path)) throw new HistoryRefused('FOLDER', `there is no backup ${path}`)
  const to = join(dir, FILE_NAME)
  if (existsSync(to)) throw new HistoryRefused('FOLDER', `${to} exists already: move it away first, nothing was written over`)
  mkdirSync(dir, { recursive: true })
  copyFileSync(path, `${to}.partial`)
  // Logs of an earlier file of that name would be taken for this one's.
  for (const end of ['-wal', '-shm']) rmSync(`${to}${end}`, { force: true })
  mustBeHistory(`${to}.partial`, path)
  renameSync(`${to}.partial`, to)
  const store = openEmbedded({ dir, clock })
  try {
    return await store.check()
  } finally {
    await store.close()
  }
}

/** Looks into the copy before it takes the place of a history; what is none goes away again. */
function mustBeHistory(copy: string, given: string): void {
  let db: Database.Database | null = null
  try {
    db = new Database(copy, { readonly: true })
    db.prepare('SELECT count(*) FROM inbox').get()
  } catch (e) {
    rmSync(copy, { force: true })
    throw new HistoryRefused('CORRUPT', `${given} is no backup of a history (${e instanceof Error ? e.message : String(e)}): nothing was put in place`, e)
  } finally {
    db?.close()
  }
}
