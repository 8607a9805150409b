/** A server over a fake gateway, with a browser signed in and a program that holds a token. */
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import type { InjectOptions, LightMyRequestResponse } from 'fastify'
import { afterAll, beforeAll, expect, onTestFinished } from 'vitest'
import { buildApp, type App, type AppParts } from '../../server/app.ts'
import { FAULTS } from '../../server/errors.ts'
import { describeApi } from '../../server/openapi.ts'
import { createAccess, readTokens, type Access } from '../../server/people/access.ts'
import { ROWS } from '../../server/routes/rows.ts'
import { fakeGateway, handClock, testSite, type FakeGateway, type HandClock } from './fake-gateway.ts'

export const TOKEN = 'a-token-for-tests-0123456789'
export const HOST = 'loops.test:8470'

export interface Yard {
  readonly app: App
  readonly gateway: FakeGateway
  readonly clock: HandClock
  readonly access: Access
  readonly dir: string
  readonly log: string[]
  /** Cookie header of a signed-in browser. */
  readonly cookie: string
  /** As a program with a token; every answer is held against the description of the API. */
  ask(method: 'GET' | 'POST', url: string, body?: unknown): Promise<LightMyRequestResponse>
}

type Later = (cleanUp: () => void | Promise<void>) => void

export function tempDir(later: Later = onTestFinished): string {
  const dir = mkdtempSync(join(tmpdir(), 'loopkeeper-server-'))
  later(() => rmSync(dir, { recursive: true, force: true }))
  return dir
}

/** One yard for all tests of a file that only look, or are refused. */
export function sharedYard(): () => Yard {
  let yard: Yard | null = null
  const cleanUps: (() => void | Promise<void>)[] = []
  beforeAll(async () => {
    yard = await openYard({}, (c) => void cleanUps.push(c))
  })
  afterAll(async () => {
    for (const c of cleanUps.reverse()) await c()
  })
  return () => {
    if (!yard) throw new Error('the yard is open only while tests run')
    return yard
  }
}

export const cookieFrom = (setCookie: string): string => setCookie.split(';')[0] ?? ''

export async function openYard(more: Partial<AppParts> & { readonly sites?: readonly string[] } = {}, later: Later = onTestFinished): Promise<Yard> {
  const { sites = ['upper', 'lower'], ...parts } = more
  const dir = tempDir(later)
  const clock = handClock()
  const log: string[] = []
  const say = (line: string): void => void log.push(line)
  const gateway = fakeGateway(
    sites.map((id) => testSite(id)),
    clock,
  )
  const access = await createAccess({ dataDir: dir, clock, tokens: readTokens(`Night desk ${TOKEN}`), log: say })
  const app = await buildApp({ gateway, clock, access, pageDir: null, version: '9.9.9', log: say, ...parts, limits: { beatMs: 0, ...parts.limits } })
  later(() => app.stop({ withinMs: 500 }))
  const signedIn = access.signIn(onceOf(access.newLink()), 'Ruth Amsel', '127.0.0.1')
  if (!signedIn.ok) throw new Error(signedIn.message)
  const ask: Yard['ask'] = async (method, url, body) => {
    const options: InjectOptions = { method, url, headers: { authorization: `Bearer ${TOKEN}`, host: HOST } }
    const reply = await app.server.inject(body === undefined ? options : { ...options, payload: body as object })
    holdAgainstDescription(method, url, reply)
    return reply
  }
  return { app, gateway, clock, access, dir, log, cookie: cookieFrom(signedIn.cookie), ask }
}

export const onceOf = (link: string): string => new URL(link, 'http://x').searchParams.get('once') ?? ''

const description = describeApi(ROWS, '0') as {
  paths: Record<string, Record<string, { responses: Record<string, { content: Record<string, { schema: { allOf?: { properties?: { code?: { enum: string[] } } }[] } }> }> }>>
}

/** A good answer fits its schema with nothing left over; a refusal has a code the description names for that call and status. */
function holdAgainstDescription(method: string, url: string, reply: LightMyRequestResponse): void {
  const path = url.split('?')[0] ?? ''
  const row = ROWS.find((r) => r.method === method && new RegExp(`^${r.path.replace(/:\w+/g, '[^/]+')}$`).test(path))
  if (!row) return
  if (reply.statusCode < 400) {
    expect(reply.statusCode).toBe(row.status)
    if (row.media !== null) {
      expect(reply.headers['content-type']).toBe(row.media)
      return
    }
    expect(row.reply.parse(reply.json())).toEqual(reply.json())
    return
  }
  const { code, message } = reply.json<{ code: keyof typeof FAULTS; message: string }>()
  expect(Object.keys(reply.json())).toEqual(['code', 'message'])
  expect(message.length).toBeGreaterThan(10)
  expect(FAULTS[code].status).toBe(reply.statusCode)
  const documented = description.paths[row.path.replace(/:(\w+)/g, '{$1}')]?.[method.toLowerCase()]?.responses[reply.statusCode]
  expect(documented?.content['application/json']?.schema.allOf?.[1]?.properties?.code?.enum, `${method} ${row.path} answers ${code}`).toContain(code)
}
