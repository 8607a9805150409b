/**
 * Whole numbers in a byte stream: seven bits a byte, lowest first, the top bit says that more follow.
 */

/** Where bytes go; the caller makes room first. */
export interface Sink {
  bytes: Uint8Array
  at: number
}

/** Where bytes come from. Reading past the end throws. */
export interface Source {
  readonly bytes: Uint8Array
  at: number
}

export function putVarint(s: Sink, value: number): void {
  let v = value
  const b = s.bytes
  let at = s.at
  while (v >= 0x80000000) {
    const low = v % 128
    b[at++] = low + 128
    v = (v - low) / 128
  }
  while (v >= 128) {
    b[at++] = (v & 127) | 128
    v >>>= 7
  }
  b[at++] = v
  s.at = at
}

export function takeVarint(s: Source): number {
  const b = s.bytes
  let at = s.at
  let byte = b[at++]!
  let v = byte & 127
  let scale = 128
  while (byte >= 128) {
    byte = b[at++]!
    v += (byte & 127) * scale
    scale *= 128
  }
  if (at > b.length || v > Number.MAX_SAFE_INTEGER) throw new RangeError('a number runs past the end of its block')
  s.at = at
  return v
}

/** Small numbers of either sign as small numbers without. */
export const zigzag = (v: number): number => (v < 0 ? -2 * v - 1 : 2 * v)
export const unzigzag = (u: number): number => (u % 2 === 0 ? u / 2 : -(u + 1) / 2)
