/**
 * The embedded history: the durable first stage of every installation. Batches are appended to an inbox as they come; in
 * the background the inbox is sealed into one packed block per signal and stretch of time. Reading order: file.ts (what is
 * on disk), tail.ts, writer.ts, sealer.ts, sealed.ts, block.ts.
 *
 * What is lost when: a killed process loses nothing committed. With `synchronous: 'normal'` a power cut may lose the last
 * commits (those since the last checkpoint of the log); with 'full' it loses nothing, at about a sixth of the message rate.
 */
import { existsSync, renameSync, rmSync, statSync } from 'node:fs'
import { dirname } from 'node:path'
import type { Clock } from '../clock.ts'
import type { Counter } from '../port.ts'
import { newColumns } from './columns.ts'
import { Amendments } from './amendments.ts'
import { Corrections } from './corrections.ts'
import { inTransaction, openFile, PAGE_BYTES, type HistoryFile } from './file.ts'
import { createFeed, readFloor, type Feed, type FeedOptions } from './feed.ts'
import type { Amendment, DurableHistory, HistoryReading } from './history.ts'
import { Imported } from './imported.ts'
import { Newest } from './newest.ts'
import { createReader } from './reader.ts'
import { HistoryRefused, refusedBy } from './refused.ts'
import { Sealed } from './sealed.ts'
import { Sealer } from './sealer.ts'
import { Signals } from './signals.ts'
import { Tail } from './tail.ts'
import { createUpkeep, type CheckResult } from './upkeep.ts'
import { Writer } from './writer.ts'

export interface EmbeddedOptions {
  /** Folder of the history file; made when missing. One store at a time may have it open. */
  readonly dir: string
  readonly clock: Clock
  /** Default 'normal'. */
  readonly synchronous?: 'normal' | 'full'
  /** A round of sealing begins when the oldest unsealed reading came this long ago, ms. Default 1 hour: longer makes fewer, larger writes, and a longer restart. */
  readonly sealAfterMs?: number
  /** ... or when so many are unsealed. Default 4 million: about 150 MB, and well under a second of restart. */
  readonly sealAtReadings?: number
  /** Bound of the unsealed tail. At the bound a commit seals first, which makes it slow. Default 12 million. */
  readonly maxUnsealed?: number
  /** Bound of the file; at it commits are refused with DISK_FULL. Default: only the disk's. */
  readonly maxFileBytes?: number
}

export interface EmbeddedHistory extends DurableHistory {
  /** Seals for about `budgetMs`; true: there is more to do now. Never throws for the disk's sake: see `trouble`. */
  sealStep(budgetMs: number): boolean
  /** Seals everything that is unsealed when called. Rejects when the disk does not take it. */
  sealAll(): Promise<void>
  /** Later values that differed, by source time, fromMs <= sourceMs < toMs. */
  corrections(key: string, fromMs: number, toMs: number, limit: number): Promise<readonly HistoryReading[]>
  /** Takes what is said of stored readings from now on, their value unchanged, as one transaction; gives how many of them are held. Not sent on to another store. */
  amend(all: readonly Amendment[]): number
  /** Reads everything and compares it with what is written beside it. Takes about a second per 10 million readings, in small pieces. */
  check(): Promise<CheckResult>
  /** Copies the history into one file while everything goes on. Put in place as `history.db` of an empty folder it is a history. */
  backup(path: string): Promise<void>
  /** What is to be sent on to one other store, named so that it is found again after a restart. At most one at a time. */
  feed(options: FeedOptions): Feed
  /** Keys ever heard of and not forgotten, in order of the alphabet. */
  keys(): readonly string[]
  /** Readings that are about to be committed are imported ones, the newest of them from `untilMs`. */
  markImported(key: string, untilMs: number): void
  /** Newest imported source time of the key, ms; -1: none. */
  importedUntilMs(key: string): number
  /** Oldest source time held, ms; null: nothing is. Looks at every signal, in small pieces. */
  oldestMs(): Promise<number | null>
  /** Bytes of the history file that hold something; free room in it is used again before it grows. */
  usedBytes(): number
  /** All readings taken from this source time on are held, ms; earlier ones were forgotten, or taken before the history began. */
  floorMs(): number
  /** What a person should know now, or null. */
  trouble(): string | null
  counters(): readonly Counter[]
}

const HOUR_MS = 3_600_000
/** Longest a commit seals when the tail is at its bound. */
const RELIEF_MS = 50

/** Opens the history of a folder. Throws HistoryRefused. */
export function openEmbedded(options: EmbeddedOptions): EmbeddedHistory {
  const file = openFile({ dir: options.dir, synchronous: options.synchronous ?? 'normal', maxFileBytes: options.maxFileBytes ?? Number.MAX_SAFE_INTEGER })
  try {
    return historyOf(file, options)
  } catch (e) {
    file.close()
    throw refusedBy(e, `the history file ${file.path} could not be read`)
  }
}

function historyOf(file: HistoryFile, options: EmbeddedOptions): EmbeddedHistory {
  const { clock } = options
  const maxUnsealed = options.maxUnsealed ?? 12_000_000
  const { db } = file
  let open = true
  let reliefs = 0
  const assertOpen = (): void => {
    if (!open) throw new HistoryRefused('CLOSED', 'the history is closed')
  }

  const signals = new Signals(db)
  const sealed = new Sealed(db, () => clock.nowMs())
  const tail = new Tail(db)
  const newest = createNewest(tail, sealed)
  tail.replay(newest, signals.end, clock.nowMs())
  const corrections = new Corrections(db)
  const imported = new Imported(db)
  const amendments = new Amendments(db)
  let floorMs = readFloor(db, signals.end > 1 ? 0 : clock.nowMs())
  let feed: Feed | null = null
  const writer = new Writer({ db, clock, signals, tail, sealed, newest, corrections })
  const sealer = new Sealer({ db, clock, tail, sealed, sealAfterMs: options.sealAfterMs ?? HOUR_MS, sealAtReadings: options.sealAtReadings ?? 4_000_000 })
  const reader = createReader({ signals, tail, sealed, newest, steadyMs: () => clock.steadyMs(), assertOpen })
  const sealAll = (): Promise<void> => sealer.all(assertOpen)
  const upkeep = createUpkeep({ db, signals, tail, sealed, newest, corrections, assertOpen, sealAll })
  // One long work at a time.
  let work: Promise<unknown> = Promise.resolve()
  const inTurn = <T>(job: () => Promise<T>): Promise<T> => {
    const next = work.then(() => {
      assertOpen()
      return job()
    })
    work = next.catch(() => undefined)
    return next
  }

  const commit: EmbeddedHistory['commit'] = (batch) => {
    assertOpen()
    if (tail.size >= maxUnsealed) {
      reliefs++
      sealer.begin()
      sealer.step(RELIEF_MS)
      if (sealer.trouble && tail.size >= maxUnsealed) throw sealer.trouble
    }
    return writer.commit(batch)
  }
  const sizeOf = (path: string): number => statSync(path, { throwIfNoEntry: false })?.size ?? 0

  return {
    ...reader,
    async range(key, fromMs, toMs, limit) {
      const readings = await reader.range(key, fromMs, toMs, limit)
      const signal = signals.id(key)
      return signal === undefined ? readings : amendments.over(signal, readings)
    },
    async buckets(keys, fromMs, toMs, points) {
      const all = await reader.buckets(keys, fromMs, toMs, points)
      return all.map((s) => {
        const signal = signals.id(s.key)
        return signal === undefined ? s : { ...s, buckets: amendments.overBuckets(signal, s.buckets, s.bucketMs) }
      })
    },
    commit,
    amend(all) {
      assertOpen()
      let known = 0
      inTransaction(db, () => {
        for (const a of all) {
          const signal = signals.id(a.key)
          if (signal === undefined || (tail.find(signal, a.sourceMs) ?? sealed.find(signal, a.sourceMs)) === undefined) continue
          amendments.add(signal, a)
          known++
        }
      })
      return known
    },
    append: async (batch) => commit(batch),
    sealStep(budgetMs) {
      assertOpen()
      feed?.bound()
      return sealer.step(budgetMs)
    },
    sealAll: () => inTurn(sealAll),
    forgetBefore: (beforeMs) =>
      inTurn(async () => {
        floorMs = readFloor(db, 0, beforeMs)
        amendments.removeBefore(beforeMs)
        return upkeep.forgetBefore(beforeMs)
      }),
    forgetSite: (site) =>
      inTurn(() => {
        amendments.forgetSite(site)
        return upkeep.forgetSite(site)
      }),
    feed(of) {
      assertOpen()
      if (feed) throw new Error('BUG: the history has a feed already')
      return (feed = createFeed({ db, tail, sealed, signals }, of))
    },
    oldestMs: () => inTurn(() => upkeep.oldestMs()),
    usedBytes() {
      assertOpen()
      return ((db.pragma('page_count', { simple: true }) as number) - (db.pragma('freelist_count', { simple: true }) as number)) * PAGE_BYTES
    },
    floorMs: () => floorMs,
    importedUntilMs: (key) => imported.until(key),
    markImported(key, untilMs) {
      assertOpen()
      try {
        imported.mark(key, untilMs)
      } catch (e) {
        throw refusedBy(e, 'the import could not be noted')
      }
    },
    keys: () => Array.from(signals.entries(), ([key]) => key).sort(),
    check: () => inTurn(() => upkeep.check()),
    async corrections(key, fromMs, toMs, limit) {
      assertOpen()
      const signal = signals.id(key)
      if (signal === undefined) return []
      return corrections.range(signal, fromMs, toMs, limit)
    },
    backup: (path) =>
      inTurn(async () => {
        if (existsSync(path)) throw new HistoryRefused('FOLDER', `a backup to ${path} was asked for, which exists already: choose another name`)
        if (!existsSync(dirname(path))) throw new HistoryRefused('FOLDER', `a backup to ${path} was asked for, but there is no such folder: make it first`)
        const partial = `${path}.partial`
        try {
          rmSync(partial, { force: true })
          await db.backup(partial)
          renameSync(partial, path)
        } catch (e) {
          rmSync(partial, { force: true })
          throw refusedBy(e, `the backup to ${path} failed`)
        }
      }),
    stats: () => ({
      signals: signals.count,
      unsealed: tail.size,
      sealed: tail.sealed,
      conflicts: corrections.count,
      fileBytes: sizeOf(file.path),
      walBytes: sizeOf(`${file.path}-wal`),
    }),
    trouble() {
      if (sealer.trouble) return `History blocks cannot be sealed, readings pile up unsealed: ${sealer.trouble.message}`
      if (tail.unreadable > 0) return `Of ${tail.unreadable} history inbox rows only a part could be read when the store was opened; they are set aside. Check the disk`
      return sealed.damaged > 0 ? `Damaged history blocks were met while reading (${sealed.damaged} times): their readings are missing from trends. Run the integrity check` : null
    },
    counters: () => [
      { name: 'historyUnsealed', value: tail.size, bound: maxUnsealed, what: 'Readings not yet sealed into blocks. At the bound a commit seals first, which makes it slow.' },
      { name: 'historySealedInCommit', value: reliefs, what: 'Commits that had to seal first because the unsealed tail was at its bound.' },
      { name: 'historySealFailures', value: sealer.failures, what: 'Steps of sealing the disk did not take; they are tried again.' },
      { name: 'historyConflicts', value: corrections.count, what: 'Later, differing values for readings already held; the first stays the value.' },
      { name: 'historyDamagedBlocks', value: sealed.damaged, what: 'Blocks met while reading whose bytes are not what was written.' },
    ],
    async close() {
      if (!open) return
      open = false
      await work
      file.close()
    },
  }
}

function createNewest(tail: Tail, sealed: Sealed): Newest {
  const other = newColumns(1)
  return new Newest((signal, into) => {
    tail.copyLast(signal, into)
    const unsealedMs = into.n > 0 ? into.times[0]! : -1
    const extent = sealed.extent(signal)
    if (!extent || extent.lastMs < unsealedMs) return
    sealed.copyLast(signal, other)
    if (other.n > 0 && other.times[0]! > unsealedMs) sealed.copyLast(signal, into)
  }, newColumns(1))
}
