/**
 * What is said of stored readings since they were stored: a spike is known only when the next reading is there. The value stays, and
 * what is said never gets better by it.
 */
import type Database from 'better-sqlite3'
import type { Amendment, Bucket, HistoryReading } from './history.ts'
import { codeOf, qcOf, qualityOf, rankOf, subOf } from './quality-code.ts'

export class Amendments {
  private readonly insert: Database.Statement<[number, number, number]>
  private readonly rows: Database.Statement<[number, number, number], { source_ms: number; code: number }>
  private readonly removeOld: Database.Statement<[number]>
  private readonly removeSite: Database.Statement<[string, string]>

  constructor(db: Database.Database) {
    db.exec(
      'CREATE TABLE IF NOT EXISTS amendment (signal INTEGER NOT NULL, source_ms INTEGER NOT NULL, code INTEGER NOT NULL, PRIMARY KEY (signal, source_ms)) STRICT, WITHOUT ROWID',
    )
    this.insert = db.prepare('INSERT INTO amendment (signal, source_ms, code) VALUES (?, ?, ?) ON CONFLICT DO UPDATE SET code = max(code, excluded.code)')
    this.rows = db.prepare('SELECT source_ms, code FROM amendment WHERE signal = ? AND source_ms >= ? AND source_ms < ? ORDER BY source_ms')
    this.removeOld = db.prepare('DELETE FROM amendment WHERE source_ms < ?')
    this.removeSite = db.prepare('DELETE FROM amendment WHERE signal IN (SELECT id FROM signal WHERE key >= ? AND key < ?)')
  }

  add(signal: number, a: Amendment): void {
    const code = codeOf(a.quality, a.sub, a.qc)
    if (code >= 0) this.insert.run(signal, a.sourceMs, code)
  }

  removeBefore(beforeMs: number): void {
    this.removeOld.run(beforeMs)
  }

  /** Call while the signals of the site are still known. */
  forgetSite(site: string): void {
    this.removeSite.run(`${site}/`, `${site}0`)
  }

  /** The readings as they are said to be now. */
  over(signal: number, readings: readonly HistoryReading[]): readonly HistoryReading[] {
    const [first, last] = [readings[0], readings.at(-1)]
    if (!first || !last) return readings
    const rows = this.rows.all(signal, first.sourceMs, last.sourceMs + 1)
    if (rows.length === 0) return readings
    const by = new Map(rows.map((r) => [r.source_ms, r.code]))
    return readings.map((r) => {
      const code = by.get(r.sourceMs)
      return code === undefined ? r : amended(r, code)
    })
  }

  /** Spans whose worst is worse now; `buckets` from `fromMs`, each of `bucketMs`. */
  overBuckets(signal: number, buckets: readonly Bucket[], bucketMs: number): readonly Bucket[] {
    const [first, last] = [buckets[0], buckets.at(-1)]
    if (!first || !last) return buckets
    const rows = this.rows.all(signal, first.fromMs, last.fromMs + bucketMs)
    if (rows.length === 0) return buckets
    const out = [...buckets]
    for (const r of rows) {
      const k = Math.floor((r.source_ms - first.fromMs) / bucketMs)
      const b = out[k]
      if (b && b.worst === 'good' && rankOf(r.code) > 0) out[k] = { ...b, worst: qualityOf(r.code) }
    }
    return out
  }
}

function amended(r: HistoryReading, code: number): HistoryReading {
  const was = codeOf(r.quality, r.sub, r.qc)
  if (rankOf(code) > rankOf(was)) return { ...r, quality: qualityOf(code), sub: subOf(code), qc: qcOf(code) }
  return rankOf(code) === rankOf(was) ? { ...r, qc: qcOf(code) } : r
}
