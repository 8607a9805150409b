/** The live socket on its HTTP server: who may open it, and the connections behind the fan-out. */
import type { IncomingMessage, Server } from 'node:http'
import type { Duplex } from 'node:stream'
import { WebSocketServer, type RawData, type WebSocket } from 'ws'
import type { Counter } from '../../gateway/port.ts'
import type { FaultCode } from '../errors.ts'
import { rawAnswer } from '../fault-answers.ts'
import type { Person } from '../people/access.ts'
import { originOf } from '../people/same-origin.ts'
import { LIVE_PATH } from '../wire.ts'
import { createFanOut, type FanOutParts } from './fan-out.ts'
import { LIMITS, type LiveLimits } from './limits.ts'
import type { Line } from './member.ts'

export type { LiveLimits } from './limits.ts'

export interface LiveParts extends Omit<FanOutParts, 'limits'> {
  readonly limits?: Partial<LiveLimits>
}

export interface Live {
  attach(http: Server): void
  /** One beat; called by a timer unless `limits.beatMs` is 0. */
  tick(): void
  counters(): readonly Counter[]
  stop(options: { withinMs: number }): Promise<void>
}

/** Longest message a browser may send: 50 loop ids are 3 kB. */
const MESSAGE_BYTES = 16 * 1024

export function startLive(parts: LiveParts): Live {
  const limits: LiveLimits = { ...LIMITS, ...parts.limits }
  const fanOut = createFanOut({ ...parts, limits })
  // Compression costs memory for every browser, for ever; frames are shared instead.
  const sockets = new WebSocketServer({ noServer: true, perMessageDeflate: false, maxPayload: MESSAGE_BYTES, clientTracking: false, autoPong: true })
  const attached = new Set<Server>()
  const open = new Set<WebSocket>()
  let refused = 0
  let stopping = false
  let gone: (() => void) | null = null

  const stopListening = parts.gateway.subscribe((event) => fanOut.onEvent(event))
  const stopSignOut = parts.access.onSignOut(() => fanOut.tick())
  const timer = limits.beatMs > 0 ? setInterval(() => fanOut.tick(), limits.beatMs) : null

  function judge(request: IncomingMessage): Person | { readonly code: FaultCode; readonly message: string } {
    if ((request.url ?? '').split('?')[0] !== LIVE_PATH) return { code: 'unknown-path', message: `the live socket is at ${LIVE_PATH}` }
    if (stopping) return { code: 'going-away', message: 'the server is stopping: try again in a few seconds' }
    const admission = parts.access.admit(request.headers)
    if (!admission.ok) return admission
    const { person } = admission
    const origin = originOf(request.headers)
    // A browser always says where its page is from; only a program with a token may leave it out.
    if (origin === 'other' || (origin === 'untold' && person.via === 'session'))
      return {
        code: 'cross-origin',
        message: `Origin must be that of this server: Origin is ${request.headers.origin ?? 'not given'}, Host is ${request.headers.host ?? 'not given'}`,
      }
    if (!fanOut.hasRoom(person))
      return { code: 'too-many-browsers', message: `${limits.browsers} live connections in all and ${limits.browsersPerPerson} of one person are allowed: close some` }
    return person
  }

  function onUpgrade(request: IncomingMessage, socket: Duplex, head: Buffer): void {
    // Without a listener a reset connection would end the process.
    socket.on('error', () => socket.destroy())
    const person = judge(request)
    if ('code' in person) {
      refused++
      socket.end(rawAnswer(person.code, person.message))
      return
    }
    sockets.handleUpgrade(request, socket, head, (ws) => accept(ws, person))
  }

  function accept(ws: WebSocket, person: Person): void {
    // Listeners first, in the same turn: a message may come with the very packet of the handshake.
    ws.on('message', (data, isBinary) => {
      if (isBinary) ws.close(1003, 'text messages only')
      else fanOut.heard(member, textOf(data))
    })
    ws.on('pong', () => {
      member.answeredPing = true
    })
    ws.on('error', () => ws.terminate())
    ws.on('close', () => {
      open.delete(ws)
      fanOut.left(member)
      if (open.size === 0) gone?.()
    })
    open.add(ws)
    const member = fanOut.join(lineOf(ws), person)
  }

  return {
    attach(http) {
      if (attached.has(http)) return
      attached.add(http)
      http.on('upgrade', onUpgrade)
    },
    tick: () => fanOut.tick(),
    counters: () => [...fanOut.counters(), { name: 'browserRefused', value: refused, what: 'Live connections refused since the start: not signed in, other origin, no room.' }],
    async stop({ withinMs }) {
      if (stopping) return
      stopping = true
      stopListening()
      stopSignOut()
      if (timer) clearInterval(timer)
      fanOut.away()
      if (open.size > 0) {
        await new Promise<void>((done) => {
          const late = setTimeout(done, withinMs)
          gone = () => {
            clearTimeout(late)
            done()
          }
        })
      }
      for (const ws of open) ws.terminate()
      for (const http of attached) http.off('upgrade', onUpgrade)
    },
  }
}

const lineOf = (ws: WebSocket): Line => ({
  send: (frame) => {
    if (ws.readyState === ws.OPEN) ws.send(frame, { binary: false })
  },
  waiting: () => ws.bufferedAmount,
  // A reason of more than 123 bytes is refused by the protocol.
  close: (code, reason) =>
    ws.close(
      code,
      Buffer.from(reason)
        .subarray(0, 120)
        .toString()
        .replace(/\ufffd$/, ''),
    ),
  ping: () => {
    if (ws.readyState === ws.OPEN) ws.ping()
  },
  cut: () => ws.terminate(),
})

/** A text message arrives as one buffer, or as several when it came in parts. */
const textOf = (data: RawData): string => (Array.isArray(data) ? Buffer.concat(data) : data instanceof ArrayBuffer ? Buffer.from(data) : data).toString('utf8')
