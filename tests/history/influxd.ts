/** A real InfluxDB 1.x on a loopback port, with a configuration and data of its own in a temporary folder. */
import { spawn, type ChildProcess } from 'node:child_process'
import { existsSync, mkdtempSync, openSync, closeSync, rmSync, writeFileSync } from 'node:fs'
import http from 'node:http'
import https from 'node:https'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { freePort } from '../intake/parts.ts'

const PATHS = ['/usr/bin/influxd', '/usr/local/bin/influxd', '/opt/homebrew/bin/influxd']
export const influxdPath: string | null = PATHS.find((p) => existsSync(p)) ?? null

/** What a skipped test says of itself. */
export const withoutInfluxd = influxdPath === null ? ' (skipped: no influxd on this machine, apt-get install influxdb)' : ''

export interface Influxd {
  readonly url: string
  start(): Promise<void>
  stop(signal?: NodeJS.Signals): Promise<void>
  /** Stops and removes its folder. */
  remove(): Promise<void>
  /** One statement as the administrator; gives the JSON that came. */
  query(q: string, database?: string): Promise<unknown>
}

export const ADMIN = { user: 'admin', password: 'it is "only" a test' }

export async function createInfluxd(options: { readonly auth?: boolean; readonly tls?: { readonly certFile: string; readonly keyFile: string } } = {}): Promise<Influxd> {
  if (influxdPath === null) throw new Error('no influxd on this machine')
  const path = influxdPath
  const dir = mkdtempSync(join(tmpdir(), 'influxd-'))
  const [port, rpc] = [await freePort(), await freePort()]
  const config = join(dir, 'influxdb.conf')
  writeFileSync(
    config,
    `reporting-enabled = false
bind-address = "127.0.0.1:${rpc}"
[meta]
  dir = "${dir}/meta"
[data]
  dir = "${dir}/data"
  wal-dir = "${dir}/wal"
  query-log-enabled = false
[monitor]
  store-enabled = false
[http]
  bind-address = "127.0.0.1:${port}"
  log-enabled = false
  auth-enabled = ${options.auth === true}
  https-enabled = ${options.tls !== undefined}
${options.tls ? `  https-certificate = "${options.tls.certFile}"\n  https-private-key = "${options.tls.keyFile}"` : ''}
`,
  )
  const url = `http${options.tls ? 's' : ''}://127.0.0.1:${port}`
  let child: ChildProcess | null = null
  const query = async (q: string, database = ''): Promise<unknown> => {
    const headers = { authorization: `Basic ${Buffer.from(`${ADMIN.user}:${ADMIN.password}`).toString('base64')}` }
    return JSON.parse((await call(`${url}/query?db=${encodeURIComponent(database)}&epoch=ms`, 'POST', new URLSearchParams({ q }).toString(), headers)).body) as unknown
  }
  const answers = (): Promise<boolean> =>
    call(`${url}/ping`, 'GET', '', {}).then(
      (r) => r.status === 204,
      () => false,
    )
  const influxd: Influxd = {
    url,
    query,
    async start() {
      const log = openSync(join(dir, 'log'), 'a')
      const started = spawn(path, ['-config', config], { stdio: ['ignore', log, log] })
      closeSync(log)
      child = started
      const end = performance.now() + 60_000
      while (!(await answers())) {
        if (started.exitCode !== null || performance.now() > end) throw new Error(`influxd does not answer (exit ${started.exitCode})`)
        await new Promise((resolve) => setTimeout(resolve, 20))
      }
      if (options.auth === true) await query(`CREATE USER ${ADMIN.user} WITH PASSWORD '${ADMIN.password}' WITH ALL PRIVILEGES`)
    },
    async stop(signal = 'SIGTERM') {
      const running = child
      child = null
      if (!running || running.exitCode !== null) return
      const ended = new Promise((resolve) => running.once('exit', resolve))
      running.kill(signal)
      await ended
    },
    async remove() {
      await influxd.stop('SIGKILL')
      rmSync(dir, { recursive: true, force: true })
    },
  }
  return influxd
}

/** One plain request; whose certificate it is does not matter here. */
function call(url: string, method: string, body: string, headers: Record<string, string>): Promise<{ status: number; body: string }> {
  return new Promise((resolve, reject) => {
    const answered = (response: http.IncomingMessage): void => {
      let text = ''
      response.setEncoding('utf8').on('data', (chunk: string) => (text += chunk))
      response.once('end', () => resolve({ status: response.statusCode ?? 0, body: text }))
    }
    const all = { method, headers: { ...headers, ...(body !== '' && { 'content-type': 'application/x-www-form-urlencoded' }) } }
    const request = url.startsWith('https:') ? https.request(url, { ...all, rejectUnauthorized: false }, answered) : http.request(url, all, answered)
    request.once('error', reject)
    request.end(body)
  })
}
