/**
 * Memory for unsealed readings: small chunks cut from a few large pages and linked into chains by number, so that eighty
 * thousand signals cost no objects and little slack.
 */

/** Readings in a chunk: at fifty readings a signal, half a chunk of slack is an eighth. */
export const SIZE = 16
export const PAGE_BITS = 12
export const PAGE_CHUNKS = 1 << PAGE_BITS
export const NONE = -1

/** Chunks for one or more heads; what one head lets go, another takes. */
export class ChunkPool {
  /** source time, received time, value (NaN: none) of each reading, side by side. */
  readonly readings: Float64Array[] = []
  readonly codes: Uint16Array[] = []
  next = new Int32Array(0)
  count = new Uint8Array(0)
  private readonly free: number[] = []
  /** Chunks there are, free ones included. */
  made = 0

  take(): number {
    const again = this.free.pop()
    const chunk = again ?? this.made++
    if (again === undefined && chunk >> PAGE_BITS === this.readings.length) {
      this.readings.push(new Float64Array(PAGE_CHUNKS * SIZE * 3))
      this.codes.push(new Uint16Array(PAGE_CHUNKS * SIZE))
      if (this.next.length < this.readings.length * PAGE_CHUNKS) {
        const room = Math.max(2 * this.next.length, PAGE_CHUNKS)
        this.next = grownTo(this.next, room, NONE)
        const count = new Uint8Array(room)
        count.set(this.count)
        this.count = count
      }
    }
    this.next[chunk] = NONE
    this.count[chunk] = 0
    return chunk
  }

  give(chunk: number): void {
    this.free.push(chunk)
  }

  get inUse(): number {
    return this.made - this.free.length
  }
}

export function grownTo(a: Int32Array<ArrayBuffer>, room: number, fill: number): Int32Array<ArrayBuffer> {
  const grown = new Int32Array(room).fill(fill, a.length)
  grown.set(a)
  return grown
}

/** Where in its chunk a time stands or would stand. */
export function place(pool: ChunkPool, chunk: number, sourceMs: number): number {
  const base = (chunk & (PAGE_CHUNKS - 1)) * SIZE
  const page = pool.readings[chunk >> PAGE_BITS]!
  let at = 0
  while (at < pool.count[chunk]! && page[(base + at) * 3]! < sourceMs) at++
  return at
}

/** Writes a reading at a place of its chunk. */
export function put(pool: ChunkPool, chunk: number, at: number, sourceMs: number, receivedMs: number, value: number, code: number): void {
  const i = (chunk & (PAGE_CHUNKS - 1)) * SIZE + at
  const page = pool.readings[chunk >> PAGE_BITS]!
  page[3 * i] = sourceMs
  page[3 * i + 1] = receivedMs
  page[3 * i + 2] = value
  pool.codes[chunk >> PAGE_BITS]![i] = code
}
