import { mkdirSync, writeFileSync } from 'node:fs'
import http from 'node:http'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, onTestFinished, test } from 'vitest'
import { openInflux1 } from '../../gateway/history/influx1.ts'
import { reading } from '../history.contract.ts'
import { createInfluxd, influxdPath, withoutInfluxd, type Influxd } from './influxd.ts'
import { history, type Ran } from './shell.ts'
import { handClock, tempFolder } from './store.ts'

const DAY = 86_400_000
const HOUR = 3_600_000

interface Answer {
  readonly results: readonly {
    readonly series?: readonly {
      readonly name?: string
      readonly tags?: Record<string, string>
      readonly columns: readonly string[]
      readonly values: readonly (readonly unknown[])[]
    }[]
  }[]
}

describe.skipIf(influxdPath === null)(`retention and means in InfluxDB 1.x${withoutInfluxd}`, () => {
  let influxd: Influxd | null = null
  beforeAll(async () => {
    influxd = await createInfluxd()
    await influxd.start()
  })
  afterAll(() => influxd?.remove())
  const now = Date.now()
  const start = Math.floor((now - 40 * DAY) / HOUR) * HOUR
  const value = (k: number, i: number): number => Math.round(100 * Math.sin(i / 7 + k)) / 100
  const record = (database: string, ...more: string[]): Promise<Ran> =>
    history(['record', '--influx-url', influxd?.url ?? '', '--influx-database', database, ...more], { clock: handClock(now) })
  const ask = async (q: string, database: string): Promise<Answer> => (await influxd?.query(q, database)) as Answer

  /** Forty days, a reading every 20 min, of two signals. */
  async function fill(database: string): Promise<void> {
    const store = openInflux1({ url: influxd?.url ?? '', database, user: null, password: null })
    await ask(`CREATE DATABASE "${database}"`, '')
    for (const [k, key] of ['depot/tu.do', 'depot/tu.ph'].entries())
      await store.append(Array.from({ length: 40 * 72 }, (_, i) => reading(key, start + i * 20 * 60_000, i % 50 === 3 ? null : value(k, i))))
    await store.close()
  }

  test('it says how things stand, what it would do and what that would delete; nothing happens without --write, and nothing is deleted without --may-delete', async () => {
    await fill('yards')
    expect((await record('yards')).out).toMatch(
      /^InfluxDB at 127\.0\.0\.1:\d+, database yards\n {2}single readings are kept for ever \(retention policy "autogen"\), from \d{4}-\d\d-\d\dT\d\d:00:00\.000Z on\n$/,
    )
    const asked = ['--keep-days', '30', '--means', '1h', '--keep-means-days', '3650']
    const dry = await record('yards', ...asked)
    expect(dry.out).toContain('  1. make the retention policy "means", which keeps means for 3650 days\n')
    expect(dry.out).toContain('  2. make means over 1h from now on (continuous query "loopkeeper_means_1h", measurement "reading_1h")\n')
    expect(dry.out).toContain('  3. make means over 1h of what is there, from ')
    const older = 2 * Array.from({ length: 40 * 72 }, (_, i) => start + i * 20 * 60_000).filter((t) => t < now - 30 * DAY).length
    expect(dry.out).toContain(`  4. keep single readings for 30 days instead of for ever (retention policy "autogen"): ${older} older ones are deleted\n`)
    expect(dry.out).toContain('nothing was changed: --write does it, with --may-delete\n')
    const refused = await record('yards', ...asked, '--write')
    expect([refused.code, refused.err]).toEqual([2, `nothing was changed: ${older} readings or means would be deleted for good. --may-delete allows it\n`])
    const policies = await ask('SHOW RETENTION POLICIES ON "yards"', 'yards')
    expect(policies.results[0]?.series?.[0]?.values.map((v) => v.slice(0, 2))).toEqual([['autogen', '0s']])

    const done = await record('yards', ...asked, '--write', '--may-delete')
    expect([done.err, done.code]).toEqual(['', 0])
    const means = await ask('SELECT mean, min, max, n, bad FROM means.reading_1h GROUP BY site, signal', 'yards')
    const series = means.results[0]?.series ?? []
    expect(series.map((s) => s.tags)).toEqual([
      { site: 'depot', signal: 'tu.do' },
      { site: 'depot', signal: 'tu.ph' },
    ])
    for (const [k, s] of series.entries()) {
      // Worked out here from the readings themselves, hour by hour.
      const hours = new Map<number, { v: number[]; bad: number }>()
      for (let i = 0; i < 40 * 72; i++) {
        const at = Math.floor((start + i * 20 * 60_000) / HOUR) * HOUR
        const h = hours.get(at) ?? { v: [], bad: 0 }
        if (i % 50 === 3) h.bad++
        else h.v.push(value(k, i))
        hours.set(at, h)
      }
      expect(s.values).toHaveLength(hours.size)
      for (const [at, mean, min, max, n, bad] of s.values) {
        const h = hours.get(at as number) ?? { v: [], bad: 0 }
        expect([min, max, n, bad ?? 0]).toEqual([Math.min(...h.v), Math.max(...h.v), h.v.length, h.bad])
        expect(mean).toBeCloseTo(h.v.reduce((a, b) => a + b, 0) / h.v.length, 9)
      }
    }
    const now30 = await ask('SHOW RETENTION POLICIES ON "yards"', 'yards')
    expect(now30.results[0]?.series?.[0]?.values.map((v) => [v[0], v[1], v.at(-1)])).toEqual([
      ['autogen', '720h0m0s', true],
      ['means', '87600h0m0s', false],
    ])
    const again = await record('yards', ...asked, '--write')
    expect(again.out).toContain('means over 1h are made and kept for 3650 days')
    expect(again.out).toContain('everything asked for is so already\n')
  })

  test('a database that is not there is made with what was asked, and its name may need quoting', async () => {
    const name = 'yards "two" more'
    const done = await record(name, '--keep-days', '400', '--means', '10m', '--write')
    expect([done.err, done.code]).toEqual(['', 0])
    expect((await record(name)).out).toMatch(
      /single readings are kept for 400 days \(retention policy "autogen"\); there are none yet\n {2}means over 10m are made and kept for ever/,
    )
  })

  test('one that does not answer, and options that do not go together, are told', async () => {
    expect((await history(['record', '--influx-url', 'http://127.0.0.1:1', '--influx-database', 'x'])).err).toMatch(
      /^InfluxDB at 127\.0\.0\.1:1, database x does not answer: .*ECONNREFUSED/,
    )
    expect((await history(['record'])).err).toContain('which InfluxDB?')
    expect((await record('yards', '--keep-means-days', '9')).err).toContain('--keep-means-days was given without --means')
    expect((await record('yards', '--keep-days', 'all')).err).toContain('--keep-days is "all": a whole number of days')
    expect((await record('yards', '--means', '2h')).err).toContain('--means is "2h": 10m or 1h is needed')
  })
})

/**
 * A stand-in for the HTTP API of InfluxDB 2.x as its reference describes it: no 2.x server can be installed here from packages. It shows
 * that the right calls are made in the right order, not that a real one takes the Flux.
 */
async function startStandIn(): Promise<{
  url: string
  calls: { method: string; path: string; body: Record<string, unknown> | null }[]
  state: { retentionSeconds: number; older: number }
}> {
  const calls: { method: string; path: string; body: Record<string, unknown> | null }[] = []
  const state = { retentionSeconds: 0, older: 12 }
  const made: { buckets: string[]; tasks: string[] } = { buckets: ['yards'], tasks: [] }
  const server = http.createServer((request, response) => {
    let body = ''
    request.on('data', (d: Buffer) => (body += d.toString()))
    request.on('end', () => {
      const path = decodeURIComponent(request.url ?? '').replace('/api/v2', '')
      const json = body === '' ? null : (JSON.parse(body) as Record<string, unknown>)
      calls.push({ method: request.method ?? '', path, body: json })
      const answer = (value: unknown, status = 200): void => void response.writeHead(status).end(typeof value === 'string' ? value : JSON.stringify(value))
      if (request.headers.authorization !== 'Token secret') return answer({ code: 'unauthorized', message: 'unauthorized access' }, 401)
      if (path.startsWith('/orgs')) return answer({ orgs: [{ id: 'o1' }] })
      if (path.startsWith('/query')) return answer(`,result,table,_value\r\n,_result,0,${state.older}\r\n\r\n`)
      if (path.startsWith('/buckets/')) return answer({ id: 'b' })
      if (path.startsWith('/buckets') && request.method === 'POST') return answer({ id: made.buckets.push(String(json?.name)) }, 201)
      if (path.startsWith('/buckets')) {
        const name = /name=([^&]+)/.exec(path)?.[1] ?? ''
        const rules = name === 'yards' && state.retentionSeconds > 0 ? [{ type: 'expire', everySeconds: state.retentionSeconds }] : []
        return answer({ buckets: made.buckets.includes(name) ? [{ id: `id-${name}`, name, retentionRules: rules }] : [] })
      }
      if (path.startsWith('/tasks') && request.method === 'POST') return answer({ id: made.tasks.push(/name: "([^"]+)"/.exec(String(json?.flux))?.[1] ?? '') }, 201)
      return answer({ tasks: made.tasks.map((name) => ({ name })) })
    })
  })
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  onTestFinished(() => void server.close())
  const address = server.address()
  return { url: `http://127.0.0.1:${typeof address === 'object' && address !== null ? address.port : 0}`, calls, state }
}

test('InfluxDB 2.x (a stand-in of its API): looked at first, changed only with --write, means before retention, deletion only when allowed', async () => {
  const { url, calls, state } = await startStandIn()
  const dir = tempFolder()
  mkdirSync(dir, { recursive: true })
  const token = join(dir, 'token')
  writeFileSync(token, 'secret\n')
  const args = ['record', '--influx-url', url, '--influx-org', 'loops', '--influx-bucket', 'yards', '--influx-token-file', token]
  const asked = ['--keep-days', '90', '--means', '1h', '--keep-means-days', '1000']
  const dry = await history([...args, ...asked])
  expect(dry.out).toContain('single readings are kept for ever (bucket "yards")')
  expect(dry.out).toContain('4. make means over 1h of what is there'.replace('4.', '3.'))
  expect(dry.out).toContain('4. keep single readings for 90 days instead of for ever (bucket "yards"): 12 older ones are deleted')
  expect(calls.filter((c) => c.method !== 'GET' && !c.path.startsWith('/query'))).toEqual([])
  expect((await history([...args, ...asked, '--write'])).code).toBe(2)
  expect(calls.filter((c) => c.method !== 'GET' && !c.path.startsWith('/query'))).toEqual([])
  calls.length = 0
  expect((await history([...args, ...asked, '--write', '--may-delete'])).code).toBe(0)
  const changes = calls.filter(
    (c) => c.method !== 'GET' && !(c.path.startsWith('/query') && String(c.body?.query).includes('count()') && !String(c.body?.query).includes('aggregateWindow')),
  )
  expect(changes.map((c) => `${c.method} ${c.path.split('?')[0]}`)).toEqual(['POST /buckets', 'POST /tasks', 'POST /query', 'PATCH /buckets/id-yards'])
  expect(changes[0]?.body).toMatchObject({ orgID: 'o1', name: 'yards-means', retentionRules: [{ type: 'expire', everySeconds: 86_400_000 }] })
  expect(String(changes[1]?.body?.flux)).toMatch(/^import "date"\noption task = \{name: "loopkeeper means 1h of yards", every: 1h, offset: 2m\}\n/)
  expect(changes[3]?.body).toEqual({ retentionRules: [{ type: 'expire', everySeconds: 7_776_000 }] })
  state.retentionSeconds = 7_776_000
  writeFileSync(token, 'wrong\n')
  expect((await history([...args])).err).toContain('HTTP 401')
})
