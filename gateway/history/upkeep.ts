/**
 * Work on what is stored: forgetting, and looking for damage. Long work is cut into short synchronous pieces with a turn of
 * the event loop between them, so that messages go on being taken.
 */
import { setImmediate as turn } from 'node:timers/promises'
import type Database from 'better-sqlite3'
import { siteOfKey } from '../site/reading.ts'
import { DamagedBlock, figuresOf, type Figures } from './block.ts'
import { newColumns } from './columns.ts'
import type { Corrections } from './corrections.ts'
import { blockId, inTransaction, signalOfBlock, slotOf } from './file.ts'
import { readFrames } from './inbox.ts'
import type { Newest } from './newest.ts'
import { refusedBy } from './refused.ts'
import type { BlockRow, Sealed } from './sealed.ts'
import type { Signals } from './signals.ts'
import type { Tail } from './tail.ts'

export interface Fault {
  /** Key of the signal, or the table it was found in. */
  readonly where: string
  readonly what: string
}

export interface CheckResult {
  readonly blocks: number
  readonly readings: number
  readonly inboxRows: number
  /** All faults found. */
  readonly faultCount: number
  /** The first 100 of them. */
  readonly faults: readonly Fault[]
}

export interface UpkeepParts {
  readonly db: Database.Database
  readonly signals: Signals
  readonly tail: Tail
  readonly sealed: Sealed
  readonly newest: Newest
  readonly corrections: Corrections
  readonly assertOpen: () => void
  /** Seals everything that is unsealed now. */
  readonly sealAll: () => Promise<void>
}

const SIGNALS_A_PIECE = 128
const SIGNALS_A_LOOK = 1_024
const BLOCKS_A_PIECE = 256
const ROWS_A_PIECE = 32
const FAULTS_SHOWN = 100

export interface Upkeep {
  forgetBefore(beforeMs: number): Promise<number>
  forgetSite(site: string): Promise<number>
  check(): Promise<CheckResult>
  oldestMs(): Promise<number | null>
}

export function createUpkeep(parts: UpkeepParts): Upkeep {
  const { db, signals, tail, sealed, newest, corrections, assertOpen, sealAll } = parts
  const lowerSealed = db.prepare('UPDATE tail SET sealed = ?')

  async function forget(ids: readonly number[], beforeMs: number): Promise<number> {
    if (ids.some((id) => tail.firstMs(id) < beforeMs)) await sealAll()
    let gone = 0
    for (let i = 0; i < ids.length; i += SIGNALS_A_PIECE) {
      assertOpen()
      const piece = ids.slice(i, i + SIGNALS_A_PIECE)
      let corrected = 0
      try {
        const sum = inTransaction(db, () => {
          let n = 0
          for (const id of piece) {
            n += sealed.forgetBefore(id, beforeMs)
            corrected += corrections.removeBefore(id, beforeMs)
          }
          if (n > 0) lowerSealed.run(tail.sealed - n)
          return n
        })
        tail.sealed -= sum
        gone += sum
        corrections.count -= corrected
      } catch (e) {
        throw refusedBy(e, 'old readings could not be forgotten')
      } finally {
        sealed.forgetKept()
        for (const id of piece) newest.setUnknown(id)
      }
      await turn()
    }
    return gone
  }

  return {
    forgetBefore(beforeMs) {
      return forget(
        Array.from(signals.entries(), ([, id]) => id),
        beforeMs,
      )
    },

    async forgetSite(site) {
      const ids = Array.from(signals.entries()).flatMap(([key, id]) => (siteOfKey(key) === site ? [id] : []))
      const gone = await forget(ids, Number.MAX_SAFE_INTEGER)
      // Readings may have come meanwhile: then the signal is known again.
      const empty = ids.filter((id) => tail.firstMs(id) === Number.POSITIVE_INFINITY && sealed.extent(id) === null)
      try {
        inTransaction(db, () => empty.forEach((id) => signals.remove(id)))
      } catch (e) {
        throw refusedBy(e, `the signals of site ${site} could not be forgotten`)
      }
      empty.forEach((id) => signals.forget(id))
      return gone
    },

    async oldestMs() {
      let oldest = Number.POSITIVE_INFINITY
      let count = 0
      for (const [, id] of signals.entries()) {
        oldest = Math.min(oldest, sealed.extent(id)?.firstMs ?? Number.POSITIVE_INFINITY, tail.firstMs(id))
        if (++count % SIGNALS_A_LOOK !== 0) continue
        await turn()
        assertOpen()
      }
      return Number.isFinite(oldest) ? oldest : null
    },

    async check() {
      const faults: Fault[] = []
      let faultCount = 0
      let blocks = 0
      let readings = 0
      let inboxRows = 0
      const report = (where: string, what: string): void => {
        faultCount++
        if (faults.length < FAULTS_SHOWN) faults.push({ where, what })
      }
      const c = newColumns(512)
      const some = db.prepare<[number], BlockRow>(`SELECT * FROM block WHERE id > ? ORDER BY id LIMIT ${BLOCKS_A_PIECE}`)
      let before: BlockRow | undefined
      for (let at = 0; ; ) {
        assertOpen()
        const rows = some.all(at)
        for (const row of rows) {
          at = row.id
          blocks++
          readings += row.n
          const signal = signalOfBlock(row.id)
          const where = signals.key(signal) ?? `signal ${signal}, which has no key`
          const saw = (what: string): void => report(where, `block ${row.id}: ${what}`)
          if (signals.key(signal) === undefined) saw('belongs to no signal')
          if (before && signalOfBlock(before.id) === signal && slotOf(before.last_ms) >= slotOf(row.first_ms)) saw('overlaps the block before it')
          before = row
          try {
            sealed.codec.unpack(row.packed, c)
          } catch (e) {
            if (!(e instanceof DamagedBlock)) throw e
            saw(e.message)
            continue
          }
          for (const what of differences(row, c.n === 0 ? null : { ...figuresOf(c, 0, c.n), first_ms: c.times[0]!, last_ms: c.times[c.n - 1]! })) saw(what)
          if (row.id !== blockId(signal, slotOf(row.first_ms))) saw('has an id that does not fit its first reading')
          for (let i = 1; i < c.n; i++) if (c.times[i - 1]! >= c.times[i]!) saw(`its times do not ascend at reading ${i}`)
        }
        if (rows.length < BLOCKS_A_PIECE) break
        await turn()
      }
      const someRows = db.prepare<[number], [number, Uint8Array]>(`SELECT id, frames FROM inbox WHERE id > ? ORDER BY id LIMIT ${ROWS_A_PIECE}`).raw()
      for (let at = 0; ; await turn()) {
        assertOpen()
        const rows = someRows.all(at)
        for (const [id, frames] of rows) {
          at = id
          inboxRows++
          try {
            readFrames(frames, (signal) => {
              if (!tail.counts(id, signal)) return
              readings++
              if (signals.key(signal) === undefined) report('inbox', `row ${id} holds a reading of signal ${signal}, which has no key`)
            })
          } catch (e) {
            report('inbox', `row ${id} cannot be read: ${(e as Error).message}`)
          }
        }
        if (rows.length < ROWS_A_PIECE) break
      }
      return { blocks, readings, inboxRows, faultCount, faults }
    },
  }
}

function differences(row: BlockRow, found: (Figures & { readonly first_ms: number; readonly last_ms: number }) | null): string[] {
  if (!found) return ['is empty']
  const names = ['n', 'bad', 'worst', 'min', 'max', 'sum', 'first', 'last', 'first_ms', 'last_ms'] as const
  return names.flatMap((name) => {
    const kept = row[name]
    // A sum that is no number is kept as null.
    const counted = found[name] !== found[name] ? null : found[name]
    return kept === counted ? [] : [`${name} is written as ${kept}, its readings give ${counted}`]
  })
}
