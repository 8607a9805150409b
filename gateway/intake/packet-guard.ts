/**
 * Watches the bytes of one MQTT connection for packets that say they are larger than allowed. The broker library gathers a
 * packet until it is complete, up to 256 MB, before anybody can look at it; the length stands in its first five bytes.
 */
import type { Socket } from 'node:net'

export interface PacketGuard {
  /** Largest packet body, bytes; may be raised once the sender is known. */
  limit: number
  /** False: this connection must end. */
  passes(chunk: Uint8Array): boolean
  /** The packet that did not pass; null: none. */
  refused(): TooLarge | null
}

export interface TooLarge {
  /** What the packet says of its length, bytes. */
  readonly bytes: number
  /** Of a PUBLISH whose topic had arrived with its length; null otherwise. */
  readonly topic: string | null
}

const PUBLISH = 3

/** MQTT 3.1.1 section 2.2: one byte of type, then the length of the rest in one to four bytes of seven bits. */
export function createPacketGuard(limit: number): PacketGuard {
  let left = 0
  let inLength = false
  let length = 0
  let bytes = 0
  let type = 0
  let refused: TooLarge | null = null
  const guard: PacketGuard = {
    limit,
    passes(chunk) {
      for (let i = 0; i < chunk.length; ) {
        if (left > 0) {
          const step = Math.min(left, chunk.length - i)
          left -= step
          i += step
        } else if (!inLength) {
          inLength = true
          length = 0
          bytes = 0
          type = (chunk[i++] ?? 0) >> 4
        } else {
          const b = chunk[i++] ?? 0
          length += (b & 127) * 128 ** bytes++
          if (length > guard.limit || (b >= 128 && bytes === 4)) {
            // The length may not have ended yet: what is told is its lower bound, unless its last bytes are here as well.
            for (let more = b; more >= 128 && bytes < 4 && i < chunk.length; ) length += ((more = chunk[i++] ?? 0) & 127) * 128 ** bytes++
            refused = { bytes: length, topic: type === PUBLISH ? topicAt(chunk, i) : null }
            return false
          }
          if (b < 128) {
            inLength = false
            left = length
          }
        }
      }
      return true
    },
    refused: () => refused,
  }
  return guard
}

/** The topic of a PUBLISH stands first in its body, its length in two bytes before it. */
function topicAt(chunk: Uint8Array, at: number): string | null {
  const length = (chunk[at] ?? 0) * 256 + (chunk[at + 1] ?? 0)
  return length === 0 || at + 2 + length > chunk.length ? null : new TextDecoder().decode(chunk.subarray(at + 2, at + 2 + length))
}

/** Looks at every chunk on its way into whoever takes them from the socket with `read`; ends the connection when one does not pass. */
export function guardSocket(socket: Socket, guard: PacketGuard, tooLarge: (packet: TooLarge) => void): void {
  const read = socket.read.bind(socket)
  socket.read = (size?: number): unknown => {
    const chunk: unknown = read(size)
    if (chunk instanceof Uint8Array && !guard.passes(chunk)) {
      tooLarge(guard.refused() ?? { bytes: 0, topic: null })
      socket.destroy()
      return null
    }
    return chunk
  }
}
