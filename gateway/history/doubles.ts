/**
 * A column of values as few bytes, exactly. Instruments report a few decimals, so a value is nearly always a whole number
 * over a power of ten, and dividing gives back the very same double. When one of a block is not (computed vitals, -0, huge
 * numbers), the block falls back to bytes: each value XORed with the one before, the bytes of equal weight side by side, and
 * planes that are all or mostly zero left out. Values that came from 32-bit floats take four planes instead of eight.
 *
 *   way | decimal: places, whole numbers (ints.ts) | planes: which are not zero, which are sparse, their bytes
 */
import { putInts, roomForInts, takeInts } from './ints.ts'
import type { Sink, Source } from './varint.ts'

const DECIMAL = 1
const FLOAT32 = 4
const FLOAT64 = 8
const MOST_PLACES = 15
/** Sizes up to which steps between whole numbers stay exact (ints.ts). */
const LARGEST_WHOLE = 2 ** 48

const POWERS = Float64Array.from({ length: MOST_PLACES + 1 }, (_, k) => 10 ** k)

/** Most bytes `n` values can take. */
export const roomForDoubles = (n: number): number => roomForInts(n) + n + 16

export interface DoubleCodec {
  /** Appends the first `n` of `values`, all finite. */
  put(s: Sink, values: Float64Array, n: number): void
  take(s: Source, values: Float64Array, n: number): void
}

export function createDoubleCodec(): DoubleCodec {
  let whole = new Float64Array(512)
  let doubles = new Float64Array(512)
  let floats = new Float32Array(512)
  const makeRoom = (n: number): void => {
    if (n <= whole.length) return
    whole = new Float64Array(2 * n)
    doubles = new Float64Array(2 * n)
    floats = new Float32Array(2 * n)
  }

  return {
    put(s, values, n) {
      makeRoom(n)
      const places = asDecimals(values, n, whole)
      if (places >= 0) {
        s.bytes[s.at++] = DECIMAL
        s.bytes[s.at++] = places
        putInts(s, whole, n, [1, 0, 2])
        return
      }
      let short = true
      for (let i = 0; i < n && short; i++) short = Math.fround(values[i]!) === values[i]!
      if (short) {
        for (let i = 0; i < n; i++) floats[i] = values[i]!
        putPlanes(s, new Uint8Array(floats.buffer), n, FLOAT32)
      } else {
        doubles.set(values.subarray(0, n))
        putPlanes(s, new Uint8Array(doubles.buffer), n, FLOAT64)
      }
    },
    take(s, values, n) {
      makeRoom(n)
      const way = s.bytes[s.at++]
      if (way === DECIMAL) {
        const scale = POWERS[s.bytes[s.at++]!]
        if (scale === undefined) throw new RangeError('a value column has an impossible number of places')
        takeInts(s, values, n)
        if (scale !== 1) for (let i = 0; i < n; i++) values[i] = values[i]! / scale
      } else if (way === FLOAT32) {
        takePlanes(s, new Uint8Array(floats.buffer), n, FLOAT32)
        for (let i = 0; i < n; i++) values[i] = floats[i]!
      } else if (way === FLOAT64) {
        takePlanes(s, new Uint8Array(doubles.buffer), n, FLOAT64)
        values.set(doubles.subarray(0, n))
      } else throw new RangeError(`a value column is written in an unknown way (${way})`)
    },
  }
}

/** Fills `whole` with values times a power of ten and gives the power, the smallest that is exact for all; -1: there is none. */
function asDecimals(values: Float64Array, n: number, whole: Float64Array): number {
  let places = 0
  for (let i = 0; i < n; ) {
    const scale = POWERS[places]!
    const v = values[i]!
    const m = Math.round(v * scale)
    if (m / scale === v && Math.abs(m) <= LARGEST_WHOLE && !(v === 0 && Object.is(v, -0))) {
      whole[i++] = m
      continue
    }
    if (++places > MOST_PLACES || Math.abs(v * scale) > LARGEST_WHOLE) return -1
    i = 0
  }
  return places
}

function putPlanes(s: Sink, raw: Uint8Array, n: number, size: number): void {
  const b = s.bytes
  b[s.at++] = size
  const filledAt = s.at++
  const sparseAt = s.at++
  let filled = 0
  let sparse = 0
  for (let p = 0; p < size; p++) {
    let used = 0
    for (let i = 0, k = p, before = 0; i < n; i++, k += size) {
      if (raw[k] !== before) used++
      before = raw[k]!
    }
    if (used === 0) continue
    filled |= 1 << p
    const mapBytes = (n + 7) >> 3
    const isSparse = used + mapBytes < n
    const mapAt = s.at
    if (isSparse) {
      sparse |= 1 << p
      b.fill(0, mapAt, mapAt + mapBytes)
      s.at += mapBytes
    }
    for (let i = 0, k = p, before = 0; i < n; i++, k += size) {
      const x = raw[k]! ^ before
      before = raw[k]!
      if (!isSparse) b[s.at++] = x
      else if (x !== 0) {
        b[mapAt + (i >> 3)]! |= 1 << (i & 7)
        b[s.at++] = x
      }
    }
  }
  b[filledAt] = filled
  b[sparseAt] = sparse
}

function takePlanes(s: Source, raw: Uint8Array, n: number, size: number): void {
  const b = s.bytes
  const filled = b[s.at++]!
  const sparse = b[s.at++]!
  for (let p = 0; p < size; p++) {
    let value = 0
    if ((filled & (1 << p)) === 0) {
      for (let i = 0, k = p; i < n; i++, k += size) raw[k] = 0
      continue
    }
    const mapAt = s.at
    const isSparse = (sparse & (1 << p)) !== 0
    if (isSparse) s.at += (n + 7) >> 3
    for (let i = 0, k = p; i < n; i++, k += size) {
      if (!isSparse || (b[mapAt + (i >> 3)]! & (1 << (i & 7))) !== 0) value ^= b[s.at++]!
      raw[k] = value
    }
  }
  if (s.at > b.length) throw new RangeError('a value column runs past the end of its block')
}
