/** The API as an OpenAPI 3.1 description, made from the same rows the server answers by. */
import { z } from 'zod'
import { FAULTS, type FaultCode } from './errors.ts'
import type { Row } from './routes/row.ts'
import * as wire from './wire.ts'

type Json = Record<string, unknown>

const DIALECT = 'https://json-schema.org/draft/2020-12/schema'

/** Schemas with a name of their own: every `...Body` of wire.ts, `AlarmBody` and so on. */
function named(): { readonly registry: ReturnType<typeof z.registry<{ id: string }>>; readonly ids: ReadonlyMap<z.ZodType, string> } {
  const registry = z.registry<{ id: string }>()
  const ids = new Map<z.ZodType, string>()
  for (const [name, schema] of Object.entries(wire)) {
    if (!name.endsWith('Body') || !(schema instanceof z.ZodType)) continue
    const id = name.slice(0, 1).toUpperCase() + name.slice(1)
    registry.add(schema, { id })
    ids.set(schema, id)
  }
  return { registry, ids }
}

const bare = (schema: unknown): Json => {
  const { $schema: _dialect, $id: _id, ...rest } = schema as Json
  return rest
}
const input = (schema: z.ZodType): Json => bare(z.toJSONSchema(schema, { io: 'input', unrepresentable: 'any' }))
const json = (schema: Json): Json => ({ content: { 'application/json': { schema } } })

export function describeApi(rows: readonly Row[], version: string): Json {
  const { registry, ids } = named()
  const made = z.toJSONSchema(registry, { uri: (id) => `#/components/schemas/${id}`, io: 'output' })
  const reply = (schema: z.ZodType): Json => {
    const id = ids.get(schema)
    return id === undefined ? bare(z.toJSONSchema(schema)) : { $ref: `#/components/schemas/${id}` }
  }
  const paths: Record<string, Json> = {}
  for (const row of rows) {
    const path = row.path.replace(/:(\w+)/g, '{$1}')
    paths[path] = { ...paths[path], [row.method.toLowerCase()]: operation(row, reply) }
  }
  Object.assign(paths, besides())
  return {
    openapi: '3.1.0',
    jsonSchemaDialect: DIALECT,
    info: {
      title: 'Loopkeeper',
      version,
      description:
        'Telemetry and alarms of wash-water recycling loops. Times are ms since 1970 UTC, units are UCUM codes. It informs; it does not authorise entry, energising, dosing changes or discharge, and there is no call that commands equipment.',
    },
    servers: [{ url: '/' }],
    security: [{ bearer: [] }, { session: [] }],
    paths,
    components: {
      securitySchemes: {
        bearer: { type: 'http', scheme: 'bearer', description: 'A token of the token file (--api-token-file).' },
        session: { type: 'apiKey', in: 'cookie', name: 'loopkeeper-session', description: 'Set by signing in. POST then needs an Origin header that is our own.' },
      },
      schemas: {
        FaultCode: { description: 'Why a request was refused.', oneOf: Object.entries(FAULTS).map(([code, f]) => ({ const: code, description: `${f.status}: ${f.sentence}` })) },
        ...Object.fromEntries(Object.entries(made.schemas).map(([id, schema]) => [id, bare(schema)])),
      },
    },
  }
}

function operation(row: Row, reply: (schema: z.ZodType) => Json): Json {
  const fields = (schema: z.ZodObject, where: 'path' | 'query'): Json[] =>
    Object.entries(schema.shape).map(([name, field]) => {
      const { description, ...rest } = input(field as z.ZodType)
      return { name, in: where, required: where === 'path' || !(field instanceof z.ZodOptional), ...(description !== undefined && { description }), schema: rest }
    })
  const parameters = [...fields(row.params, 'path'), ...fields(row.query, 'query')]
  return {
    operationId: nameOf(row),
    summary: row.summary,
    ...(parameters.length > 0 && { parameters }),
    ...(row.body && { requestBody: { required: true, ...json(input(row.body)) } }),
    responses: {
      [row.status]: { description: 'As asked.', ...(row.media === null ? json(reply(row.reply)) : { content: { [row.media]: { schema: reply(row.reply) } } }) },
      ...refusals(row.faults),
    },
  }
}

/** The few paths that are no rows: what is open to anybody, and the live socket. */
const besides = (): Record<string, Json> => ({
  '/api/ping': {
    get: { operationId: 'getPing', summary: 'Whether anybody is there. Open to all, tells nothing else.', security: [], responses: { 200: { description: 'Yes.' } } },
  },
  '/signin': {
    post: {
      operationId: 'postSignin',
      summary: 'Use up a sign-in link and open a session; the token is the `once` of the link. Open to all.',
      security: [],
      requestBody: { required: true, ...json({ type: 'object', properties: { once: { type: 'string' }, name: { type: 'string', maxLength: 80 } }, required: ['once', 'name'] }) },
      responses: {
        200: { description: 'Signed in; the answer sets the session cookie.', ...json({ $ref: '#/components/schemas/PersonBody' }) },
        ...refusals(['bad-request', 'not-json', 'too-large', 'not-our-media-type', 'link-not-valid', 'cross-origin', 'too-many-tries', 'going-away', 'internal']),
      },
    },
  },
  [wire.LIVE_PATH]: {
    get: {
      operationId: 'getLive',
      summary: 'The live socket (WebSocket, JSON text messages): first `hello`, then what changes. Send `{"t":"watch","values":[<loop>, ...]}` for the values of loops.',
      responses: {
        101: { description: 'The socket is open. Messages from the server: see x-messages.' },
        ...refusals(['not-signed-in', 'bad-token', 'cross-origin', 'unknown-path', 'too-many-browsers', 'going-away']),
      },
      'x-messages': { fromServer: bare(z.toJSONSchema(wire.liveMessage)), toServer: input(wire.watchMessage) },
    },
  },
})

/** Refusals by status, each naming the codes it can carry and what they mean. */
function refusals(codes: readonly FaultCode[]): Json {
  const byStatus = new Map<number, FaultCode[]>()
  for (const code of codes) byStatus.set(FAULTS[code].status, [...(byStatus.get(FAULTS[code].status) ?? []), code])
  return Object.fromEntries(
    [...byStatus].map(([status, all]) => [
      status,
      {
        description: all.map((c) => `${c}: ${FAULTS[c].sentence}`).join(' '),
        ...json({ allOf: [{ $ref: '#/components/schemas/FaultBody' }, { type: 'object', properties: { code: { enum: all } }, required: ['code'] }] }),
      },
    ]),
  )
}

/** `GET /api/history/:site/:signal` becomes `getHistorySiteSignal`. */
const nameOf = (row: Row): string =>
  row.method.toLowerCase() +
  row.path
    .replace(/^\/api/, '')
    .split(/[^a-zA-Z0-9]+/)
    .map((w) => w.slice(0, 1).toUpperCase() + w.slice(1))
    .join('')
