/**
 * The radio link of one site: one MQTT connection with the site's own credential, QoS 1, and a bounded queue before it. A lost
 * connection is made anew after a growing, random wait; what was not acknowledged is sent again; a full queue drops its oldest and counts.
 */
import mqtt, { type MqttClient } from 'mqtt'
import type { Prng } from './random.ts'

export interface Login {
  readonly user: string
  readonly secret: string
}

export interface LinkOptions {
  readonly url: string
  readonly site: string
  /** Null: the broker asks for none. */
  readonly login: Login | null
  /** Two programs that play the same site must not throw each other off the broker: each ends its client ids in its own way. */
  readonly clientSuffix: string
  readonly topic: string
  /** Messages held while the broker does not take them. */
  readonly queue: number
  /** Messages on their way at once. */
  readonly inFlight: number
  readonly next: Prng
  /** Begins with its radio off. */
  readonly off?: boolean
  readonly say: (line: string) => void
}

export interface Link {
  send(payload: string): void
  /** Radio gone or back. */
  radio(on: boolean): void
  /** Resolves when the queue is no longer than `atMost`, or the link is closed. */
  drained(atMost: number): Promise<void>
  close(): Promise<void>
  /** Resolves when the first message has been acknowledged. */
  readonly begun: Promise<void>
  readonly counters: { sent: number; dropped: number; connects: number; refused: number }
  waiting(): number
  connected(): boolean
}

/** An unanswered publish after this long means a dead connection, whatever the socket says. */
const ACK_DEADLINE_MS = 20_000
const FIRST_WAIT_MS = 500
const LONGEST_WAIT_MS = 30_000

/** `loop-SITE-SUFFIX`, at most 64 characters: longer ones are refused by careful brokers. */
export const clientId = (site: string, suffix: string): string => `loop-${site.slice(0, 58 - suffix.length)}-${suffix}`

export function openLink(o: LinkOptions): Link {
  const counters = { sent: 0, dropped: 0, connects: 0, refused: 0 }
  const queue: string[] = []
  let flying = 0
  let client: MqttClient | null = null
  let timer: NodeJS.Timeout | null = null
  let tries = 0
  let on = o.off !== true
  let closed = false
  let complained = ''
  let begin: () => void = () => undefined
  const begun = new Promise<void>((done) => (begin = done))
  const waiters: { readonly atMost: number; readonly done: () => void }[] = []

  const wake = (): void => {
    for (let i = waiters.length - 1; i >= 0; i--) {
      const w = waiters[i]
      if (w && (closed || queue.length + flying <= w.atMost)) {
        waiters.splice(i, 1)
        w.done()
      }
    }
  }

  const later = (): void => {
    if (closed || !on || timer) return
    const wait = Math.min(LONGEST_WAIT_MS, FIRST_WAIT_MS * 2 ** Math.min(tries, 6)) * (0.5 + o.next())
    tries++
    timer = setTimeout(() => {
      timer = null
      connect()
    }, wait)
  }

  /** Forgets a connection; what it had not delivered goes back to the head of the queue, in order. */
  const drop = (c: MqttClient, unsent: Map<number, string>): void => {
    if (client !== c) return
    client = null
    flying = 0
    queue.unshift(...unsent.values())
    unsent.clear()
    c.end(true)
    later()
  }

  function connect(): void {
    if (closed || !on || client) return
    const c = mqtt.connect(o.url, {
      clientId: clientId(o.site, o.clientSuffix),
      ...(o.login && { username: o.login.user, password: o.login.secret }),
      clean: true,
      reconnectPeriod: 0,
      connectTimeout: 10_000,
      keepalive: 30,
      queueQoSZero: false,
    })
    c.setMaxListeners(50)
    client = c
    const unsent = new Map<number, string>()
    let n = 0
    const pump = (): void => {
      while (client === c && c.connected && flying < o.inFlight && queue.length > 0) {
        const payload = queue.shift() as string
        const id = ++n
        unsent.set(id, payload)
        flying++
        const deadline = setTimeout(() => drop(c, unsent), ACK_DEADLINE_MS)
        c.publish(o.topic, payload, { qos: 1 }, (error) => {
          clearTimeout(deadline)
          if (client !== c || !unsent.has(id)) return
          if (error) return drop(c, unsent)
          unsent.delete(id)
          flying--
          counters.sent++
          begin()
          tries = 0
          wake()
          pump()
        })
      }
    }
    pumps = pump
    c.on('connect', () => {
      counters.connects++
      complained = ''
      pump()
    })
    c.on('error', (e) => {
      counters.refused++
      // Said once per cause: a broker that is away for an hour is one line, not a thousand.
      const why = e.message || String(e)
      if (why !== complained) o.say(`${o.site}: ${why}; trying again`)
      complained = why
    })
    c.on('close', () => drop(c, unsent))
  }

  let pumps: () => void = () => undefined
  connect()
  return {
    counters,
    begun,
    send(payload) {
      queue.push(payload)
      while (queue.length > o.queue) {
        queue.shift()
        counters.dropped++
      }
      pumps()
    },
    radio(up) {
      if (up === on) return
      on = up
      if (up) {
        tries = 0
        connect()
      } else {
        if (timer) clearTimeout(timer)
        timer = null
        client?.stream.destroy()
      }
    },
    drained(atMost) {
      return new Promise((done) => {
        waiters.push({ atMost, done })
        wake()
      })
    },
    async close() {
      closed = true
      if (timer) clearTimeout(timer)
      const c = client
      client = null
      wake()
      if (c) await c.endAsync(!c.connected).catch(() => undefined)
    },
    waiting: () => queue.length + flying,
    connected: () => client?.connected === true,
  }
}
