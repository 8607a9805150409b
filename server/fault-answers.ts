/** From anything thrown to an answer `{ code, message }`. What we did not foresee becomes `internal` and a line in the log. */
import { randomBytes } from 'node:crypto'
import type { Socket } from 'node:net'
import type { FastifyReply, FastifyRequest } from 'fastify'
import { Fault, FAULTS, shown, type FaultCode } from './errors.ts'
import { securityHeaders } from './security-headers.ts'
import { withoutToken } from './yard/links.ts'

export function answerFaults(error: unknown, request: FastifyRequest, reply: FastifyReply, log: (line: string) => void): FastifyReply {
  const fault = error instanceof Fault ? error : (foreseen(error, request) ?? unforeseen(error, request, log))
  // Said again here, because a broken URL is refused before any hook has run.
  void reply.headers(securityHeaders(request.headers.host)).header('cache-control', 'no-store')
  return reply.code(fault.status).headers(fault.headers).type('application/json; charset=utf-8').send({ code: fault.code, message: fault.message })
}

/** Refusals that Fastify makes before a route is asked. */
function foreseen(error: unknown, request: FastifyRequest): Fault | null {
  const code = codeOf(error)
  const path = request.url.split('?')[0] ?? ''
  if (code === 'FST_ERR_CTP_BODY_TOO_LARGE')
    return new Fault(
      'too-large',
      `the body is larger than this path takes, ${(request.routeOptions.bodyLimit ?? 65_536) / 1024} KiB (${request.headers['content-length'] ?? 'more than that'} bytes): send less at a time`,
      { connection: 'close' },
    )
  if (code === 'FST_ERR_CTP_INVALID_MEDIA_TYPE')
    return new Fault('not-our-media-type', `body of type ${shown(request.headers['content-type'] ?? 'none')} found: send JSON with "Content-Type: application/json"`)
  if (code === 'FST_ERR_CTP_EMPTY_JSON_BODY') return new Fault('not-json', 'the body is empty: send a JSON object')
  if (code === 'FST_ERR_CTP_INVALID_JSON_BODY' || code === 'FST_ERR_CTP_INVALID_CONTENT_LENGTH' || (error instanceof SyntaxError && statusOf(error) === 400))
    return new Fault('not-json', `the body cannot be read as JSON: ${messageOf(error)}`)
  if (code === 'FST_ERR_BAD_URL') return new Fault('bad-url', `path ${shown(path)} holds a broken %-sequence`)
  return null
}

function unforeseen(error: unknown, request: FastifyRequest, log: (line: string) => void): Fault {
  const number = randomBytes(4).toString('hex')
  log(`BUG ${number}: ${request.method} ${shown(withoutToken(request.url.split('?')[0] ?? ''))} failed: ${error instanceof Error ? (error.stack ?? error.message) : String(error)}`)
  return new Fault('internal', `we failed; the log of the server has it under ${number}`)
}

const codeOf = (e: unknown): string => (e instanceof Error && 'code' in e && typeof e.code === 'string' ? e.code : '')
const statusOf = (e: unknown): number => (e instanceof Error && 'statusCode' in e && typeof e.statusCode === 'number' ? e.statusCode : 0)
const messageOf = (e: unknown): string => (e instanceof Error ? e.message : String(e))

/** What is no HTTP request at all, or never came to its end: answered on the bare connection. */
export function refuseBrokenRequest(error: Error & { code?: string }, socket: Socket): void {
  if (error.code === 'ECONNRESET' || socket.destroyed || !socket.writable) return void socket.destroy()
  if (error.code === 'ERR_HTTP_REQUEST_TIMEOUT') socket.end(rawAnswer('request-timeout', 'the request did not arrive within 30 s'))
  else if (error.code === 'HPE_HEADER_OVERFLOW') socket.end(rawAnswer('headers-too-large', 'the headers are larger than 16 KiB'))
  else socket.end(rawAnswer('bad-request', 'this is not an HTTP request we can read'))
}

const REASONS: Readonly<Record<number, string>> = {
  400: 'Bad Request',
  401: 'Unauthorized',
  403: 'Forbidden',
  404: 'Not Found',
  408: 'Request Timeout',
  431: 'Request Header Fields Too Large',
  503: 'Service Unavailable',
}

/** A whole HTTP answer as text, for connections that have no reply object. */
export function rawAnswer(code: FaultCode, message: string): string {
  const { status } = FAULTS[code]
  const body = JSON.stringify({ code, message })
  return `HTTP/1.1 ${status} ${REASONS[status] ?? 'Refused'}\r\nConnection: close\r\nContent-Type: application/json; charset=utf-8\r\nContent-Length: ${Buffer.byteLength(body)}\r\nX-Content-Type-Options: nosniff\r\nCache-Control: no-store\r\n\r\n${body}`
}
