import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { expect, test } from 'vitest'
import { openSiteFiles } from '../../gateway/site-files.ts'
import { setupBody, siteFileBody, siteFileTriedBody } from '../../server/wire.ts'
import { threeSignals } from '../product.ts'
import { fakeCredentials } from './fake-setup.ts'
import { NOON } from './fake-gateway.ts'
import { HOST, openYard, type Yard } from './yard.ts'

const FILE = threeSignals.replace('id: yard-1', 'id: upper')

async function withFile(locked: string | null = null): Promise<Yard & { readonly onDisk: () => string; readonly mark: () => Promise<string> }> {
  const yard = await openYard()
  writeFileSync(join(yard.dir, 'upper.yaml'), FILE)
  yard.gateway.siteFiles = openSiteFiles({ dir: yard.dir, locked, layers: () => new Map(), nowMs: () => NOON })
  if (locked !== null) yard.gateway.credentials = fakeCredentials(yard.clock, locked)
  return {
    ...yard,
    onDisk: () => readFileSync(join(yard.dir, 'upper.yaml'), 'utf8'),
    mark: async () => siteFileBody.parse((await yard.ask('GET', '/api/site-files/upper.yaml')).json()).mark,
  }
}

test('a site file is read, tried and saved with a reason that goes into the site log under the name of the person', async () => {
  const y = await withFile()
  const mark = await y.mark()
  const edits = [{ path: ['yardPhone'], value: '555-0199' }]
  const tried = siteFileTriedBody.parse((await y.ask('POST', '/api/site-files/upper.yaml/preview', { mark, edits })).json())
  expect(tried.diff.flat().filter((l) => l.kind === 'comes')).toEqual([{ kind: 'comes', line: 5, text: 'yardPhone: "555-0199"' }])
  expect(y.onDisk()).toBe(FILE)
  expect((await y.ask('POST', '/api/site-files/upper.yaml/save', { mark, edits })).json()).toMatchObject({ code: 'bad-request', message: expect.stringContaining('reason') })
  expect((await y.ask('POST', '/api/site-files/upper.yaml/save', { mark, edits, reason: 'a new phone' })).json()).toMatchObject({ site: 'upper', isNew: false, secret: null })
  expect(y.onDisk()).toContain('yardPhone: "555-0199"')
  expect(y.gateway.entries[0]).toMatchObject({ site: 'upper', by: 'Night desk', text: 'Site file upper.yaml changed in the page: a new phone' })
  expect((await y.ask('POST', '/api/site-files/upper.yaml/save', { mark, edits: [{ path: ['area'], value: 'x' }], reason: 'late' })).json()).toMatchObject({ code: 'stale-file' })
})

test.each<[string, unknown, string, number]>([
  ['/api/site-files/other.yaml/preview', { mark: 'x', edits: [] }, 'unknown-file', 404],
  ['/api/site-files/..%2Fupper.yaml/preview', { mark: 'x', edits: [] }, 'unknown-file', 404],
  ['/api/site-files/upper.yaml/preview', { mark: 'x', edits: [] }, 'stale-file', 409],
  ['/api/site-files/upper.yaml/preview', { mark: 'x', edits: [{ path: [], value: 1 }] }, 'bad-request', 400],
  ['/api/site-files/upper.yaml/preview', { edits: [] }, 'bad-request', 400],
  ['/api/site-files/draft', { id: 'Über', name: 'x', zone: 'Europe/Lisbon' }, 'not-saved', 409],
  ['/api/credentials/nowhere/replace', {}, 'unknown-loop', 404],
  ['/api/credentials/upper/withdraw', {}, 'unknown-credential', 404],
])('%s with %j is refused as %s', async (url, body, code, status) => {
  const y = await withFile()
  const reply = await y.ask('POST', url, body)
  expect([reply.statusCode, reply.json<{ code: string }>().code]).toEqual([status, code])
})

test('a browser of another origin saves nothing and gets no secret', async () => {
  const y = await withFile()
  for (const url of ['/api/site-files/upper.yaml/save', '/api/credentials/upper/replace']) {
    const reply = await y.app.server.inject({
      method: 'POST',
      url,
      headers: { cookie: y.cookie, host: HOST, origin: 'http://elsewhere.test' },
      payload: { mark: await y.mark(), text: 'x', reason: 'x' },
    })
    expect(reply.json()).toMatchObject({ code: 'cross-origin' })
  }
  expect(y.onDisk()).toBe(FILE)
})

test('a site file of more than 64 KiB can be sent, other bodies of that size cannot', async () => {
  const y = await withFile()
  const text = `${FILE}${'# a remark of a hundred characters, to make the file as long as that of a loop with all its fields\n'.repeat(900)}`
  expect(text.length).toBeGreaterThan(64 * 1024)
  expect((await y.ask('POST', '/api/site-files/upper.yaml/save', { mark: await y.mark(), text, reason: 'remarks' })).statusCode).toBe(201)
  expect((await y.ask('POST', '/api/site-files/draft', { id: text })).json()).toMatchObject({ code: 'too-large' })
})

test('a new loop gets its credential with the save, once; it is listed as never used; replaced and withdrawn it is another', async () => {
  const y = await withFile()
  const draft = siteFileTriedBody.parse((await y.ask('POST', '/api/site-files/draft', { id: 'north-quay', name: 'North quay', zone: 'Europe/Lisbon' })).json())
  const saved = await y.ask('POST', '/api/site-files/north-quay.yaml/save', { mark: draft.mark, text: draft.text, reason: 'a new yard' })
  expect(saved.json()).toMatchObject({ isNew: true, secret: 'secret-of-north-quay-1' })
  const setup = await y.ask('GET', '/api/setup')
  expect(setup.body).not.toContain('secret-of')
  expect(setupBody.parse(setup.json())).toMatchObject({
    unassigned: 1,
    unused: [{ site: 'north-quay' }],
    files: [
      { file: 'north-quay.yaml', faults: [] },
      { file: 'upper.yaml', faults: [] },
    ],
  })
  expect((await y.ask('POST', '/api/credentials/upper/replace', {})).json()).toEqual({ site: 'upper', secret: 'secret-of-upper-2' })
  const list = await y.ask('GET', '/api/credentials')
  expect(list.body).not.toContain('secret-of')
  expect(list.json<{ sites: unknown[] }>().sites).toMatchObject([
    { site: 'upper', createdMs: NOON, usedMs: null, known: true },
    { site: 'lower', createdMs: null },
    { site: 'north-quay', known: false },
  ])
  expect((await y.ask('POST', '/api/credentials/upper/withdraw', {})).json()).toEqual({ site: 'upper' })
  expect(y.gateway.entries.map((e) => e.text)).toEqual([
    'Credential withdrawn: nothing is taken from its controller.',
    'Credential made.',
    'Site file north-quay.yaml made in the page: a new yard',
  ])
})

test('with the demo fleet files and credentials are shown, and every change is refused with what to do', async () => {
  const y = await withFile('They are part of the program: start with --fleet none.')
  expect((await y.ask('GET', '/api/setup')).json()).toMatchObject({ locked: expect.stringContaining('--fleet none') })
  const refused = [
    await y.ask('POST', '/api/site-files/upper.yaml/save', { mark: await y.mark(), text: 'x', reason: 'x' }),
    await y.ask('POST', '/api/credentials/upper/replace', {}),
    await y.ask('POST', '/api/credentials/upper/withdraw', {}),
  ]
  for (const r of refused) expect(r.json()).toMatchObject({ message: expect.stringContaining('--fleet none') })
  expect(refused.map((r) => r.json<{ code: string }>().code)).toEqual(['not-saved', 'not-given', 'not-given'])
  expect(y.onDisk()).toBe(FILE)
})
