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
}

/** MQTT 3.1.1 section 2.2: one byte of type, then the length of the rest in one to four bytes of seven bits. */
export function createPacketGuard(limit: number): PacketGuard {
  let left = 0
  let inLength = false
  let length = 0
  let bytes = 0
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
          i++
        } else {
          const b = chunk[i++] ?? 0
          length += (b & 127) * 128 ** bytes++
          if (length > guard.limit || (b >= 128 && bytes === 4)) return false
          if (b < 128) {
            inLength = false
            left = length
          }
        }
      }
      return true
    },
  }
  return guard
}

/** Looks at every chunk on its way into whoever takes them from the socket with `read`; ends the connection when one does not pass. */
export function guardSocket(socket: Socket, guard: PacketGuard, tooLarge: () => void): void {
  const read = socket.read.bind(socket)
  socket.read = (size?: number): unknown => {
    const chunk: unknown = read(size)
    if (chunk instanceof Uint8Array && !guard.passes(chunk)) {
      tooLarge()
      socket.destroy()
      return null
    }
    return chunk
  }
}
