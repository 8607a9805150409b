/**
 * A block: a stretch of one signal's readings, packed, with the figures a wide trend needs beside it, so that a block wholly
 * inside a span of the trend is never unpacked.
 *
 *   n | times | quality codes*2 + (1 without figure) | values unless all are without | received times | CRC-32
 *
 * A reading without a figure repeats its neighbour in the value column. Received times are kept as themselves or as the
 * distance from the source time, whichever is smaller; they come last so that a trend can leave them packed.
 */
import { crc32 } from 'node:zlib'
import { makeRoom, type Columns } from './columns.ts'
import { createDoubleCodec, roomForDoubles } from './doubles.ts'
import { putInts, roomForInts, takeInts } from './ints.ts'
import { BAD, CODES, rankOf } from './quality-code.ts'
import { putVarint, takeVarint, type Sink } from './varint.ts'

/** Figures of a stretch of readings. min, max, sum, first and last are over the `n - bad` readings that count, else null. */
export interface Figures {
  readonly n: number
  /** Readings of bad quality or without a figure. */
  readonly bad: number
  readonly min: number | null
  readonly max: number | null
  readonly sum: number | null
  readonly first: number | null
  readonly last: number | null
  /** 0 good, 1 uncertain, 2 bad: the worst of all. */
  readonly worst: number
}

/** A block whose bytes are not what was written. */
export class DamagedBlock extends Error {}

export interface BlockCodec {
  /** Packs readings [from, to). The bytes are good until the next call. */
  pack(c: Columns, from: number, to: number): Uint8Array
  /** Unpacks in place of what `into` held. Without `received` that column is left as it was. Throws DamagedBlock. */
  unpack(bytes: Uint8Array, into: Columns, received?: boolean): void
}

const OFFSET = 0
const ABSOLUTE = 1

export function createBlockCodec(): BlockCodec {
  const doubles = createDoubleCodec()
  let scratch = new Float64Array(512)
  const sink: Sink = { bytes: new Uint8Array(16_384), at: 0 }
  const trial: Sink = { bytes: new Uint8Array(4_096), at: 0 }

  function roomFor(n: number): void {
    if (scratch.length < n) scratch = new Float64Array(2 * n)
    const most = 4 * roomForInts(n) + roomForDoubles(n) + 64
    if (sink.bytes.length < most) sink.bytes = new Uint8Array(2 * most)
    if (trial.bytes.length < roomForInts(n)) trial.bytes = new Uint8Array(2 * roomForInts(n))
  }

  function packReceived(times: Float64Array, received: Float64Array, n: number): void {
    for (let i = 0; i < n; i++) scratch[i] = received[i]! - times[i]!
    const at = sink.at
    sink.bytes[sink.at++] = OFFSET
    putInts(sink, scratch, n, [0, 1])
    trial.at = 0
    putInts(trial, received, n, [1])
    if (trial.at < sink.at - at - 1) {
      sink.bytes[at] = ABSOLUTE
      sink.bytes.set(trial.bytes.subarray(0, trial.at), at + 1)
      sink.at = at + 1 + trial.at
    }
  }

  function packValues(values: Float64Array, n: number): void {
    let fill = Number.NaN
    for (let i = 0; i < n && fill !== fill; i++) fill = values[i]!
    if (fill !== fill) return
    for (let i = 0; i < n; i++) {
      const v = values[i]!
      if (v === v) fill = v
      scratch[i] = fill
    }
    doubles.put(sink, scratch, n)
  }

  return {
    pack(c, from, to) {
      const n = to - from
      roomFor(n)
      const times = c.times.subarray(from, to)
      const values = c.values.subarray(from, to)
      sink.at = 0
      putVarint(sink, n)
      putInts(sink, times, n, [2, 1])
      for (let i = 0; i < n; i++) scratch[i] = 2 * c.codes[from + i]! + (values[i]! === values[i]! ? 0 : 1)
      putInts(sink, scratch, n, [0, 1])
      packValues(values, n)
      packReceived(times, c.received.subarray(from, to), n)
      const sum = crc32(sink.bytes.subarray(0, sink.at))
      for (let k = 0; k < 4; k++) sink.bytes[sink.at++] = (sum >>> (8 * k)) & 255
      return sink.bytes.subarray(0, sink.at)
    },

    unpack(bytes, into, received = true) {
      const end = bytes.length - 4
      const sum = end < 0 ? -1 : (bytes[end]! | (bytes[end + 1]! << 8) | (bytes[end + 2]! << 16) | (bytes[end + 3]! << 24)) >>> 0
      if (sum !== crc32(bytes.subarray(0, Math.max(0, end)))) throw new DamagedBlock('its checksum does not fit its bytes')
      const source = { bytes, at: 0 }
      const n = takeVarint(source)
      into.n = 0
      makeRoom(into, n)
      roomFor(n)
      takeInts(source, into.times, n)
      const uniform = takeInts(source, scratch, n)
      const { codes, values } = into
      let empty = 0
      if (uniform && n > 0) {
        codes.fill(scratch[0]! >> 1, 0, n)
        empty = (scratch[0]! & 1) === 1 ? n : 0
      } else {
        for (let i = 0; i < n; i++) {
          const code = scratch[i]!
          codes[i] = code >> 1
          empty += code & 1
        }
      }
      if (empty < n) {
        doubles.take(source, values, n)
        if (empty > 0) for (let i = 0; i < n; i++) if ((scratch[i]! & 1) === 1) values[i] = Number.NaN
      } else values.fill(Number.NaN, 0, n)
      if (received) {
        const way = bytes[source.at++]
        takeInts(source, into.received, n)
        if (way === OFFSET) for (let i = 0; i < n; i++) into.received[i] = into.received[i]! + into.times[i]!
      }
      into.n = n
    },
  }
}

/** Figures of readings [from, to). */
export function figuresOf(c: Columns, from: number, to: number): Figures {
  let bad = 0
  let min = Number.POSITIVE_INFINITY
  let max = Number.NEGATIVE_INFINITY
  let sum = 0
  let first = Number.NaN
  let last = Number.NaN
  let worst = 0
  for (let i = from; i < to; i++) {
    const v = c.values[i]!
    const code = c.codes[i]!
    if (code > worst) worst = code
    if (code >= BAD || v !== v) {
      bad++
      continue
    }
    if (v < min) min = v
    if (v > max) max = v
    if (first !== first) first = v
    last = v
    sum += v
  }
  const n = to - from
  const none = bad === n
  return {
    n,
    bad,
    worst: rankOf(Math.min(worst, CODES - 1)),
    min: none ? null : min,
    max: none ? null : max,
    sum: none ? null : sum,
    first: none ? null : first,
    last: none ? null : last,
  }
}
