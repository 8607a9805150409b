/**
 * A column of whole numbers as few bytes. Most columns of a signal are nearly straight lines: times a fixed step apart,
 * values that wander by a few last digits, a quality that hardly ever changes. So we keep the numbers, their steps, or the
 * change of their steps (`order` 0, 1, 2), whichever is smallest, as the difference from a typical one, each in the same
 * number of bits (`width`); the few that do not fit keep their high part in a list of exceptions.
 *
 *   order*64 + width | first value (order 1, 2) | first step (order 2) | typical | exceptions: n, (gap, high part)* | bits
 *
 * Numbers are whole, at most 2^48 in size, so that every step and change of step is exact in a double.
 */

import { putVarint, takeVarint, unzigzag, zigzag, type Sink, type Source } from './varint.ts'

/** Most bytes `n` numbers can take. */
export const roomForInts = (n: number): number => 9 * n + 64

const SLICE = 24
const TWO_SLICE = 2 ** SLICE

interface Plan {
  readonly order: number
  readonly typical: number
  readonly width: number
  readonly bits: number
}

const steps = (src: Float64Array, i: number, order: number): number => (order === 0 ? src[i]! : order === 1 ? src[i]! - src[i - 1]! : src[i]! - 2 * src[i - 1]! + src[i - 2]!)

/** A middle one of up to fifteen, evenly picked. */
function typicalOf(src: Float64Array, n: number, order: number): number {
  const from = Math.min(order, n)
  const picks = Math.min(15, n - from)
  if (picks <= 0) return 0
  const sample: number[] = []
  for (let k = 0; k < picks; k++) {
    const v = steps(src, from + Math.floor((k * (n - from)) / picks), order)
    let at = sample.length
    while (at > 0 && sample[at - 1]! > v) at--
    sample.splice(at, 0, v)
  }
  return sample[picks >> 1]!
}

const histogram = new Int32Array(64)
const lengthOf = (u: number): number => (u < 0x80000000 ? 32 - Math.clz32(u) : 64 - Math.clz32(Math.floor(u / 0x100000000)))

function plan(src: Float64Array, n: number, order: number): Plan {
  const typical = typicalOf(src, n, order)
  histogram.fill(0)
  let longest = 0
  for (let i = order; i < n; i++) {
    const length = lengthOf(zigzag(steps(src, i, order) - typical))
    histogram[length]!++
    if (length > longest) longest = length
  }
  // From the widest down: how many are longer than the width, and by how many bits in all. An exception costs its gap, and a byte for every seven bits begun.
  const count = Math.max(0, n - order)
  let width = longest
  let bits = count * longest
  let longer = 0
  let over = 0
  for (let w = longest - 1; w >= 0; w--) {
    longer += histogram[w + 1]!
    over += longer
    const cost = count * w + 12 * longer + (8 / 7) * over
    if (cost < bits) {
      bits = cost
      width = w
    }
  }
  return { order, typical, width, bits: bits + 48 * order }
}

/** Appends the first `n` of `src`, in the best of the given orders. */
export function putInts(s: Sink, src: Float64Array, n: number, orders: readonly number[]): void {
  let best = plan(src, n, orders[0] ?? 0)
  for (let k = 1; k < orders.length && best.bits > 48 * best.order; k++) {
    const other = plan(src, n, orders[k]!)
    if (other.bits < best.bits) best = other
  }
  const { order, typical, width } = best
  s.bytes[s.at++] = order * 64 + width
  if (order >= 1) putVarint(s, zigzag(n > 0 ? src[0]! : 0))
  if (order >= 2) putVarint(s, zigzag(n > 1 ? src[1]! - src[0]! : 0))
  putVarint(s, zigzag(typical))
  const most = 2 ** width
  let exceptions = 0
  for (let i = order; i < n; i++) if (zigzag(steps(src, i, order) - typical) >= most) exceptions++
  putVarint(s, exceptions)
  for (let i = order, before = order; exceptions > 0 && i < n; i++) {
    const u = zigzag(steps(src, i, order) - typical)
    if (u < most) continue
    putVarint(s, i - before)
    putVarint(s, Math.floor(u / most))
    before = i
    exceptions--
  }
  const b = s.bytes
  let at = s.at
  for (let low = 0; low < width; low += SLICE) {
    const w = Math.min(SLICE, width - low)
    const mask = 2 ** w - 1
    const scale = 2 ** low
    let held = 0
    let have = 0
    for (let i = order; i < n; i++) {
      const u = zigzag(steps(src, i, order) - typical)
      const slice = width <= 30 && u < 0x40000000 ? (u >>> low) & mask : Math.floor(u / scale) % (mask + 1)
      held |= slice << have
      have += w
      while (have >= 8) {
        b[at++] = held & 255
        held >>>= 8
        have -= 8
      }
    }
    if (have > 0) b[at++] = held & 255
  }
  s.at = at
}

/** Reads `n` numbers into `dst`; true when they are all the same. */
export function takeInts(s: Source, dst: Float64Array, n: number): boolean {
  const b = s.bytes
  const lead = b[s.at++]
  if (lead === undefined) throw new RangeError('a column is missing from its block')
  const order = lead >> 6
  const width = lead & 63
  if (order > 2 || width > 54) throw new RangeError('a column of its block has an impossible head')
  const first = order >= 1 ? unzigzag(takeVarint(s)) : 0
  const firstStep = order >= 2 ? unzigzag(takeVarint(s)) : 0
  const typical = unzigzag(takeVarint(s))
  const exceptions = takeVarint(s)
  if (exceptions > n) throw new RangeError('a column of its block has more exceptions than numbers')
  if (width === 0 && exceptions === 0 && order === 0) {
    dst.fill(typical, 0, n)
    return true
  }
  if (width === 0 && exceptions === 0) {
    // A straight line, as the times of a signal read by a clock are; of order 2 the step changes by the same each time.
    let at = first
    let by = order === 1 ? typical : firstStep
    for (let i = 0; i < n; i++) {
      dst[i] = at
      if (order === 2 && i > 0) by += typical
      at += by
    }
    return false
  }
  const listAt = s.at
  for (let k = 0; k < exceptions; k++) {
    takeVarint(s)
    takeVarint(s)
  }
  const bitsAt = s.at
  const count = Math.max(0, n - order)
  if (width <= SLICE) s.at = bitsAt + Math.ceil((count * width) / 8)
  else for (let low = 0; low < width; low += SLICE) s.at += Math.ceil((count * Math.min(SLICE, width - low)) / 8)
  if (s.at > b.length) throw new RangeError('a column runs past the end of its block')
  const list: Source = { bytes: b, at: listAt }
  let left = exceptions
  let next = left > 0 ? order + takeVarint(list) : -1
  const scale = 2 ** width
  if (order >= 1 && n > 0) dst[0] = first
  if (order >= 2 && n > 1) dst[1] = first + firstStep
  let value = order === 0 ? 0 : order === 1 ? first : first + firstStep
  let step = firstStep
  const wide = width > SLICE
  if (wide) unpackWide(b, bitsAt, dst, order, n, width)
  const mask = wide ? 0 : 2 ** width - 1
  let at = bitsAt
  let held = 0
  let have = 0
  for (let i = order; i < n; i++) {
    let u: number
    if (wide) u = dst[i]!
    else {
      while (have < width) {
        held |= b[at++]! << have
        have += 8
      }
      u = held & mask
      held >>>= width
      have -= width
    }
    if (i === next) {
      u += takeVarint(list) * scale
      if (--left > 0) next = i + takeVarint(list)
    }
    const d = (u < 0x40000000 ? (u >>> 1) ^ -(u & 1) : unzigzag(u)) + typical
    if (order === 0) dst[i] = d
    else if (order === 1) dst[i] = value += d
    else {
      step += d
      dst[i] = value += step
    }
  }
  return false
}

function unpackWide(b: Uint8Array, bitsAt: number, dst: Float64Array, from: number, n: number, width: number): void {
  let at = bitsAt
  let scale = 1
  for (let low = 0; low < width; low += SLICE) {
    const w = Math.min(SLICE, width - low)
    const mask = 2 ** w - 1
    let held = 0
    let have = 0
    for (let i = from; i < n; i++) {
      while (have < w) {
        held |= b[at++]! << have
        have += 8
      }
      dst[i] = (low === 0 ? 0 : dst[i]!) + (held & mask) * scale
      held >>>= w
      have -= w
    }
    scale *= TWO_SLICE
  }
}
