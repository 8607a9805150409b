/** The page itself: its files, and index.html for every other path, because the page finds its own way by the address. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify'
import { Fault, shown } from '../errors.ts'
import { pageFile, readPage, type PageFile } from './page-files.ts'

const NOT_BUILT = `<!doctype html><html lang="en"><meta charset="utf-8"><title>Loopkeeper</title>
<p>The gateway runs, but its page has not been built. Start with <code>npm start</code>, which builds it. The API is at <code>/api</code>.</p></html>
`

export function registerPage(server: FastifyInstance, pageDir: string | null): void {
  const files: ReadonlyMap<string, PageFile> = pageDir === null ? new Map() : readPage(pageDir)
  const index = files.get('/index.html') ?? pageFile('/index.html', Buffer.from(NOT_BUILT))

  server.get('/*', { config: { open: true } }, (request, reply) => {
    const path = pathOf(request)
    const file = files.get(path)
    // A missing asset is not the page: a browser that asks for last week's script must not be given HTML.
    if (!file && path.startsWith('/assets/')) throw new Fault('unknown-path', `no file ${shown(path)} in the page as it is now built: load the page again`)
    return sendFile(request, reply, file ?? index)
  })
}

const pathOf = (request: FastifyRequest): string => {
  const raw = request.url.split('?')[0] ?? '/'
  try {
    return decodeURIComponent(raw)
  } catch {
    throw new Fault('bad-url', `path ${shown(raw)} holds a broken %-sequence`)
  }
}

export function sendFile(request: FastifyRequest, reply: FastifyReply, file: PageFile): FastifyReply {
  void reply.header('cache-control', file.cache).header('etag', file.tag).header('vary', 'accept-encoding')
  const held = request.headers['if-none-match']
  if (held !== undefined && held.split(',').some((t) => t.trim().replace(/^W\//, '') === file.tag)) return reply.code(304).send()
  void reply.type(file.type)
  const zipped = file.gzipped && /\bgzip\b(?!\s*;\s*q=0(\.0*)?\s*(,|$))/.test(String(request.headers['accept-encoding'] ?? ''))
  if (zipped && file.gzipped) return reply.header('content-encoding', 'gzip').send(file.gzipped)
  return reply.send(file.bytes)
}
