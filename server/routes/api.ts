/** Registers the rows, and refuses everything else under /api. */
import { Readable } from 'node:stream'
import type { FastifyInstance } from 'fastify'
import { Fault, shown } from '../errors.ts'
import type { Parts } from './row.ts'
import { ROWS } from './rows.ts'

export function registerApi(server: FastifyInstance, parts: Parts): void {
  for (const row of ROWS) {
    server.route({
      method: row.method,
      url: row.path,
      ...(row.bodyBytes !== null && { bodyLimit: row.bodyBytes }),
      async handler(request, reply) {
        const { person } = request
        if (!person) throw new Error('a row was asked without a person')
        const answer = await row.handle(parts, {
          params: request.params,
          query: request.query,
          body: request.body,
          person,
          nowMs: parts.clock.nowMs(),
          setHeader: (name, value) => void reply.header(name, value),
        })
        if (row.media === null) return reply.code(row.status).send(answer)
        return reply
          .code(row.status)
          .type(row.media)
          .send(Readable.from(answer as AsyncIterable<string>))
      },
    })
  }

  // For those who only want to know whether anybody is there; tells nothing else.
  server.get('/api/ping', { config: { open: true } }, () => ({ ok: true }))

  const shapes = ROWS.map((row) => ({ method: row.method, shape: new RegExp(`^${row.path.replace(/:\w+/g, '[^/]+')}$`) }))
  const refuse = (method: string, url: string): never => {
    const path = url.split('?')[0] ?? ''
    const methods = shapes.filter((s) => s.shape.test(path)).map((s) => s.method)
    if (methods.length > 0) throw new Fault('wrong-method', `${method} found: ${shown(path)} takes ${methods.join(' and ')}`, { allow: methods.join(', ') })
    throw new Fault('unknown-path', `nothing at ${shown(path)}: /api/openapi.json lists what there is`)
  }
  for (const url of ['/api', '/api/*']) server.all(url, (request) => refuse(request.method, request.url))
}
