/** The page behind the shipped nginx configuration: TLS, sign-in, the live socket. */
import { type ChildProcess, spawn, spawnSync } from 'node:child_process'
import { accessSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs'
import { request } from 'node:https'
import { delimiter, join } from 'node:path'
import { afterAll, beforeAll, expect, test } from 'vitest'
import WebSocket from 'ws'
import { LIVE_PATH } from '../../server/wire.ts'
import { freePort } from '../intake/parts.ts'
import { makeFolder, startProduct, threeSignals, until, type Folder, type Product } from '../product.ts'
import { deployText, makeServer, type Server } from './readme.ts'

const nginx = [...(process.env.PATH ?? '').split(delimiter), '/usr/sbin']
  .map((d) => join(d, 'nginx'))
  .find((p) => {
    try {
      accessSync(p)
      return true
    } catch {
      return false
    }
  })
const without = nginx === undefined ? ' (skipped: no nginx on this machine, apt-get install nginx)' : ''
const real = test.skipIf(nginx === undefined)
let server: Server
let folder: Folder
let product: Product
let proxy: ChildProcess
let port = 0
let ca = ''

beforeAll(async () => {
  server = makeServer()
  if (nginx === undefined) return
  folder = makeFolder({ 'yard-1.yaml': threeSignals })
  product = await startProduct(folder)
  expect(server.run('certificates', { 'loops.example.org': 'localhost' })).toMatchObject({ status: 0 })
  ca = readFileSync(server.at('/trusted/ca.crt'), 'utf8')
  port = await freePort()
  let text = deployText('nginx.conf')
  for (const [was, is] of [
    ['listen 443 ssl;', `listen 127.0.0.1:${port} ssl;`],
    ['  listen [::]:443 ssl;\n', ''],
    ['/etc/nginx/loopkeeper/page', server.at('/trusted/server')],
    ['http://127.0.0.1:8470', product.page],
  ] as const) {
    expect(text).toContain(was)
    text = text.replaceAll(was, is)
  }
  const run = server.at('/nginx')
  mkdirSync(run)
  const temp = ['client_body', 'proxy', 'fastcgi', 'uwsgi', 'scgi'].map((t) => `${t}_temp_path ${run}/${t};`).join('\n')
  const user = process.getuid?.() === 0 ? 'user root;\n' : ''
  writeFileSync(
    join(run, 'nginx.conf'),
    `${user}daemon off;\npid ${run}/pid;\nerror_log ${run}/error.log;\nevents {}\nhttp {\naccess_log ${run}/access.log;\n${temp}\n${text}\n}\n`,
  )
  expect(spawnSync(nginx, ['-t', '-c', join(run, 'nginx.conf'), '-e', join(run, 'error.log')], { encoding: 'utf8' })).toMatchObject({ status: 0 })
  proxy = spawn(nginx, ['-c', join(run, 'nginx.conf'), '-e', join(run, 'error.log')], { stdio: 'ignore' })
  await until(
    async () => (await ask('/api/ping').catch(() => null))?.status === 200,
    10_000,
    () => readFileSync(join(run, 'error.log'), 'utf8'),
  )
})
afterAll(async () => {
  if (proxy) {
    const ended = new Promise((resolve) => proxy.once('exit', resolve))
    proxy.kill('SIGTERM')
    await ended
  }
  await product?.stop()
  folder?.remove()
  server.remove()
})

interface Answer {
  readonly status: number | undefined
  readonly headers: NodeJS.Dict<string | string[]>
  readonly body: string
}
const ask = (path: string, options: { readonly method?: string; readonly headers?: Record<string, string>; readonly body?: string } = {}): Promise<Answer> =>
  new Promise((resolve, fail) => {
    const r = request(`https://localhost:${port}${path}`, { ca, method: options.method ?? 'GET', headers: options.headers ?? {} }, (reply) => {
      let body = ''
      reply.setEncoding('utf8').on('data', (d: string) => (body += d))
      reply.on('end', () => resolve({ status: reply.statusCode, headers: reply.headers, body }))
    })
    r.on('error', fail)
    r.end(options.body)
  })
/** Signs in as the form of the page does; gives the Cookie header for what follows. */
async function signIn(): Promise<{ readonly answer: Answer; readonly cookie: string }> {
  const once = new URL(product.signIn).searchParams.get('once') ?? ''
  const headers = { origin: `https://localhost:${port}`, 'content-type': 'application/json' }
  const answer = await ask('/signin', { method: 'POST', headers, body: JSON.stringify({ once, name: 'tester' }) })
  return { answer, cookie: String(answer.headers['set-cookie']).split(';')[0] ?? '' }
}

real(`a person signs in over TLS, the cookie is for TLS only, and the live socket and the page open with it${without}`, async () => {
  const { answer, cookie } = await signIn()
  expect(answer.status, answer.body).toBe(200)
  expect(String(answer.headers['set-cookie'])).toMatch(/; HttpOnly; SameSite=Strict; secure/i)
  expect(answer.headers['strict-transport-security']).toBe('max-age=31536000')
  expect((await ask('/api/loops', { headers: { cookie } })).status).toBe(200)
  expect((await ask('/api/loops')).status).toBe(401)
  const socket = new WebSocket(`wss://localhost:${port}${LIVE_PATH}`, { ca, headers: { cookie, origin: `https://localhost:${port}` } })
  const first = await new Promise<string>((resolve, fail) => {
    socket.once('message', (data: Buffer) => resolve(data.toString('utf8')))
    socket.once('error', fail)
  })
  socket.terminate()
  expect(first).toContain('{')
  const stranger = new WebSocket(`wss://localhost:${port}${LIVE_PATH}`, { ca, headers: { cookie, origin: 'https://other.example.org' } })
  await expect(new Promise((resolve, fail) => stranger.once('open', resolve).once('error', fail))).rejects.toThrow(/40[13]/)
})

real(`no sign-in link stands in the log of the web server${without}`, async () => {
  await ask('/signin?once=not-a-link-but-secret-all-the-same')
  await ask('/api/ping')
  const log = readFileSync(server.at('/nginx/access.log'), 'utf8')
  expect(log).toContain('/api/ping')
  expect(log).not.toContain('once=')
})
