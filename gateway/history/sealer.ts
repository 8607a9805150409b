/**
 * Sealing, in steps small enough to stand between two messages. A round begins when the unsealed tail is old or large
 * enough, freezes it, and goes through its signals in order; each step is one transaction of blocks and the mark how far.
 */
import type Database from 'better-sqlite3'
import { setImmediate as turn } from 'node:timers/promises'
import type { Clock } from '../clock.ts'
import { newColumns } from './columns.ts'
import { inTransaction } from './file.ts'
import { refusedBy } from './refused.ts'
import type { Sealed } from './sealed.ts'
import type { Tail } from './tail.ts'

/** Signals in one transaction at most: neighbours share pages, so many at once write less. */
const MOST_SIGNALS_A_STEP = 512
/** Sealing everything gives the event loop its turn this often. */
const PIECE_MS = 20

export interface SealerParts {
  readonly db: Database.Database
  readonly clock: Clock
  readonly tail: Tail
  readonly sealed: Sealed
  readonly sealAfterMs: number
  readonly sealAtReadings: number
}

export class Sealer {
  private readonly parts: SealerParts
  private readonly scratch = newColumns(512)
  /** What stopped the last step; null: nothing. Nothing is lost: the readings stay in the tail and the step is tried again. */
  trouble: Error | null = null
  failures = 0

  constructor(parts: SealerParts) {
    this.parts = parts
  }

  /** Works for about `budgetMs`; true: there is more to do now. */
  step(budgetMs: number): boolean {
    const { clock, tail } = this.parts
    const deadlineMs = clock.steadyMs() + budgetMs
    try {
      if (!tail.frozen && this.due()) tail.freeze()
      while (tail.frozen) {
        this.sealSome(deadlineMs)
        if (clock.steadyMs() >= deadlineMs) break
      }
      const clearing = tail.clearSome()
      this.trouble = null
      return tail.frozen !== null || clearing || this.due()
    } catch (e) {
      this.failures++
      const refused = refusedBy(e, 'sealing history blocks')
      if (!(refused instanceof Error) || refused === e) throw e
      this.trouble = refused
      return false
    }
  }

  /** Seals all that is unsealed now, in small pieces. Rejects when the disk does not take it. */
  async all(assertOpen: () => void): Promise<void> {
    const { tail } = this.parts
    for (let round = 0; round < 2; round++) {
      // A round that was under way holds only what came before it began; a second takes the rest.
      const under = tail.frozen !== null
      if (!under) this.begin()
      while (tail.frozen) {
        assertOpen()
        this.step(PIECE_MS)
        if (this.trouble) throw this.trouble
        await turn()
      }
      if (!under) break
    }
    while (tail.clearSome()) {
      await turn()
      assertOpen()
    }
  }

  /** Begins a round whatever is due, when there is anything to seal. */
  begin(): void {
    const { tail } = this.parts
    if (!tail.frozen && tail.live.size > 0) tail.freeze()
  }

  private due(): boolean {
    const { tail, clock, sealAfterMs, sealAtReadings } = this.parts
    if (tail.frozen || tail.live.size === 0) return false
    return tail.live.size >= sealAtReadings || clock.nowMs() - (tail.oldestMs ?? 0) >= sealAfterMs
  }

  private sealSome(deadlineMs: number): void {
    const { db, tail, sealed, clock } = this.parts
    const head = tail.frozen
    if (!head) return
    if (head.size === 0) return tail.finish()
    let cursor = tail.cursor
    let grown = 0
    let count = 0
    try {
      inTransaction(db, () => {
        for (let signal = tail.cursor + 1; signal < head.signals && count < MOST_SIGNALS_A_STEP; signal++) {
          cursor = signal
          if (!head.has(signal)) continue
          head.copy(signal, 0, Number.POSITIVE_INFINITY, this.scratch)
          grown += sealed.seal(signal, this.scratch)
          count++
          if (clock.steadyMs() >= deadlineMs) break
        }
        tail.writeSealed(cursor, grown)
      })
    } finally {
      sealed.forgetKept()
    }
    tail.wasSealed(cursor, grown)
  }
}
