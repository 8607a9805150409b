/**
 * Readings from an MQTT broker somebody else runs, 3.1.1 or 5. The session there is persistent, so what arrives while we are
 * away waits for us, and a message is acknowledged only when `offer` has answered: then it is on our disk. The library handles one
 * message at a time, yet all of one turn of the event loop go into one commit: their acknowledgements are written to a stream that
 * is held back (corked) until the commit is done, and thrown away with the connection when it fails.
 *
 * Every connection is a client object of its own, thrown away when the connection ends. The library writes acknowledgements
 * to whatever connection it holds at the time, so an old handler could acknowledge another message of the next session; a
 * client that never has a second connection cannot. For the same reason it never reconnects by itself.
 */
import mqtt, { type IClientOptions, type MqttClient } from 'mqtt'
import type { Clock } from '../clock.ts'
import type { Counter, Health } from '../port.ts'
import type { Message } from './message.ts'

export interface AnyBrokerParts {
  /** mqtt://host:1883, mqtts://host:8883. */
  readonly url: string
  readonly prefix: string
  readonly clock: Clock
  /** Answers null when the message is ours, an error when the store cannot take it; at once or by the end of the turn: keep-alive waits behind it. */
  readonly offer: (m: Message, done: (refused: Error | null) => void) => void
  /** Topics outside the prefix that are wanted as well. */
  readonly foreignTopics?: () => readonly string[]
  readonly username?: string
  readonly password?: string
  /** PEM. */
  readonly ca?: string
  readonly cert?: string
  readonly key?: string
  /** Tells two gateways on one broker apart. The client id is `loopkeeper-gateway-<instance>`, the same after every start. */
  readonly instance?: string
  readonly protocol?: 4 | 5
  readonly keepaliveS?: number
  /** MQTT 5: how long the broker holds the session while we are away. Default 24 h. With 3.1.1 the broker decides. */
  readonly sessionS?: number
  readonly backoff?: { readonly firstMs: number; readonly capMs: number }
  /** 0 to below 1. */
  readonly random?: () => number
}

export interface AnyBroker {
  status(): Health['brokers'][number]
  counters(): readonly Counter[]
  /** Asks for foreign topics that have been added, and lets those go that are no longer wanted. */
  follow(): void
  stop(options: { readonly withinMs: number }): Promise<void>
}

const BACKOFF = { firstMs: 1000, capMs: 60_000 } as const
/** A connection that has held so long counts as good, and the next loss starts with a short wait again. */
const SETTLED_MS = 30_000
const ANSWER_WITHIN_MS = 10_000
/** More connects than this in a minute: somebody else uses our client id, and the two throw each other out. */
const LOOPING_CONNECTS = 6

/** Connects and keeps connecting until stopped. Never throws for a broker that is not there. */
export function startAnyBroker(parts: AnyBrokerParts): AnyBroker {
  const { clock, prefix } = parts
  const name = nameOf(parts.url)
  const filter = `${prefix}/#`
  const clientId = `loopkeeper-gateway-${parts.instance ?? '1'}`
  const backoff = parts.backoff ?? BACKOFF
  const random = parts.random ?? Math.random
  const n = { connects: 0, lost: 0, held: 0, messages: 0, subscribes: 0 }
  let current: MqttClient | null = null
  let state: 'connected' | 'connecting' | 'down' = 'connecting'
  let detail = 'not connected yet'
  let failures = 0
  /** Filters the session at the broker holds. */
  const held = new Set<string>()
  let refusedTopics: string[] = []
  /** Offered and not answered yet. */
  let pending = 0
  let stopped = false
  let timer: NodeJS.Timeout | undefined
  let deadline: NodeJS.Timeout | undefined
  /** An answer to SUBSCRIBE is awaited. */
  let asking = false
  let connects: number[] = []

  const options: IClientOptions = {
    clientId,
    clean: false,
    keepalive: parts.keepaliveS ?? 30,
    protocolVersion: parts.protocol ?? 4,
    connectTimeout: ANSWER_WITHIN_MS,
    // Ours: a fixed period brings every client back in the same second.
    reconnectPeriod: 0,
    resubscribe: false,
    queueQoSZero: false,
    ...(parts.username !== undefined && { username: parts.username }),
    ...(parts.password !== undefined && { password: parts.password }),
    ...(parts.ca !== undefined && { ca: parts.ca }),
    ...(parts.cert !== undefined && { cert: parts.cert }),
    ...(parts.key !== undefined && { key: parts.key }),
    // Receive maximum: the broker holds what waits, not our memory.
    ...(parts.protocol === 5 && { properties: { sessionExpiryInterval: parts.sessionS ?? 86_400, receiveMaximum: 50 } }),
  }

  const open = (): void => {
    timer = undefined
    state = 'connecting'
    let client: MqttClient
    try {
      client = mqtt.connect(parts.url, options)
    } catch (e) {
      return again(e instanceof Error ? e.message : String(e))
    }
    current = client
    const openedMs = clock.steadyMs()
    let error = ''

    client.handleMessage = (packet, done) => {
      // Packets already read when a connection ended must neither be taken nor acknowledged: the broker sends them again.
      if (current !== client || !client.connected) return
      const payload = typeof packet.payload === 'string' ? Buffer.from(packet.payload, 'utf8') : packet.payload
      const { stream } = client
      let atOnce = true
      if (pending++ === 0) stream.cork()
      parts.offer({ topic: packet.topic, payload, receivedMs: clock.nowMs(), retained: packet.retain, site: null, broker: name }, (refused) => {
        if (current !== client) return
        pending--
        if (refused) {
          n.held++
          // [MQTT-4.4.0-1] what is not acknowledged comes back only after a reconnect, so this connection has to end. With
          // its acknowledgement already behind the cork it ends at once, so that the cork never opens.
          if (atOnce && pending === 0) stream.uncork()
          return lose(client, `a message was held: ${refused.message}`, atOnce && pending === 0 ? 'gently' : 'at once')
        }
        n.messages++
        failures = 0
        // What waited for us may come before the answer to SUBSCRIBE: a broker that delivers is no silent one.
        if (asking) deadline?.refresh()
        if (pending === 0) stream.uncork()
      })
      atOnce = false
      if (current === client) done()
    }
    client.on('connect', (connack) => {
      if (current !== client) return
      n.connects++
      connects = [...connects, clock.steadyMs()].slice(-LOOPING_CONNECTS - 1)
      // A session that was there before our first connection may hold the filters of other settings.
      if (!connack.sessionPresent) held.clear()
      if (held.has(filter)) {
        arrived()
        return askForeign(client)
      }
      subscribe(client)
    })
    client.on('error', (e) => {
      error = e.message || ('code' in e ? String(e.code) : 'unknown error')
      // A refused CONNECT or a broken packet does not always close the stream by itself.
      if (current === client) lose(client, error)
    })
    client.on('disconnect', (packet) => {
      error = `the broker ended the connection, reason ${packet.reasonCode ?? 0}`
    })
    client.on('close', () => {
      if (current === client && clock.steadyMs() - openedMs > SETTLED_MS) failures = 0
      lose(client, error || 'the connection was closed')
    })
  }

  const subscribe = (client: MqttClient): void => {
    n.subscribes++
    asking = true
    deadline = setTimeout(() => lose(client, 'no answer to SUBSCRIBE'), ANSWER_WITHIN_MS)
    // One filter in one packet, so that the one answer is about it. Retain as published stays off: then the retain
    // flag means "kept from before" and nothing else. Retain handling 1: kept values once, not after every reconnect.
    client.subscribe(filter, { qos: 1, ...(parts.protocol === 5 && { rap: false, rh: 1 }) }, (e, granted) => {
      if (current !== client) return
      asking = false
      clearTimeout(deadline)
      const code = granted?.[0]?.qos
      if (e || code === undefined || code >= 128) return lose(client, `the broker refuses the subscription to ${filter}${e ? `: ${e.message}` : ''}`)
      held.add(filter)
      arrived(code === 0 ? ', but only at QoS 0: messages sent while we are away are lost' : '')
      askForeign(client)
    })
  }

  /** One after the other; one that is refused is told and does not cost the connection. */
  const askForeign = (client: MqttClient): void => {
    const wanted = new Set(parts.foreignTopics?.() ?? [])
    refusedTopics = refusedTopics.filter((t) => wanted.has(t))
    for (const t of held) {
      if (t === filter || wanted.has(t)) continue
      held.delete(t)
      client.unsubscribe(t)
    }
    const next = [...wanted].find((t) => !held.has(t) && !refusedTopics.includes(t))
    if (next === undefined) return
    client.subscribe(next, { qos: 1, ...(parts.protocol === 5 && { rap: false, rh: 1 }) }, (e, answers) => {
      if (current !== client) return
      const code = answers?.[0]?.qos
      if (e || code === undefined || code >= 128) refusedTopics.push(next)
      else held.add(next)
      askForeign(client)
    })
  }

  const arrived = (but = ''): void => {
    state = 'connected'
    const looping = connects.length > LOOPING_CONNECTS && clock.steadyMs() - (connects[0] ?? 0) < 60_000
    detail = looping ? `${connects.length} connects within a minute: is another program using the client id ${clientId}?` : `subscribed to ${filter} as ${clientId}${but}`
  }

  /** Ends this connection, once, and plans the next. */
  const lose = (client: MqttClient, why: string, how: 'gently' | 'at once' = 'at once'): void => {
    if (current !== client) return
    current = null
    pending = 0
    refusedTopics = []
    asking = false
    clearTimeout(deadline)
    discard(client, how)
    n.lost++
    again(why)
  }

  const again = (why: string): void => {
    if (stopped) return
    const upper = Math.min(backoff.capMs, backoff.firstMs * 2 ** Math.min(++failures, 20))
    const waitMs = Math.round(backoff.firstMs + random() * (upper - backoff.firstMs))
    state = 'down'
    detail = `${why}; next try within ${Math.ceil(waitMs / 1000)} s`
    timer = setTimeout(open, waitMs)
  }

  open()
  return {
    status: () => ({
      name,
      state,
      detail:
        refusedTopics.length > 0 && state === 'connected' ? `${detail}; it refuses ${refusedTopics.slice(0, 3).join(', ')}${refusedTopics.length > 3 ? ' and more' : ''}` : detail,
    }),
    follow() {
      if (current && state === 'connected') askForeign(current)
    },
    counters: () => [
      { name: 'anyBrokerMessages', value: n.messages, what: `Messages taken from ${name} and acknowledged.` },
      { name: 'anyBrokerHeld', value: n.held, what: `Messages not acknowledged because the history could not take them; ${name} sends them again.` },
      { name: 'anyBrokerConnects', value: n.connects, what: `Connections made to ${name} since start.` },
      { name: 'anyBrokerLost', value: n.lost, what: `Connections to ${name} that ended or did not come about.` },
      { name: 'anyBrokerSubscribes', value: n.subscribes, what: `Subscriptions sent to ${name}; more than one: it had lost our session.` },
    ],
    async stop({ withinMs }) {
      if (stopped) return
      stopped = true
      clearTimeout(timer)
      clearTimeout(deadline)
      // What has been offered is answered by the end of this turn; ending the stream before would open the cork.
      if (pending > 0) await new Promise((resolve) => setImmediate(resolve))
      const client = current
      // From here on nothing is taken any more; what was not acknowledged waits in the session.
      current = null
      state = 'down'
      detail = 'stopped'
      if (!client) return
      let late: NodeJS.Timeout | undefined
      await Promise.race([client.endAsync(false).catch(() => undefined), new Promise<void>((resolve) => (late = setTimeout(resolve, withinMs)))])
      clearTimeout(late)
      discard(client, 'at once')
    },
  }
}

/**
 * Takes leave of a client for good. Gently: acknowledgements already given still go out, so that only the held message and
 * those behind it come again; a broker that does not answer is cut off after a second.
 */
function discard(client: MqttClient, how: 'gently' | 'at once'): void {
  client.handleMessage = () => undefined
  client.removeAllListeners('error')
  client.on('error', () => undefined)
  client.end(how === 'at once')
  if (how === 'gently') setTimeout(() => client.stream.destroy(), 1000).unref()
}

/** Host and port of the URL: never its user and password. */
function nameOf(url: string): string {
  try {
    return new URL(url).host || 'broker'
  } catch {
    return 'broker'
  }
}
