/**
 * One call of the API as data: method, path, what goes in and out, how it can be refused, and the answer. The server routes
 * and the OpenAPI description are both made from these rows, so they cannot drift apart.
 */
import { z } from 'zod'
import type { Clock } from '../../gateway/clock.ts'
import type { Counter, GatewayPort } from '../../gateway/port.ts'
import { plainWords } from '../../gateway/site/plain-words.ts'
import { Fault, shown, type FaultCode } from '../errors.ts'
import type { Access, Person } from '../people/access.ts'
import type { HealthBody } from '../wire.ts'

export interface Parts {
  readonly gateway: GatewayPort
  readonly clock: Clock
  readonly access: Access
  readonly version: string
  /** Counters of the server itself, for the health page. */
  readonly counters: () => readonly Counter[]
  /** Past that is loaded in the background; null: none. */
  readonly fill: () => HealthBody['fill']
}

export interface Asked<P, Q, B> {
  readonly params: P
  readonly query: Q
  readonly body: B
  readonly person: Person
  readonly nowMs: number
  /** Sets a header of the answer. */
  readonly setHeader: (name: string, value: string) => void
}

interface Described<P extends z.ZodObject, Q extends z.ZodObject, B extends z.ZodType, R extends z.ZodType> {
  readonly method: 'GET' | 'POST'
  /** `/api/history/:site/:signal` */
  readonly path: string
  readonly summary: string
  readonly params?: P
  readonly query?: Q
  readonly body?: B
  readonly reply: R
  /** Status of the answer when all is well; 200 unless said. */
  readonly status?: 200 | 201
  /** Largest body, bytes; 64 KiB unless said. */
  readonly bodyBytes?: number
  /** Beyond those every row has (see `faultsOf`). */
  readonly faults?: readonly FaultCode[]
  readonly answer: (parts: Parts, asked: Asked<z.output<P>, z.output<Q>, z.output<B>>) => z.input<R> | Promise<z.input<R>>
}

export interface Row {
  readonly method: 'GET' | 'POST'
  readonly path: string
  readonly summary: string
  readonly params: z.ZodObject
  readonly query: z.ZodObject
  readonly body: z.ZodType | null
  readonly reply: z.ZodType
  readonly status: number
  readonly bodyBytes: number | null
  readonly faults: readonly FaultCode[]
  /** null: JSON. Otherwise the answer is text in pieces (AsyncIterable<string>) of this media type, sent as it is made. */
  readonly media: string | null
  readonly handle: (parts: Parts, raw: Asked<unknown, unknown, unknown>) => Promise<unknown>
}

const nothing = z.strictObject({})

export function row<R extends z.ZodType, P extends z.ZodObject = typeof nothing, Q extends z.ZodObject = typeof nothing, B extends z.ZodType = z.ZodUndefined>(
  d: Described<P, Q, B, R>,
): Row {
  const { params = nothing, query = nothing } = d
  const body = d.body ?? null
  return {
    method: d.method,
    path: d.path,
    summary: d.summary,
    params,
    query,
    body,
    reply: d.reply,
    status: d.status ?? 200,
    bodyBytes: d.bodyBytes ?? null,
    media: null,
    faults: faultsOf(d.method, d.params !== undefined, body !== null, d.faults ?? []),
    handle: async (parts, raw) =>
      d.answer(parts, {
        ...raw,
        // The defaults above stand in exactly where the type parameter has its default.
        params: checked(params, raw.params, 'path') as z.output<P>,
        query: checked(query, raw.query, 'query') as z.output<Q>,
        body: (body === null ? undefined : checked(body, raw.body, 'body')) as z.output<B>,
      }),
  }
}

/** A row whose answer is text in pieces. */
export function textRow<P extends z.ZodObject, Q extends z.ZodObject>(
  media: string,
  d: Omit<Described<P, Q, z.ZodUndefined, z.ZodUnknown>, 'reply' | 'answer'> & {
    readonly answer: (parts: Parts, asked: Asked<z.output<P>, z.output<Q>, undefined>) => AsyncIterable<string>
  },
): Row {
  return { ...row({ ...d, reply: z.unknown(), answer: (parts, asked) => d.answer(parts, asked) }), reply: z.string(), media }
}

/** Every way a row can be refused. */
function faultsOf(method: 'GET' | 'POST', takesParams: boolean, takesBody: boolean, own: readonly FaultCode[]): readonly FaultCode[] {
  const common: FaultCode[] = ['bad-request', 'not-signed-in', 'bad-token', 'request-timeout', 'headers-too-large', 'internal', 'going-away']
  if (takesParams) common.push('bad-url')
  if (method === 'POST') common.push('cross-origin', 'too-large', 'not-our-media-type')
  if (takesBody) common.push('not-json')
  return [...new Set([...common, ...own])]
}

/** `value` as the schema makes it, or a Fault that names the field, the value found and what would be right. */
export function checked<S extends z.ZodType>(schema: S, value: unknown, place: 'path' | 'query' | 'body'): z.output<S> {
  const result = schema.safeParse(value, { reportInput: true, error: plainWords })
  if (result.success) return result.data
  const issue = result.error.issues[0]
  if (!issue) throw new Fault('bad-request', `${place}: not what is expected here`)
  const field = issue.path.map(String).join('.')
  if (issue.code === 'unrecognized_keys') {
    const known = schema instanceof z.ZodObject ? Object.keys(schema.shape) : []
    const may = field !== '' || known.length === 0 ? 'none is taken here' : `known are ${known.join(', ')}`
    throw new Fault('bad-request', `${place}: ${issue.keys.map((k) => shown(k)).join(', ')} is no field we know; ${may}`)
  }
  if (field === '' && issue.code === 'custom') throw new Fault('bad-request', `${place}: ${issue.message}`)
  const where = field === '' ? place : `${place} field ${field}`
  if (issue.input === undefined) throw new Fault('bad-request', field === '' ? `${place}: missing: ${issue.message}` : `${where}: missing: ${issue.message}`)
  throw new Fault('bad-request', `${where}: ${shown(issue.input)} found: ${issue.message}`)
}
