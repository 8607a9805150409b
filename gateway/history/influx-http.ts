/**
 * Sends line protocol to InfluxDB 1.x over node:http(s). Our own, not the client's, because the client packs nothing, sends a line
 * feed in a tag as it is, throws the answer to a partial write away with its connection, puts a host aside for seconds after one
 * failure, and may never settle once headers have come. Here every call settles by its own deadline and says what the server said.
 */
import http from 'node:http'
import https from 'node:https'
import { promisify } from 'node:util'
import { gzip } from 'node:zlib'
import { refusedAnswer, type LineSender, type Sent } from './line-sender.ts'

const pack = promisify(gzip)

export interface Influx1Address {
  /** http://host:port or https://, with a path where it stands behind a proxy. */
  readonly url: string
  readonly database: string
  readonly user: string | null
  readonly password: string | null
  /** Certificate authority (PEM) for https; null: those the system knows. */
  readonly ca?: string | null
  /** Longest a call may take, ms. Default 15 s. */
  readonly deadlineMs?: number
}

export interface Answer {
  readonly status: number
  readonly body: string
}

/** Answers longer than this are cut: they are only read by a person. */
const MOST_ANSWER = 65_536

/** Asks as well as sends. */
export interface Influx1Asker extends LineSender {
  /** One statement; gives what the server said. Rejects when it does not answer. */
  ask(statement: string): Promise<Answer>
}

export function createInflux1Sender(address: Influx1Address, maxSockets = 4): Influx1Asker {
  const base = new URL(address.url)
  const secure = base.protocol === 'https:'
  const agent = secure ? new https.Agent({ keepAlive: true, maxSockets, ...(address.ca ? { ca: address.ca } : {}) }) : new http.Agent({ keepAlive: true, maxSockets })
  const path = base.pathname.replace(/\/$/, '')
  const deadlineMs = address.deadlineMs ?? 15_000
  const authorization = address.user === null ? null : `Basic ${Buffer.from(`${address.user}:${address.password ?? ''}`).toString('base64')}`

  function post(to: string, body: Buffer, headers: Record<string, string | number>): Promise<Answer> {
    return new Promise((resolve, reject) => {
      const request = (secure ? https : http).request(
        {
          agent,
          hostname: base.hostname.replace(/^\[|\]$/g, ''),
          port: base.port || (secure ? 443 : 80),
          path: `${path}${to}`,
          method: 'POST',
          headers: { 'content-length': body.length, ...headers, ...(authorization !== null && { authorization }) },
        },
        (response) => {
          const chunks: Buffer[] = []
          let length = 0
          response.on('data', (chunk: Buffer) => {
            length += chunk.length
            if (length <= MOST_ANSWER) chunks.push(chunk)
          })
          response.once('end', () => {
            clearTimeout(deadline)
            resolve({ status: response.statusCode ?? 0, body: Buffer.concat(chunks).toString('utf8') })
          })
          response.once('error', fail)
        },
      )
      const deadline = setTimeout(() => fail(new Error(`no answer within ${deadlineMs} ms`)), deadlineMs)
      function fail(e: Error): void {
        clearTimeout(deadline)
        reject(e)
        request.destroy()
      }
      request.on('error', fail)
      request.end(body)
    })
  }

  async function write(lines: string, again: boolean): Promise<Sent> {
    let answer: Answer
    try {
      const body = await pack(lines, { level: 1 })
      answer = await post(`/write?db=${encodeURIComponent(address.database)}&precision=ms`, body, { 'content-encoding': 'gzip', 'content-type': 'text/plain; charset=utf-8' })
    } catch (e) {
      return { ok: false, kind: 'down', message: e instanceof Error ? e.message : String(e), dropped: null }
    }
    if (answer.status === 404 && again && answer.body.includes('database not found') && (await makeDatabase())) return write(lines, false)
    return answer.status === 204 || answer.status === 200 ? { ok: true } : refusedAnswer(answer.status, answer.body)
  }

  const ask = (statement: string): Promise<Answer> =>
    post(`/query?epoch=ms&db=${encodeURIComponent(address.database)}`, Buffer.from(`q=${encodeURIComponent(statement)}`), { 'content-type': 'application/x-www-form-urlencoded' })

  async function makeDatabase(): Promise<boolean> {
    const q = `CREATE DATABASE "${address.database.replace(/["\\]/g, '\\$&')}"`
    try {
      const answer = await ask(q)
      return answer.status === 200 && !answer.body.includes('"error"')
    } catch {
      return false
    }
  }

  return {
    name: `InfluxDB at ${base.host}, database ${address.database}`,
    send: (lines) => write(lines, true),
    ask,
    close: () => agent.destroy(),
  }
}
