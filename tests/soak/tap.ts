/**
 * A wire between the gateway and its broker that notes what passes: which readings the broker handed over, and which of them we
 * acknowledged. It decides nothing and delays nothing. MQTT 3.1.1, QoS 1.
 */
import { connect, createServer, type AddressInfo, type Socket } from 'node:net'

export interface Tap {
  readonly port: number
  /** Readings the broker handed over, by their time. */
  readonly handed: ReadonlySet<number>
  /** Of those, the ones whose PUBACK passed back. */
  readonly answered: ReadonlySet<number>
  connections(): number
  close(): void
}

const PUBLISH = 3
const PUBACK = 4

export async function openTap(brokerPort: number): Promise<Tap> {
  const handed = new Set<number>()
  const answered = new Set<number>()
  const open = new Set<Socket>()
  let connections = 0
  const server = createServer((from) => {
    connections++
    const to = connect(brokerPort, '127.0.0.1')
    // A broker that came back hands over all it had on the way at once, more than there are packet ids, so one id may stand for several.
    // They are answered in the order they came.
    const flights = new Map<number, number[]>()
    const down = packets((type, flags, body) => {
      if (type !== PUBLISH) return
      const topicEnd = 2 + body.readUInt16BE(0)
      const qos = (flags >> 1) & 3
      const at = Number(/"t":(\d+)/.exec(body.toString('utf8', topicEnd + (qos > 0 ? 2 : 0)))?.[1])
      handed.add(at)
      if (qos === 0) return
      const id = body.readUInt16BE(topicEnd)
      const same = flights.get(id)
      if (same) same.push(at)
      else flights.set(id, [at])
    })
    const up = packets((type, _, body) => {
      if (type !== PUBACK) return
      const at = flights.get(body.readUInt16BE(0))?.shift()
      if (at !== undefined) answered.add(at)
    })
    for (const [a, b, look] of [
      [from, to, up],
      [to, from, down],
    ] as const) {
      open.add(a)
      a.on('data', (chunk: Buffer) => {
        look(chunk)
        b.write(chunk)
      })
      a.on('error', () => undefined)
      a.on('close', () => {
        open.delete(a)
        b.destroy()
      })
    }
  })
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  return {
    port: (server.address() as AddressInfo).port,
    handed,
    answered,
    connections: () => connections,
    close() {
      for (const s of open) s.destroy()
      server.close()
    },
  }
}

/** Calls `take` for each whole packet, however the bytes are cut. */
function packets(take: (type: number, flags: number, body: Buffer) => void): (chunk: Buffer) => void {
  let waiting = Buffer.alloc(0)
  return (chunk) => {
    waiting = Buffer.concat([waiting, chunk])
    for (;;) {
      let length = 0
      let at = 1
      for (; at < waiting.length && at < 5; at++) {
        length += ((waiting[at] ?? 0) & 127) * 128 ** (at - 1)
        if ((waiting[at] ?? 0) < 128) break
      }
      if (at >= waiting.length || waiting.length < at + 1 + length) return
      take((waiting[0] ?? 0) >> 4, (waiting[0] ?? 0) & 15, waiting.subarray(at + 1, at + 1 + length))
      waiting = waiting.subarray(at + 1 + length)
    }
  }
}
