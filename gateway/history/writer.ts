/**
 * The way in: one batch, one transaction. Readings go into the live head while the frame is built, and come out again when
 * the disk does not take the frame, so a refused batch leaves nothing behind.
 */
import type Database from 'better-sqlite3'
import type { Clock } from '../clock.ts'
import type { Reading } from '../site/reading.ts'
import type { Corrections } from './corrections.ts'
import { inTransaction, LATEST_MS } from './file.ts'
import type { AppendResult } from './history.ts'
import { FrameWriter } from './inbox.ts'
import type { Newest } from './newest.ts'
import { codeOf } from './quality-code.ts'
import { HistoryRefused, refusedBy } from './refused.ts'
import type { Sealed } from './sealed.ts'
import type { Signals } from './signals.ts'
import type { Tail } from './tail.ts'

const NOTHING: AppendResult = { stored: 0, duplicate: 0, conflict: 0 }

interface Differing {
  readonly signal: number
  readonly sourceMs: number
  readonly receivedMs: number
  readonly value: number
  readonly code: number
}

export interface WriterParts {
  readonly db: Database.Database
  readonly clock: Clock
  readonly signals: Signals
  readonly tail: Tail
  readonly sealed: Sealed
  readonly newest: Newest
  readonly corrections: Corrections
}

export class Writer {
  private readonly parts: WriterParts
  private readonly frame = new FrameWriter()
  private addedSignals = new Int32Array(64)
  private addedMs = new Float64Array(64)

  constructor(parts: WriterParts) {
    this.parts = parts
  }

  /** Throws HistoryRefused, keeping nothing of the batch. */
  commit(batch: readonly Reading[]): AppendResult {
    const { signals, tail, newest } = this.parts
    const head = tail.live
    const lead = batch[0]
    if (!lead) return NOTHING
    this.makeRoom(batch.length)
    const { frame, addedSignals, addedMs } = this
    frame.begin(batch.length, lead.receivedMs)
    const firstNew = signals.end
    let stored = 0
    let duplicate = 0
    let differing: Differing[] | null = null
    try {
      for (let i = 0; i < batch.length; i++) {
        const r = batch[i]!
        const t = r.sourceMs
        const code = codeOf(r.quality, r.sub, r.qc)
        if (code < 0 || !isTime(t) || !isTime(r.receivedMs) || (r.value !== null && !Number.isFinite(r.value))) throw badReading(r)
        let signal = signals.idInTurn(r.key)
        if (signal === undefined) {
          signal = signals.add(r.key)
          newest.setNone(signal)
        }
        const value = r.value === null ? Number.NaN : r.value
        const isNewest = t > newest.ms(signal) || t > newest.known(signal)
        if (isNewest) {
          head.append(signal, t, r.receivedMs, value, code)
          newest.set(signal, t, r.receivedMs, value, code)
        } else {
          const held = this.held(signal, t)
          if (held !== undefined) {
            // The same number or both without a figure; 0 and -0 are the same number.
            if (held === value || (held !== held && value !== value)) duplicate++
            else (differing ??= []).push({ signal, sourceMs: t, receivedMs: r.receivedMs, value, code })
            continue
          }
          head.insert(signal, t, r.receivedMs, value, code)
        }
        frame.add(signal, t, r.receivedMs, value, code, isNewest)
        addedSignals[stored] = signal
        addedMs[stored++] = t
      }
      this.write(stored, firstNew, differing)
    } catch (e) {
      this.undo(stored, firstNew)
      throw refusedBy(e, 'the readings could not be stored')
    }
    return { stored, duplicate, conflict: differing?.length ?? 0 }
  }

  private held(signal: number, sourceMs: number): number | undefined {
    const unsealed = this.parts.tail.find(signal, sourceMs)
    return unsealed === undefined ? this.parts.sealed.find(signal, sourceMs) : unsealed
  }

  private write(stored: number, firstNew: number, differing: readonly Differing[] | null): void {
    const { db, signals, tail, corrections } = this.parts
    if (stored === 0 && !differing) return
    const frame = this.frame.end(stored)
    if (!differing && signals.end === firstNew) {
      tail.write(frame)
    } else {
      corrections.count += inTransaction(db, () => {
        for (let id = firstNew; id < signals.end; id++) signals.write(id)
        if (stored > 0) tail.write(frame)
        let kept = 0
        for (const d of differing ?? []) kept += corrections.add(d.signal, d.sourceMs, d.receivedMs, d.value, d.code)
        return kept
      })
    }
    if (stored > 0) tail.written(frame, this.parts.clock.nowMs())
  }

  private undo(stored: number, firstNew: number): void {
    const { signals, tail, newest } = this.parts
    for (let i = stored - 1; i >= 0; i--) {
      tail.live.remove(this.addedSignals[i]!, this.addedMs[i]!)
      newest.setUnknown(this.addedSignals[i]!)
    }
    signals.undo(signals.end - firstNew)
  }

  private makeRoom(n: number): void {
    if (n <= this.addedSignals.length) return
    this.addedSignals = new Int32Array(2 * n)
    this.addedMs = new Float64Array(2 * n)
  }
}

const isTime = (ms: number): boolean => ms >= 0 && ms <= LATEST_MS && Number.isInteger(ms)

function badReading(r: Reading): HistoryRefused {
  const what = `value ${r.value}, quality ${r.quality}/${r.sub}/${r.qc}, source time ${r.sourceMs}, received ${r.receivedMs}`
  return new HistoryRefused(
    'BAD_READING',
    `a reading of ${r.key} cannot be stored (${what}): the value must be finite or null, times whole ms from 0 to 2^45, quality good, uncertain or bad with its reason. Nothing of its batch was kept`,
  )
}
