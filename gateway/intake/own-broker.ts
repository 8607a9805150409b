/**
 * The broker that comes with the house: MQTT 3.1.1 on one TCP port, for sites to publish to and for nothing else. Each site
 * has one credential, whose user name is the site id, and everything a connection may do follows from it.
 *
 * Nothing is kept here between connections: sessions are always clean and messages are never retained, because the broker
 * library keeps both in memory without a bound. A message is on our disk before its PUBACK, so nobody needs them.
 */
import type { EventEmitter } from 'node:events'
import { createServer, type AddressInfo, type Server, type Socket } from 'node:net'
import { createServer as createTlsServer, type Server as TlsServer } from 'node:tls'
import { Aedes, type AuthenticateError, type Client, type PublishPacket } from 'aedes'
import type { Clock } from '../clock.ts'
import type { Counter, Health } from '../port.ts'
import type { Credentials } from './credentials.ts'
import type { Message } from './message.ts'
import { createDoor, type Answer, type DoorLimits, type Knock } from './own-broker-door.ts'
import { createSessions, type Session } from './own-broker-sessions.ts'
import { createPace } from './pace.ts'
import { createPacketGuard, guardSocket, type PacketGuard } from './packet-guard.ts'
import { WORDS, type Tally } from './own-broker-tally.ts'
import { shown, type DoorCode } from './reject-codes.ts'
import { readTopic } from './topic.ts'

export interface OwnBrokerParts {
  readonly host: string
  /** 0: a free one, told by `port`. */
  readonly port: number
  readonly prefix: string
  readonly clock: Clock
  readonly credentials: Pick<Credentials, 'verify' | 'stamp' | 'refresh' | 'fault'>
  /** Answers null when the message is ours, an error when the store cannot take it; in the order of the offers. */
  readonly offer: (m: Message, done: (refused: Error | null) => void) => void
  /** A connection or subscription was refused. `who` names the site when its credential exists, and the address; never a secret. */
  readonly turnedAway?: (code: DoorCode, who: string, detail: string) => void
  /** Topics outside the prefix that a site may publish to, because its site file maps them. */
  readonly maps?: (topic: string, site: string) => boolean
  /** A second listener, for TLS. */
  readonly tls?: { readonly port: number; readonly cert: string; readonly key: string }
  readonly limits?: Partial<OwnBrokerLimits>
}

export interface OwnBrokerLimits extends DoorLimits {
  /** Body of one packet, bytes. Over what intake reads; a larger message is cut to it, so that intake can refuse it with TOO_LARGE and acknowledge it. */
  readonly packetBytes: number
  readonly connections: number
  readonly subscriptions: number
  /** Messages a second of one connection in the long run, and how many may come at once. Beyond it we read more slowly; nothing is lost. */
  readonly messagesPerS: number
  readonly burst: number
  /** A connection that has been quiet for so long is closed; keep-alive usually finds out earlier. */
  readonly idleMs: number
  /** How often revoked credentials are looked for. */
  readonly beatMs: number
}

const LIMITS: OwnBrokerLimits = {
  packetBytes: 512 * 1024,
  connections: 5000,
  connectionsPerSite: 8,
  subscriptions: 20,
  messagesPerS: 2000,
  burst: 20_000,
  failuresPerUser: 5,
  failuresPerAddress: 60,
  idleMs: 2 * 3_600_000,
  beatMs: 2000,
}

/** Until a connection is authenticated its packets may be this large: CONNECT with a will. */
const STRANGER_BYTES = 16 * 1024

export interface OwnBroker {
  readonly host: string
  readonly port: number
  /** null: no TLS listener. */
  readonly tlsPort: number | null
  status(): Health['brokers'][number]
  counters(): readonly Counter[]
  troubles(): readonly string[]
  /** Ends the sessions of a site and says how many there were. */
  drop(site: string): number
  /** Ends sessions whose credential has been revoked or made anew; also runs by itself every few seconds. */
  dropRevoked(): number
  stop(options: { readonly withinMs: number }): Promise<void>
}

/** Listens, or rejects with the error of the socket (EADDRINUSE, EACCES...). */
export async function startOwnBroker(parts: OwnBrokerParts): Promise<OwnBroker> {
  const { clock, credentials, prefix } = parts
  const limits = { ...LIMITS, ...parts.limits }
  const sessions = createSessions()
  const sockets = new Map<Socket, PacketGuard>()
  const wills = new WeakMap<Client, string>()
  const n: Tally = {
    connects: 0,
    refused: 0,
    loginFailed: 0,
    wrongSite: 0,
    held: 0,
    tooLarge: 0,
    overLimit: 0,
    subscribeRefused: 0,
    retainDropped: 0,
    dropped: 0,
    libraryFailed: 0,
    slowed: 0,
    tlsFailed: 0,
  }
  let stopping = false

  const isOwn = (topic: string, site: string): boolean => {
    const read = readTopic(topic, prefix)
    return (read.ok && read.site === site) || parts.maps?.(topic, site) === true
  }

  const broker = new Aedes({
    id: 'loopkeeper',
    concurrency: 100,
    connectTimeout: 10_000,
    // One frozen subscriber holds up deliveries to all others until this has passed.
    drainTimeout: 3000,
    // The most this library can do. Ours is MAX_LEVELS, and a deeper topic is acknowledged and dropped like any bad message;
    // refused here it would close the connection, and the site would send it again for ever.
    maxTopicLevels: 100,
    queueLimit: 42,
    // QoS 2 messages wait in memory for PUBREL.
    maxInflightInbound: 20,

    preConnect(client, packet, done) {
      // Stored sessions would queue messages for absent sites without a bound. "No session present" is an answer every
      // client has to cope with [MQTT-3.2.2-3].
      packet.clean = true
      if (packet.will) wills.set(client, packet.will.topic)
      done(null, !stopping)
    },

    authenticate(client, user, password, done) {
      const socket = client.conn as Socket
      const knock = { address: socket.remoteAddress ?? '', user: user ?? '', secret: password?.toString('utf8') ?? '', clientId: client.id, will: wills.get(client) }
      void door.admit(knock).then(
        (answer) => {
          if (answer.ok && !socket.destroyed && !stopping) {
            sessions.open(client, knock.user, answer.stamp, createPace(limits.messagesPerS, limits.burst))
            const guard = sockets.get(socket)
            if (guard) {
              guard.limit = limits.packetBytes
              guard.cuts = true
            }
            n.connects++
            return done(null, true)
          }
          n.refused++
          if (!answer.ok && answer.why === 'login') n.loginFailed++
          if (!answer.ok && (answer.why === 'limit' || answer.why === 'many')) n.overLimit++
          if (!answer.ok && answer.why === 'will') n.wrongSite++
          if (!answer.ok) told(knock, answer.why)
          done(refusal(answer.ok ? SERVER_UNAVAILABLE : answer.code), false)
        },
        () => {
          n.refused++
          done(refusal(SERVER_UNAVAILABLE), false)
        },
      )
    },

    // Ownership is taken in an authorisation hook because it is the only one this library awaits before it writes PUBACK:
    // its `published` hook runs after. [MQTT-4.3.2-2] acknowledging means we own the message, so only after it is on disk.
    authorizePublish(client, packet, done) {
      const session = sessions.of(client)
      if (!client || !session || session.silenced || stopping) return done(new Error('this session is ending'))
      const ours = isOwn(packet.topic, session.site)
      const payload = bytesOf(packet.payload)
      const cutFrom = wholeBytes(client, packet, payload)
      const message = { topic: packet.topic, payload, receivedMs: clock.nowMs(), retained: false, site: session.site, broker: NAME, ...(cutFrom !== null && { cutFrom }) }
      parts.offer(message, (refused) => {
        if (refused) {
          n.held++
          session.silenced = true
          // No PUBACK, and the connection ends: by the protocol the site sends the message again when it is back.
          return done(new Error('the history cannot take readings now'))
        }
        if (packet.retain) {
          packet.retain = false
          n.retainDropped++
        }
        if (!ours) {
          // [MQTT-3.3.5-2] leaves two ways with a PUBLISH that is not allowed: acknowledge it, or close. Closing would make a
          // site that sends one wrong topic send it again for ever, with its good messages stuck behind it; so it is
          // acknowledged, counted by intake as WRONG_SITE or TOPIC, and goes nowhere.
          n.wrongSite++
          packet.topic = NOWHERE
          packet.payload = Buffer.alloc(0)
        }
        // The library reads on only when all it has read is answered, so an answer that waits slows the sender down.
        const waitMs = session.pace.waitMs(clock.steadyMs())
        if (waitMs <= 0) return done(null)
        n.slowed++
        setTimeout(() => done(null), waitMs)
      })
    },

    authorizeSubscribe(client, subscription, done) {
      const session = sessions.of(client)
      const { topic } = subscription
      if (session && !session.silenced && !/[+#]/.test(topic) && isOwn(topic, session.site) && (session.filters.has(topic) || session.filters.size < limits.subscriptions)) {
        session.filters.add(topic)
        return done(null, subscription)
      }
      n.subscribeRefused++
      const address = (client.conn as Socket).remoteAddress ?? ''
      parts.turnedAway?.('SUBSCRIBE', `${session?.site ?? 'somebody'} from ${address}`, `subscription to ${shown(topic, 120)} refused`)
      // null answers 0x80 for this filter; an error would close the connection.
      done(null, null)
    },

    authorizeForward: (client, packet) => {
      const session = sessions.of(client)
      return session && isOwn(packet.topic, session.site) ? packet : null
    },
  })

  /** Payload bytes a message had before it was cut; null: it is whole. */
  function wholeBytes(client: Client, packet: PublishPacket, payload: Uint8Array): number | null {
    const cut = sockets.get(client.conn as Socket)?.lastCut() ?? null
    if (cut === null) return null
    const head = 2 + Buffer.byteLength(packet.topic) + (packet.qos > 0 ? 2 : 0)
    return head + payload.length === limits.packetBytes ? cut - head : null
  }

  function told({ user, address, will }: Knock, why: Extract<Answer, { ok: false }>['why']): void {
    // What stands in the user name of a stranger may be a password typed into the wrong box.
    const who = `${credentials.stamp(user) === null ? 'an unknown user' : user} from ${address}`
    if (why === 'will') parts.turnedAway?.('WILL', who, `will for ${shown(will ?? '', 120)} refused`)
    else if (why === 'login') parts.turnedAway?.('SIGN_IN', who, 'user or password wrong')
    else if (why === 'many') parts.turnedAway?.('CONNECTIONS', who, `more than ${limits.connectionsPerSite} connections of one site`)
    else if (why === 'limit') parts.turnedAway?.('SIGN_IN', who, 'not looked at: too many failures from there within a minute')
  }

  const door = createDoor({ clock, credentials, limits, isOwn, connectionsOf: (site) => sessions.connectionsOf(site) })

  const drop = (which: (s: Session) => boolean): number => {
    const count = sessions.end(which)
    n.dropped += count
    return count
  }
  const dropRevoked = (): number => {
    credentials.refresh()
    return drop((s) => credentials.stamp(s.site) !== s.stamp)
  }

  // Errors of single connections are how the library tells that one has ended.
  broker.on('clientError', () => undefined)
  broker.on('connectionError', () => undefined)
  broker.on('unsubscribe', (filters, client) => filters.forEach((f) => sessions.of(client)?.filters.delete(f)))
  const emitter: EventEmitter = broker
  emitter.on('error', () => n.libraryFailed++)
  await broker.listen()

  const serve = (socket: Socket): void => {
    if (sockets.size >= limits.connections) {
      n.overLimit++
      socket.destroy()
      return
    }
    const guard = createPacketGuard(STRANGER_BYTES)
    sockets.set(socket, guard)
    socket.once('close', () => sockets.delete(socket))
    socket.setTimeout(limits.idleMs, () => socket.destroy())
    guardSocket(socket, guard, () => n.tooLarge++)
    broker.handle(socket)
  }
  const server = createServer({ noDelay: true }, serve)
  const closeLibrary = async (e: unknown): Promise<never> => {
    await new Promise<void>((resolve) => broker.close(resolve))
    throw e
  }
  const port = await listenOn(server, parts.port, parts.host).catch(closeLibrary)
  let secure: { readonly server: TlsServer; readonly port: number } | null = null
  if (parts.tls) {
    const { tls } = parts
    try {
      const tlsServer = createTlsServer({ cert: tls.cert, key: tls.key, minVersion: 'TLSv1.2', handshakeTimeout: HANDSHAKE_MS, noDelay: true }, serve)
      tlsServer.maxConnections = limits.connections
      tlsServer.on('tlsClientError', (_, socket) => {
        n.tlsFailed++
        socket.destroy()
      })
      secure = { server: tlsServer, port: await listenOn(tlsServer, tls.port, parts.host) }
    } catch (e) {
      server.close()
      await closeLibrary(e)
    }
  }
  const beat = setInterval(dropRevoked, limits.beatMs)
  beat.unref()

  return {
    host: parts.host,
    port,
    tlsPort: secure?.port ?? null,
    status: () => ({
      name: NAME,
      state: stopping ? 'down' : 'listening',
      detail: `${parts.host}:${port}${secure ? `, TLS on ${secure.port}` : ''}, ${sessions.size()} connected`,
    }),
    troubles: () => {
      const fault = credentials.fault()
      return fault === null ? [] : [`The credentials of the sites cannot be read again: ${fault}. The last good ones stay in force.`]
    },
    counters: () => [
      { name: 'brokerConnections', value: sessions.size(), bound: limits.connections, what: 'Connections of sites now; more are refused.' },
      ...(Object.keys(WORDS) as (keyof typeof n)[]).map((k) => ({ name: WORDS[k][0], value: n[k], what: WORDS[k][1] })),
    ],
    drop: (site) => drop((s) => s.site === site),
    dropRevoked,
    async stop({ withinMs }) {
      if (stopping) return
      stopping = true
      clearInterval(beat)
      const all = [server, ...(secure ? [secure.server] : [])]
      const closed = Promise.all(all.map((s) => new Promise<void>((resolve) => s.close(() => resolve()))))
      broker.close()
      let timer: NodeJS.Timeout | undefined
      await Promise.race([closed, new Promise<void>((resolve) => (timer = setTimeout(resolve, withinMs)))])
      clearTimeout(timer)
      for (const socket of sockets.keys()) socket.destroy()
      await closed
    },
  }
}

/** Gives the port. Rejects with the error of the socket. */
function listenOn(server: Server, port: number, host: string): Promise<number> {
  return new Promise((resolve, fail) => {
    server.once('error', fail)
    server.listen(port, host, () => {
      server.off('error', fail)
      resolve((server.address() as AddressInfo).port)
    })
  })
}

const HANDSHAKE_MS = 20_000
const NAME = 'own'
/** Where messages go that are taken from the sender and given to nobody. Not below any prefix a site can subscribe to. */
const NOWHERE = 'nowhere'
const SERVER_UNAVAILABLE = 3

const refusal = (code: number): AuthenticateError => Object.assign(new Error(`connection refused with code ${code}`), { returnCode: code })

const bytesOf = (payload: string | Buffer): Uint8Array => (typeof payload === 'string' ? Buffer.from(payload, 'utf8') : payload)
