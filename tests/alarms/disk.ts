/** A state database in a folder of its own, opened and closed as often as a test likes. */
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { openJournal, type AlarmJournal } from '../../gateway/alarms/journal.ts'
import { openDatabase, type Database } from '../../gateway/database.ts'

export interface Disk {
  readonly dir: string
  readonly file: string
  open(): Promise<{ readonly db: Database; readonly journal: AlarmJournal }>
  /** Closes what is open and forgets the folder. */
  remove(): Promise<void>
}

export function makeDisk(): Disk {
  const dir = mkdtempSync(join(tmpdir(), 'loopkeeper-alarms-'))
  const file = join(dir, 'state.db')
  const opened: Database[] = []
  return {
    dir,
    file,
    async open() {
      const db = await openDatabase(file)
      opened.push(db)
      return { db, journal: await openJournal(db) }
    },
    async remove() {
      await Promise.all(opened.map((db) => db.destroy().catch(() => undefined)))
      rmSync(dir, { recursive: true, force: true })
    },
  }
}

/** A journal that can be told to be slow or to fail; what it writes goes to the real one. */
export interface Fickle extends AlarmJournal {
  fail: string | null
  /** Appends wait until `go` is called. */
  slow: boolean
  go(): void
  readonly appended: number[]
}

export function fickle(journal: AlarmJournal): Fickle {
  let waiting: (() => void)[] = []
  const f: Fickle = {
    ...journal,
    fail: null,
    slow: false,
    appended: [],
    go() {
      const all = waiting
      waiting = []
      for (const w of all) w()
    },
    async append(events) {
      if (f.slow) await new Promise<void>((done) => waiting.push(done))
      if (f.fail !== null) throw new Error(f.fail)
      const seqs = await journal.append(events)
      f.appended.push(events.length)
      return seqs
    },
  }
  return f
}

/** Lets every promise that can go on do so, without waiting for the clock. */
export async function settled(condition: () => boolean, what: string): Promise<void> {
  const until = performance.now() + 10_000
  while (!condition()) {
    if (performance.now() > until) throw new Error(`waited 10 s in vain for: ${what}`)
    await new Promise((done) => setImmediate(done))
  }
}
