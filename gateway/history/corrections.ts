/** Later, differing values for readings already held: the first value stays in the history, these stand beside it, each once. */
import type Database from 'better-sqlite3'
import type { HistoryReading } from './history.ts'
import { qcOf, qualityOf, subOf } from './quality-code.ts'

interface Row {
  readonly source_ms: number
  readonly received_ms: number
  readonly value: Buffer
  readonly code: number
}

export class Corrections {
  /** How many are kept. Whoever writes corrects it once that is committed. */
  count: number
  private readonly insert: Database.Statement<[number, number, Buffer, number, number]>
  private readonly remove: Database.Statement<[number, number]>
  private readonly rows: Database.Statement<[number, number, number, number], Row>

  constructor(db: Database.Database) {
    this.insert = db.prepare('INSERT OR IGNORE INTO correction (signal, source_ms, value, received_ms, code) VALUES (?, ?, ?, ?, ?)')
    this.remove = db.prepare('DELETE FROM correction WHERE signal = ? AND source_ms < ?')
    this.rows = db.prepare(
      'SELECT source_ms, received_ms, value, code FROM correction WHERE signal = ? AND source_ms >= ? AND source_ms < ? ORDER BY source_ms, received_ms LIMIT ?',
    )
    this.count = db.prepare<[], number>('SELECT count(*) FROM correction').pluck().get() ?? 0
  }

  /** Gives 1 when it is new, 0 when it is kept already. `value` NaN: without a figure. */
  add(signal: number, sourceMs: number, receivedMs: number, value: number, code: number): number {
    // As bytes: 0 and -0, and no figure at all, must differ in the key.
    const bytes = Buffer.allocUnsafe(8)
    bytes.writeDoubleBE(value)
    return this.insert.run(signal, sourceMs, bytes, receivedMs, code).changes
  }

  /** Gives how many went. */
  removeBefore(signal: number, beforeMs: number): number {
    return this.remove.run(signal, beforeMs).changes
  }

  /** By source time, fromMs <= sourceMs < toMs, at most `limit`. */
  range(signal: number, fromMs: number, toMs: number, limit: number): HistoryReading[] {
    return this.rows.all(signal, fromMs, toMs, limit).map((r) => {
      const value = r.value.readDoubleBE()
      return { sourceMs: r.source_ms, receivedMs: r.received_ms, value: value === value ? value : null, quality: qualityOf(r.code), sub: subOf(r.code), qc: qcOf(r.code) }
    })
  }
}
