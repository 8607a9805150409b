/**
 * What browsers and programs talk to, built from its parts. It never listens by itself: `app.server.listen(...)` does, and the
 * live socket is on the same port.
 */
import type { Server } from 'node:http'
import Fastify, { type FastifyInstance, type FastifyRequest } from 'fastify'
import type { Clock } from '../gateway/clock.ts'
import type { Counter, GatewayPort } from '../gateway/port.ts'
import { closeInTime } from './closing.ts'
import { answerFaults, refuseBrokenRequest } from './fault-answers.ts'
import { Fault } from './errors.ts'
import { startLive, type Live, type LiveLimits } from './live/live.ts'
import type { Access, Person } from './people/access.ts'
import { originOf } from './people/same-origin.ts'
import { registerApi } from './routes/api.ts'
import { registerPage } from './routes/page.ts'
import { registerSignIn } from './routes/signin.ts'
import { registerYard } from './routes/yard.ts'
import { securityHeaders } from './security-headers.ts'
import type { HealthBody } from './wire.ts'

export interface AppParts {
  readonly gateway: GatewayPort
  readonly clock: Clock
  readonly access: Access
  /** Folder of the built page; null: there is none, only the API. */
  readonly pageDir: string | null
  readonly version: string
  /** The simulated fleet beside the product, for the health page; called on every request. */
  readonly demo?: () => { fill(): HealthBody['fill']; counters(): readonly Counter[] } | null
  /** One line per failure of ours; console.error unless given. */
  readonly log?: (line: string) => void
  /** For tests. */
  readonly limits?: Partial<LiveLimits>
}

export interface App {
  readonly server: FastifyInstance
  readonly live: Live
  /** Serves the live socket on another HTTP server as well; `server.server` has it already. */
  attachLive(http: Server): void
  /** Tells the browsers to come back, closes everything, and is done within `withinMs`. */
  stop(options: { withinMs: number }): Promise<void>
}

declare module 'fastify' {
  interface FastifyContextConfig {
    /** May be asked for by anybody. Everything else needs a person. */
    open?: boolean
  }
  interface FastifyRequest {
    person: Person | null
  }
}

const BODY_BYTES = 64 * 1024

export async function buildApp(parts: AppParts): Promise<App> {
  const { access, clock, gateway } = parts
  const log = parts.log ?? ((line: string) => console.error(line))
  let stopping = false

  const server = Fastify({
    bodyLimit: BODY_BYTES,
    requestTimeout: 30_000,
    keepAliveTimeout: 65_000,
    forceCloseConnections: 'idle',
    return503OnClosing: false,
    // The rows say how long an id may be, in words; the line of a request ends at 16 KiB anyway.
    routerOptions: { maxParamLength: 16_384 },
    frameworkErrors: (error, request, reply) => void answerFaults(error, request, reply, log),
    clientErrorHandler: refuseBrokenRequest,
  })
  server.decorateRequest('person', null)
  // A form can only come from the sign-in page or a yard page; everything else speaks JSON.
  server.addContentTypeParser('application/x-www-form-urlencoded', { parseAs: 'string' }, (request, body, done) => {
    if (/^\/(signin$|yard\/)/.test(request.url.split('?')[0] ?? '')) done(null, Object.fromEntries(new URLSearchParams(String(body))))
    else done(new Fault('not-our-media-type', 'a form found: send JSON with "Content-Type: application/json"'))
  })
  server.removeContentTypeParser('text/plain')

  server.addHook('onRequest', async (request, reply) => {
    void reply.headers(securityHeaders(request.headers.host)).header('cache-control', 'no-store')
    if (stopping) throw new Fault('going-away', 'the server is stopping: try again in a few seconds', { 'retry-after': '5', connection: 'close' })
    if (request.routeOptions.config.open !== true) request.person = admit(access, request)
  })
  server.setErrorHandler((error, request, reply) => answerFaults(error, request, reply, log))
  server.setNotFoundHandler((request) => {
    throw new Fault('unknown-path', `nothing answers ${request.method} ${request.url.split('?')[0]}`)
  })

  const live = startLive({ gateway, clock, access, version: parts.version, log, ...(parts.limits && { limits: parts.limits }) })
  registerApi(server, {
    gateway,
    clock,
    access,
    version: parts.version,
    counters: () => [...live.counters(), ...access.counters(), ...(parts.demo?.()?.counters() ?? [])],
    fill: () => parts.demo?.()?.fill() ?? null,
  })
  registerSignIn(server, access)
  registerYard(server, { gateway, clock, yard: access.yard })
  registerPage(server, parts.pageDir)
  live.attach(server.server)
  await server.ready()

  return {
    server,
    live,
    attachLive: (http) => live.attach(http),
    async stop({ withinMs }) {
      stopping = true
      const endMs = clock.steadyMs() + withinMs
      await live.stop({ withinMs: withinMs / 2 })
      await closeInTime(server, Math.max(100, endMs - clock.steadyMs()))
    },
  }
}

/** The person a request comes from, or a Fault. A change asked for with a cookie must come from our own page. */
function admit(access: Access, request: FastifyRequest): Person {
  const admission = access.admit(request.headers)
  if (!admission.ok) throw new Fault(admission.code, admission.message, { 'www-authenticate': 'Bearer' })
  const reads = request.method === 'GET' || request.method === 'HEAD'
  if (!reads && admission.person.via === 'session' && originOf(request.headers) !== 'same') {
    throw new Fault(
      'cross-origin',
      `a change asked for by a signed-in browser must come from our own page: Origin is ${request.headers.origin ?? 'not given'}, Host is ${request.headers.host ?? 'not given'}; a proxy in front must pass Host on, a program should use a bearer token`,
    )
  }
  return admission.person
}
