import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { expect, test } from 'vitest'
import { FAULTS } from '../../server/errors.ts'
import { ROWS } from '../../server/routes/rows.ts'
import * as wire from '../../server/wire.ts'
import { HOST, openYard, TOKEN } from './yard.ts'

interface Operation {
  operationId: string
  parameters?: { name: string; in: string; required: boolean; schema: unknown }[]
  requestBody?: unknown
  responses: Record<string, { description: string; content?: Record<string, { schema: { allOf?: { properties?: { code?: { enum: string[] } } }[] } }> }>
}
interface Description {
  openapi: string
  info: { title: string; version: string }
  paths: Record<string, Record<string, Operation>>
  components: { schemas: Record<string, { oneOf?: { const: string }[] }>; securitySchemes: Record<string, unknown> }
}

const describe = async (): Promise<Description> => (await (await openYard()).ask('GET', '/api/openapi.json')).json()
const operations = (d: Description) => Object.entries(d.paths).flatMap(([path, methods]) => Object.entries(methods).map(([method, operation]) => ({ path, method, operation })))

test('every call the server answers is described, and every call described is answered', async () => {
  const d = await describe()
  expect(d.openapi).toBe('3.1.0')
  expect(d.info).toMatchObject({ title: 'Loopkeeper', version: '9.9.9' })
  const described = operations(d).map((o) => `${o.method.toUpperCase()} ${o.path}`)
  for (const row of ROWS) expect(described).toContain(`${row.method} ${row.path.replace(/:(\w+)/g, '{$1}')}`)
  const { app } = await openYard()
  for (const { path, method } of operations(d)) {
    if (path === wire.LIVE_PATH) continue
    const reply = await app.server.inject({
      method: method === 'post' ? 'POST' : 'GET',
      url: path.replace(/\{\w+\}/g, 'x'),
      headers: { authorization: `Bearer ${TOKEN}`, host: HOST },
    })
    // What is no JSON was answered as a file.
    const code = String(reply.headers['content-type']).startsWith('application/json') ? reply.json().code : null
    expect(['unknown-path', 'wrong-method'], `${method} ${path}`).not.toContain(code)
  }
})

test('the calls are those the product promises', () => {
  expect(ROWS.map((r) => `${r.method} ${r.path}`).toSorted()).toEqual(
    [
      'GET /api/health',
      'GET /api/quarantine',
      'GET /api/unassigned',
      'GET /api/traffic',
      'GET /api/counts/:site/:signal',
      'GET /api/machines/:site',
      'POST /api/unassigned/adopt',
      'GET /api/loops',
      'GET /api/loops/:site',
      'GET /api/loops/:site/forecasts',
      'GET /api/loops/:site/normal',
      'GET /api/loops/:site/state',
      'GET /api/loops/:site/yard-link',
      'POST /api/loops/:site/check-in',
      'POST /api/loops/:site/check-out',
      'POST /api/loops/:site/state',
      'POST /api/loops/:site/state/end',
      'POST /api/loops/:site/yard-link',
      'POST /api/loops/:site/yard-link/withdraw',
      'GET /api/loops/:site/due',
      'GET /api/due',
      'GET /api/due.csv',
      'GET /api/rules/:site',
      'GET /api/rules.csv',
      'GET /api/history/:site/:signal',
      'GET /api/history/:site/:signal/course',
      'GET /api/history.csv',
      'GET /api/alarms',
      'GET /api/alarms/:id',
      'GET /api/alarms/:id/call',
      'POST /api/alarms/:id/acknowledge',
      'POST /api/alarms/:id/reset',
      'GET /api/set-aside',
      'POST /api/alarms/:id/shelve',
      'POST /api/alarms/:id/unshelve',
      'POST /api/alarms/:id/out-of-service',
      'POST /api/alarms/:id/in-service',
      'GET /api/journal',
      'GET /api/journal.csv',
      'GET /api/alarms/:id/change',
      'POST /api/alarms/:id/preview',
      'POST /api/alarms/:id/change',
      'GET /api/changes',
      'POST /api/changes/:id/undo',
      'GET /api/setup',
      'GET /api/site-files/:file',
      'POST /api/site-files/draft',
      'POST /api/site-files/:file/preview',
      'POST /api/site-files/:file/save',
      'GET /api/credentials',
      'POST /api/credentials/:site/replace',
      'POST /api/credentials/:site/withdraw',
      'GET /api/log',
      'POST /api/log',
      'GET /api/me',
      'POST /api/signout',
      'GET /api/openapi.json',
    ].toSorted(),
  )
})

test('parameters, bodies and answers are described from the same schemas the server checks by', async () => {
  const d = await describe()
  const history = d.paths['/api/history/{site}/{signal}']?.get
  expect(history?.parameters?.map((p) => [p.name, p.in, p.required])).toEqual([
    ['site', 'path', true],
    ['signal', 'path', true],
    ['from', 'query', false],
    ['to', 'query', false],
    ['points', 'query', false],
  ])
  expect(history?.responses['200']?.content?.['application/json']?.schema).toEqual({ $ref: '#/components/schemas/HistoryBody' })
  expect(d.paths['/api/log']?.post?.requestBody).toMatchObject({
    required: true,
    content: { 'application/json': { schema: { required: ['site', 'kind', 'atMs'], additionalProperties: false } } },
  })
  const ids = operations(d).map((o) => o.operation.operationId)
  expect(new Set(ids).size).toBe(ids.length)
})

test('every reference in the description leads somewhere, and every body of the wire is in it', async () => {
  const d = await describe()
  const text = JSON.stringify(d)
  for (const [, name] of text.matchAll(/"\$ref":"#\/components\/schemas\/(\w+)"/g)) expect(Object.keys(d.components.schemas)).toContain(name)
  expect(text.match(/"\$ref":"(?!#\/components\/schemas\/\w+")/)).toBeNull()
  for (const name of Object.keys(wire).filter((n) => n.endsWith('Body'))) expect(Object.keys(d.components.schemas)).toContain(name.slice(0, 1).toUpperCase() + name.slice(1))
  expect(text).not.toContain('"$schema"')
})

test('every code of the fault table is described, by the calls that can answer it, under its own status', async () => {
  const d = await describe()
  const answered = new Set<string>()
  for (const { operation } of operations(d))
    for (const [status, response] of Object.entries(operation.responses))
      for (const code of response.content?.['application/json']?.schema.allOf?.[1]?.properties?.code?.enum ?? []) {
        expect(FAULTS[code as keyof typeof FAULTS].status).toBe(Number(status))
        expect(response.description).toContain(FAULTS[code as keyof typeof FAULTS].sentence)
        answered.add(code)
      }
  // Where nothing is, there is no call to describe it under.
  answered.add('wrong-method')
  expect([...answered].toSorted()).toEqual(Object.keys(FAULTS).toSorted())
  expect(d.components.schemas.FaultCode?.oneOf?.map((c) => c.const)).toEqual(Object.keys(FAULTS))
})

test('every code of the fault table is given by some line of the server, and no status is written past the table', () => {
  const root = fileURLToPath(new URL('../../server', import.meta.url))
  const files = readdirSync(root, { recursive: true, encoding: 'utf8' }).filter((f) => f.endsWith('.ts') && f !== 'errors.ts')
  const text = files.map((f) => readFileSync(join(root, f), 'utf8')).join('\n')
  // Answers of the gateway carry their code with them.
  const passedOn = ['unknown-change', 'unknown-file', 'stale-file', 'not-saved', 'stale-occurrence', 'stale-version', 'not-allowed']
  for (const code of Object.keys(FAULTS)) if (!passedOn.includes(code)) expect(text, code).toMatch(new RegExp(`(Fault|rawAnswer)\\(\\s*'${code}'|code: '${code}'`))
  // The only other statuses of 400 and up are those of the pages of signing in.
  expect([...text.matchAll(/\.code\((4|5)\d\d\)/g)]).toEqual([])
})
