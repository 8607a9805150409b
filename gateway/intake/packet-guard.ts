/**
 * Watches the bytes of one MQTT connection for packets that say they are larger than allowed. The broker library gathers a
 * packet until it is complete, up to 256 MB, before anybody can look at it; the length stands in its first five bytes.
 *
 * A PUBLISH that is too large is cut to the largest size on its way in: intake then refuses it with its reason and acknowledges
 * it. Ended connections would make its sender try again for ever, with its good messages stuck behind it. Of any other packet so
 * large, and of strangers, nothing is wanted: the connection ends.
 */
import type { Socket } from 'node:net'

export interface PacketGuard {
  /** Largest packet body, bytes; may be raised once the sender is known. */
  limit: number
  /** Whether a PUBLISH that is larger is cut, and not refused. */
  cuts: boolean
  /** What of the chunk goes on, the chunk itself where nothing is cut; null: this connection must end. */
  pass(chunk: Uint8Array): Uint8Array | null
  /** Body length of the PUBLISH that was cut last, as it was announced; null: none was. */
  lastCut(): number | null
}

const PUBLISH = 3

/** MQTT 3.1.1 section 2.2: one byte of type, then the length of the rest in one to four bytes of seven bits. */
export function createPacketGuard(limit: number): PacketGuard {
  /** Bytes of the body still to come that go on, and that are dropped after them. */
  let left = 0
  let dropping = 0
  /** First byte of a packet whose length is being read; null: none is. */
  let first: number | null = null
  let length = 0
  let bytes = 0
  let lastCut: number | null = null
  const guard: PacketGuard = {
    limit,
    cuts: false,
    pass(chunk) {
      const out: Uint8Array[] = []
      /** Start of what is to go on as it came. A header that began in an earlier chunk is written anew, so it starts behind it. */
      let from = 0
      let changed = false
      const keep = (until: number): void => {
        if (until > from) out.push(chunk.subarray(from, until))
      }
      if (first !== null) changed = true
      let headerAt = 0
      for (let i = 0; i < chunk.length; ) {
        if (left > 0) {
          const step = Math.min(left, chunk.length - i)
          left -= step
          i += step
        } else if (dropping > 0) {
          keep(i)
          changed = true
          const step = Math.min(dropping, chunk.length - i)
          dropping -= step
          i += step
          from = i
        } else if (first === null) {
          headerAt = i
          first = chunk[i++] ?? 0
          length = 0
          bytes = 0
        } else {
          const b = chunk[i++] ?? 0
          length += (b & 127) * 128 ** bytes++
          if (b >= 128 && bytes === 4) return null
          if (length > guard.limit && !(guard.cuts && first >> 4 === PUBLISH)) return null
          if (b >= 128) continue
          const whole = Math.min(length, guard.limit)
          if (changed || whole < length) {
            // Behind the header of this packet: it is written anew.
            if (headerAt > from) keep(headerAt)
            out.push(headerOf(first, whole))
            from = i
            changed = true
          }
          if (whole < length) lastCut = length
          left = whole
          dropping = length - whole
          first = null
        }
      }
      if (first !== null) {
        // The rest of this header comes with the next chunk and goes on with it.
        keep(headerAt)
        from = chunk.length
        changed = true
      }
      if (!changed) return chunk
      keep(chunk.length)
      return joined(out)
    },
    lastCut: () => lastCut,
  }
  return guard
}

function headerOf(first: number, length: number): Uint8Array {
  const header = [first]
  let rest = length
  do {
    header.push((rest % 128) | (rest >= 128 ? 128 : 0))
    rest = Math.floor(rest / 128)
  } while (rest > 0)
  return Uint8Array.from(header)
}

function joined(parts: readonly Uint8Array[]): Uint8Array {
  return parts.length === 1 && parts[0] ? parts[0] : Buffer.concat(parts)
}

/** Passes every chunk on its way into whoever takes them from the socket with `read`; ends the connection when one does not pass. */
export function guardSocket(socket: Socket, guard: PacketGuard, tooLarge: () => void): void {
  const read = socket.read.bind(socket)
  socket.read = (size?: number): unknown => {
    for (;;) {
      const chunk: unknown = read(size)
      if (!(chunk instanceof Uint8Array)) return chunk
      const passed = guard.pass(chunk)
      if (passed === null) {
        tooLarge()
        socket.destroy()
        return null
      }
      // Nothing is left of a chunk that was cut away whole, and nothing must not be read as the end.
      if (passed.length > 0) return Buffer.isBuffer(passed) ? passed : Buffer.from(passed.buffer, passed.byteOffset, passed.length)
    }
  }
}
