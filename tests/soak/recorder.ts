/**
 * A publisher that writes down every PUBACK it gets, and after a lost connection sends again what had none: what a QoS 1 sender has
 * to do [MQTT-4.4.0-1]. Packets by hand, so that nothing between us and the socket decides for us.
 * Reading i has the time `base + i` and the value `i % 20`.
 */
import { connect, type Socket } from 'node:net'

export interface Recorder {
  /** Readings with a PUBACK. */
  readonly acknowledged: ReadonlySet<number>
  sent(): number
  connections(): number
  /** Sends nothing new and resolves when everything sent has its PUBACK. */
  finish(withinMs: number): Promise<void>
  /** For good. */
  stop(): void
}

export interface RecorderParts {
  readonly port: number
  readonly topic: string
  readonly user?: string
  readonly secret?: string
  readonly base: number
  /** On the way at once. */
  readonly window?: number
  /** New readings a second, at most. */
  readonly perS?: number
}

export function startRecorder(parts: RecorderParts): Recorder {
  const { topic, base, window = 50, perS = Number.POSITIVE_INFINITY } = parts
  const acknowledged = new Set<number>()
  let next = 0
  let finishing = false
  let stopped = false
  let connections = 0
  const startedMs = performance.now()
  const due = (): number => ((performance.now() - startedMs) * perS) / 1000
  let socket: Socket | null = null
  let again: NodeJS.Timeout | undefined

  const open = (): void => {
    const s = connect(parts.port, '127.0.0.1')
    socket = s
    s.setNoDelay(true)
    const flights = new Map<number, number>()
    let id = 0
    let ready = false
    let resend: number[] = []
    let waiting = Buffer.alloc(0)
    const fill = (): void => {
      while (ready && flights.size < window) {
        const i = resend.shift() ?? (finishing || next >= due() ? undefined : next++)
        if (i === undefined) return
        id = (id % 65_000) + 1
        flights.set(id, i)
        s.write(publish(topic, id, `{"v":${i % 20},"t":${base + i}}`))
      }
    }
    s.write(hello(`recorder-${base}`, parts.user, parts.secret))
    s.on('data', (chunk) => {
      waiting = Buffer.concat([waiting, chunk])
      // CONNACK and PUBACK both have four bytes.
      for (; waiting.length >= 4; waiting = waiting.subarray(4)) {
        const type = (waiting[0] ?? 0) >> 4
        if (type === 2) {
          if (waiting[3] !== 0) return void s.destroy()
          connections++
          ready = true
          resend = unacknowledged()
        } else if (type === 4) {
          const flight = waiting.readUInt16BE(2)
          const i = flights.get(flight)
          if (i !== undefined) acknowledged.add(i)
          flights.delete(flight)
        }
      }
      fill()
    })
    const more = setInterval(fill, 5)
    s.on('error', () => undefined)
    s.on('close', () => {
      clearInterval(more)
      ready = false
      if (!stopped) again = setTimeout(open, 30)
    })
  }
  const unacknowledged = (): number[] => {
    const out: number[] = []
    for (let i = 0; i < next; i++) if (!acknowledged.has(i)) out.push(i)
    return out
  }

  open()
  return {
    acknowledged,
    sent: () => next,
    connections: () => connections,
    async finish(withinMs) {
      finishing = true
      const end = performance.now() + withinMs
      while (acknowledged.size < next) {
        if (performance.now() > end) throw new Error(`${next - acknowledged.size} of ${next} readings have no PUBACK after ${withinMs} ms`)
        await new Promise((resolve) => setTimeout(resolve, 20))
      }
    },
    stop() {
      stopped = true
      clearTimeout(again)
      socket?.destroy()
    },
  }
}

const text = (s: string): Buffer => {
  const b = Buffer.from(s, 'utf8')
  return Buffer.concat([Buffer.from([b.length >> 8, b.length & 255]), b])
}
function packet(type: number, body: Buffer): Buffer {
  const length: number[] = []
  let rest = body.length
  do {
    length.push((rest % 128) | (rest >= 128 ? 128 : 0))
    rest = Math.floor(rest / 128)
  } while (rest > 0)
  return Buffer.concat([Buffer.from([type, ...length]), body])
}
const publish = (topic: string, id: number, payload: string): Buffer => packet(0x32, Buffer.concat([text(topic), Buffer.from([id >> 8, id & 255]), Buffer.from(payload)]))
const hello = (client: string, user?: string, secret?: string): Buffer =>
  packet(0x10, Buffer.concat([text('MQTT'), Buffer.from([4, user ? 0xc2 : 0x02, 0, 0]), text(client), ...(user ? [text(user), text(secret ?? '')] : [])]))
