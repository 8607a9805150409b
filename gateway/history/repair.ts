/**
 * Mends a damaged history by writing all that can be read of it into a new file, which then takes its place; the old one stays beside it.
 * Without `write` it only says what would be kept and what is lost.
 */
import Database from 'better-sqlite3'
import { existsSync, linkSync, mkdtempSync, renameSync, rmSync } from 'node:fs'
import { join } from 'node:path'
import { setImmediate as turn } from 'node:timers/promises'
import type { Clock } from '../clock.ts'
import type { Reading } from '../site/reading.ts'
import { openEmbedded } from './embedded.ts'
import { FILE_NAME, holdFolder } from './file.ts'
import { qcOf, qualityOf, subOf } from './quality-code.ts'
import { HistoryRefused, refusedBy } from './refused.ts'
import { salvage, type Loss, type Side } from './salvage.ts'
import type { CheckResult } from './upkeep.ts'

export interface RepairResult {
  /** Readings that can be read. */
  readonly readings: number
  readonly signals: number
  readonly losses: readonly Loss[]
  /** Name of the file the damaged one was put aside as; null: nothing was written. */
  readonly aside: string | null
  /** Of the new file; null: nothing was written. */
  readonly check: CheckResult | null
}

const BATCH = 5_000
const SEAL_FROM = 1_000_000

/** Throws HistoryRefused: no history, in use, nothing readable, or no room for a second file. */
export async function repair(dir: string, clock: Clock, write: boolean): Promise<RepairResult> {
  const path = join(dir, FILE_NAME)
  if (!existsSync(path)) throw new HistoryRefused('FOLDER', `there is no history in ${dir}: give its folder with --data DIR`)
  const release = holdFolder(dir)
  const made = write ? mkdtempSync(join(dir, 'repair-')) : null
  const store = made === null ? null : openEmbedded({ dir: made, clock, synchronous: 'normal', sealAtReadings: SEAL_FROM })
  try {
    const losses: Loss[] = []
    const seen = new Set<string>()
    let readings = 0
    let batch: Reading[] = []
    const flush = (): void => {
      if (!store || batch.length === 0) return
      store.commit(batch)
      batch = []
      while (store.stats().unsealed > SEAL_FROM && store.sealStep(50));
    }
    const side = await salvage(
      path,
      (key, sourceMs, receivedMs, value, code) => {
        readings++
        seen.add(key)
        if (!store) return
        batch.push({ key, sourceMs, receivedMs, value: value === value ? value : null, quality: qualityOf(code), sub: subOf(code), qc: qcOf(code), clock: 'ok', live: false })
        if (batch.length >= BATCH) flush()
      },
      (loss) => losses.push(loss),
      turn,
    )
    flush()
    if (!store || made === null) return { readings, signals: seen.size, losses, aside: null, check: null }
    await store.sealAll()
    const check = await store.check()
    await store.close()
    if (check.faultCount > 0) throw new HistoryRefused('CORRUPT', 'the new file does not pass the integrity check: the damaged one was left as it is')
    putBeside(join(made, FILE_NAME), side, losses, clock.nowMs())
    return { readings, signals: seen.size, losses, aside: exchange(dir, path, join(made, FILE_NAME)), check }
  } catch (e) {
    throw refusedBy(e, 'the history could not be repaired, and was left as it is')
  } finally {
    await store?.close()
    if (made !== null) rmSync(made, { recursive: true, force: true })
    release()
  }
}

/** What stands beside the readings goes over as it was. The feed does not: InfluxDB gets everything again, which changes nothing there. */
function putBeside(path: string, side: Side, losses: readonly Loss[], nowMs: number): void {
  const db = new Database(path, { fileMustExist: true })
  try {
    const ids = new Map(db.prepare<[], [string, number]>('SELECT key, id FROM signal').raw().all())
    db.exec('BEGIN IMMEDIATE')
    const correction = db.prepare('INSERT OR IGNORE INTO correction (signal, source_ms, value, received_ms, code) VALUES (?, ?, ?, ?, ?)')
    for (const [key, ...rest] of side.corrections) {
      const id = ids.get(JSON.stringify(key).slice(1, -1))
      if (id !== undefined) correction.run(id, ...rest)
    }
    const parked = db.prepare('INSERT OR IGNORE INTO parked VALUES (?, ?, ?)')
    for (const row of side.parked) parked.run(...row)
    const imported = db.prepare('INSERT OR REPLACE INTO imported VALUES (?, ?)')
    for (const row of side.imported) imported.run(...row)
    db.prepare('UPDATE floor SET ms = ?').run(side.floorMs)
    const damaged = db.prepare('INSERT INTO damaged (id, found_ms, what, bytes) VALUES (?, ?, ?, ?)')
    for (const l of losses) if (l.bytes !== null) damaged.run(l.id, nowMs, `${l.where}: ${l.what}`, l.bytes)
    db.exec('COMMIT')
    db.pragma('wal_checkpoint(TRUNCATE)')
  } finally {
    db.close()
  }
}

/** Puts the new file in the old one's place; the old one stays under another name, with its log. */
function exchange(dir: string, path: string, made: string): string {
  const names = Array.from({ length: 1_000 }, (_, i) => `history-before-repair${i === 0 ? '' : `-${i + 1}`}.db`)
  const aside = names.find((name) => !existsSync(join(dir, name)))
  if (aside === undefined) throw new HistoryRefused('FOLDER', `${dir} holds a thousand files of earlier repairs: take them away first`)
  linkSync(path, join(dir, aside))
  if (existsSync(`${path}-wal`)) linkSync(`${path}-wal`, join(dir, `${aside}-wal`))
  // The log of the old file would be taken for one of the new.
  for (const end of ['-wal', '-shm']) rmSync(`${path}${end}`, { force: true })
  renameSync(made, path)
  return aside
}
