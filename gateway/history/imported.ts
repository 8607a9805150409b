/**
 * Up to when the readings of a key were imported. They are history like any other, but no evidence of what is going on: a gateway that
 * starts a minute after an import must not take its last figures for the state of the loop and raise alarms over them. Written before
 * the readings are, so that a killed import leaves none unmarked. Live readings older than the newest imported one fall under it too;
 * their delays begin anew with the next reading.
 */
import type Database from 'better-sqlite3'
import type { HistoryReader, HistoryReading } from './history.ts'

export class Imported {
  private readonly untilMs = new Map<string, number>()
  private readonly put: Database.Statement<[string, number]>

  constructor(db: Database.Database) {
    db.exec('CREATE TABLE IF NOT EXISTS imported (key TEXT PRIMARY KEY, until_ms INTEGER NOT NULL) STRICT, WITHOUT ROWID')
    this.put = db.prepare('INSERT INTO imported VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET until_ms = max(until_ms, excluded.until_ms)')
    for (const [text, ms] of db.prepare<[], [string, number]>('SELECT key, until_ms FROM imported').raw().all()) this.untilMs.set(JSON.parse(`"${text}"`) as string, ms)
  }

  /** Newest imported source time, ms; -1: nothing was imported. */
  until(key: string): number {
    return this.untilMs.get(key) ?? -1
  }

  mark(key: string, untilMs: number): void {
    if (untilMs <= this.until(key)) return
    this.put.run(JSON.stringify(key).slice(1, -1), untilMs)
    this.untilMs.set(key, untilMs)
  }
}

/** What the alarm rules may know of the past: no imported readings. */
export function withoutImported(
  history: Pick<HistoryReader, 'range'> & { importedUntilMs(key: string): number },
  latest: ReadonlyMap<string, HistoryReading>,
): { readonly latest: ReadonlyMap<string, HistoryReading>; readonly history: Pick<HistoryReader, 'range'> } {
  return {
    latest: new Map([...latest].filter(([key, r]) => r.sourceMs > history.importedUntilMs(key))),
    history: { range: (key, fromMs, toMs, limit) => history.range(key, Math.max(fromMs, history.importedUntilMs(key) + 1), toMs, limit) },
  }
}
