/**
 * The newest reading of each signal, wherever it lies. It answers "what is the latest" for a whole fleet from memory, and
 * tells intake in one comparison that a reading cannot be a repetition. What is not known is asked for when needed.
 */
import type { HistoryReading } from './history.ts'
import type { Columns } from './columns.ts'
import { CODES, qcOf, qualityOf, subOf } from './quality-code.ts'

const STEP = 4
/** Quality, reason and flag by code, taken apart once. */
const SAID = Array.from({ length: CODES }, (_, code) => ({ quality: qualityOf(code), sub: subOf(code), qc: qcOf(code) }))

export class Newest {
  /** source time (NaN: not known, -1: no reading), received time, value (NaN: none), code of each signal, side by side. */
  private all = new Float64Array(0)
  private readonly look: (signal: number, into: Columns) => void
  private readonly found: Columns

  /** `look` puts the newest reading of a signal in place of what `into` held. */
  constructor(look: (signal: number, into: Columns) => void, scratch: Columns) {
    this.look = look
    this.found = scratch
  }

  /** Its time; NaN: not known yet, -1: there is none. */
  ms(signal: number): number {
    return STEP * signal < this.all.length ? this.all[STEP * signal]! : Number.NaN
  }

  set(signal: number, sourceMs: number, receivedMs: number, value: number, code: number): void {
    const i = STEP * signal
    if (i >= this.all.length) this.makeRoomFor(signal)
    this.all[i] = sourceMs
    this.all[i + 1] = receivedMs
    this.all[i + 2] = value
    this.all[i + 3] = code
  }

  setNone(signal: number): void {
    this.set(signal, -1, 0, Number.NaN, 0)
  }

  setUnknown(signal: number): void {
    if (STEP * signal < this.all.length) this.all[STEP * signal] = Number.NaN
  }

  /** Its time, looked up when not known; -1: there is none. */
  known(signal: number): number {
    const ms = this.ms(signal)
    if (ms === ms) return ms
    this.look(signal, this.found)
    const c = this.found
    if (c.n === 0) this.setNone(signal)
    else this.set(signal, c.times[0]!, c.received[0]!, c.values[0]!, c.codes[0]!)
    return this.all[STEP * signal]!
  }

  reading(signal: number): HistoryReading | null {
    if (this.known(signal) < 0) return null
    const i = STEP * signal
    const value = this.all[i + 2]!
    const code = this.all[i + 3]!
    const said = SAID[code]!
    return { sourceMs: this.all[i]!, receivedMs: this.all[i + 1]!, value: value === value ? value : null, quality: said.quality, sub: said.sub, qc: said.qc }
  }

  private makeRoomFor(signal: number): void {
    const grown = new Float64Array(Math.max(STEP * (signal + 1), 2 * this.all.length, 1024)).fill(Number.NaN, this.all.length)
    grown.set(this.all)
    this.all = grown
  }
}
