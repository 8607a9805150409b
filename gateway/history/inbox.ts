/**
 * How a committed batch lies in the inbox: a frame of readings in the order they came. Frames put end to end are read like
 * one, so that many small rows can be folded into one without being understood.
 *
 *   readings | received (8 bytes) | per reading: signal, code + flags (2 bytes), received - source, [received - the frame's], value (8 bytes)
 *
 * A value that is NaN stands for a reading without a figure. NEWEST says that the reading was the newest of its signal
 * when it came, so that a restart need not ask the sealed blocks.
 */
import { putVarint, takeVarint, unzigzag, zigzag, type Sink } from './varint.ts'

const CODE_MASK = 1023
const NEWEST = 1024
const OTHER_RECEIVED = 2048
/** Most bytes of one reading: 4 + 2 + 7 + 7 + 8. */
const READING_BYTES = 28
const HEAD_BYTES = 18

const number = new Float64Array(1)
const bytesOfNumber = new Uint8Array(number.buffer)

export class FrameWriter {
  private readonly sink: Sink = { bytes: Buffer.allocUnsafe(4096), at: 0 }
  private receivedMs = 0

  /** Begins a frame of at most `most` readings. */
  begin(most: number, receivedMs: number): void {
    const room = HEAD_BYTES + most * READING_BYTES
    if (this.sink.bytes.length < room) this.sink.bytes = Buffer.allocUnsafe(2 * room)
    this.receivedMs = receivedMs
    this.sink.at = HEAD_BYTES
  }

  add(signal: number, sourceMs: number, receivedMs: number, value: number, code: number, newest: boolean): void {
    const s = this.sink
    putVarint(s, signal)
    const other = receivedMs !== this.receivedMs
    const flags = code | (newest ? NEWEST : 0) | (other ? OTHER_RECEIVED : 0)
    s.bytes[s.at++] = flags & 255
    s.bytes[s.at++] = flags >> 8
    putVarint(s, zigzag(receivedMs - sourceMs))
    if (other) putVarint(s, zigzag(receivedMs - this.receivedMs))
    putNumber(s, value)
  }

  /** The frame of the `count` readings added; good until the next `begin`. */
  end(count: number): Buffer {
    const end = this.sink.at
    const head: Sink = { bytes: this.sink.bytes, at: 0 }
    putVarint(head, count)
    putNumber(head, this.receivedMs)
    // The head is as long as it is; slide it up against the first reading.
    const from = HEAD_BYTES - head.at
    head.bytes.copyWithin(from, 0, head.at)
    return (this.sink.bytes as Buffer).subarray(from, end)
  }
}

function putNumber(s: Sink, value: number): void {
  number[0] = value
  const { bytes } = s
  let { at } = s
  for (let k = 0; k < 8; k++) bytes[at++] = bytesOfNumber[k]!
  s.at = at
}

/** Hands every reading of the frames in `bytes` to `take`, in order. Throws RangeError when they are not whole. */
export function readFrames(bytes: Uint8Array, take: (signal: number, sourceMs: number, receivedMs: number, value: number, code: number, newest: boolean) => void): void {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength)
  const source = { bytes, at: 0 }
  while (source.at < bytes.length) {
    const count = takeVarint(source)
    const frameReceivedMs = view.getFloat64(source.at, true)
    source.at += 8
    for (let i = 0; i < count; i++) {
      const signal = takeVarint(source)
      const flags = view.getUint16(source.at, true)
      source.at += 2
      const lag = unzigzag(takeVarint(source))
      const receivedMs = (flags & OTHER_RECEIVED) === 0 ? frameReceivedMs : frameReceivedMs + unzigzag(takeVarint(source))
      const value = view.getFloat64(source.at, true)
      source.at += 8
      take(signal, receivedMs - lag, receivedMs, value, flags & CODE_MASK, (flags & NEWEST) !== 0)
    }
  }
}

/** When the first reading of the frames was received. */
export function firstReceivedMs(bytes: Uint8Array): number {
  const source = { bytes, at: 0 }
  takeVarint(source)
  return new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength).getFloat64(source.at, true)
}
