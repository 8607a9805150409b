import { createServer } from 'node:http'
import type { AddressInfo } from 'node:net'
import { describe, expect, onTestFinished, test } from 'vitest'
import { startForwarder } from '../../gateway/history/forwarder.ts'
import { createInflux2Sender } from '../../gateway/history/influx2.ts'
import { reading } from '../history.contract.ts'
import { realClock, until } from '../intake/parts.ts'
import { openStore, tempFolder } from './store.ts'
import { startVictoria, victoriaPath, withoutVictoria } from './victoria.ts'

const T0 = Date.UTC(2026, 0, 5, 6)

describe.skipIf(victoriaPath === null)(`the sender of InfluxDB 2.x against the write call of victoria-metrics${withoutVictoria}`, () => {
  test('every figure and every received time comes back from its export, point for point, to 12 digits', async () => {
    const victoria = await startVictoria()
    onTestFinished(() => victoria.remove())
    const store = openStore(tempFolder())
    const keys = ['bus depot/tu.do', 'quarry, north=1/finished.level', 'größe/水位', 'a/b']
    const sent = keys.flatMap((key, k) => Array.from({ length: 3_000 }, (_, i) => reading(key, T0 + i * 10_000 + k, Math.round(1e6 * (Math.sin(i / 50 + k) * 10 ** k)) / 1e6)))
    for (let i = 0; i < sent.length; i += 700) store.commit(sent.slice(i, i + 700))
    const feed = store.feed({ name: 'victoria', maxBacklogBytes: 2 ** 30 })
    const forwarder = startForwarder({
      feed,
      sender: createInflux2Sender({ url: victoria.url, token: 'any', org: 'yards', bucket: 'history' }),
      clock: realClock,
      idleMs: 5,
      backlogBound: 2 ** 30,
    })
    onTestFinished(() => forwarder.stop({ withinMs: 1_000 }))
    await until('all is forwarded', () => feed.stats().backlogBytes === 0 && forwarder.idle(), 30_000)
    expect(forwarder.trouble()).toBeNull()
    for (const field of ['v', 'tr'] as const) {
      const found = new Map<string, string[]>()
      // A series comes as one line or as several, one for each of its blocks.
      for (const s of await victoria.exported(`reading_${field}`)) {
        const key = `${s.metric.site}/${s.metric.signal}`
        found.set(key, [...(found.get(key) ?? []), ...s.timestamps.map((ms, i) => `${ms} ${(s.values[i] ?? Number.NaN).toPrecision(12)}`)])
      }
      for (const key of keys) {
        const own = sent.filter((r) => r.key === key).map((r) => `${r.sourceMs} ${(field === 'v' ? (r.value ?? Number.NaN) : r.receivedMs).toPrecision(12)}`)
        expect(found.get(key)?.sort(), `${field} of ${key}`).toEqual(own.sort())
      }
      expect(found.size).toBe(keys.length)
    }
  })
})

test('the client of 2.x sends one request with token, organisation, bucket and ms, and gives its answer: refused, put off, not allowed', async () => {
  const seen: { url: string | undefined; authorization: string | undefined }[] = []
  let status = 204
  const server = createServer((request, response) => {
    seen.push({ url: request.url, authorization: request.headers.authorization })
    request.resume()
    request.once('end', () =>
      response.writeHead(status, { 'content-type': 'application/json' }).end(status === 204 ? undefined : '{"code":"x","message":"partial write: because dropped=2"}'),
    )
  })
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  onTestFinished(() => void server.close())
  const sender = createInflux2Sender({
    url: `http://127.0.0.1:${(server.address() as AddressInfo).port}`,
    token: 's3cret',
    org: 'yards & co',
    bucket: 'history',
    deadlineMs: 2_000,
  })
  const answers = []
  for (status of [204, 422, 400, 401, 429, 503]) answers.push(await sender.send('reading,signal=do,site=a v=1,tr=2 3\n'))
  expect(answers.map((a) => (a.ok ? 'ok' : `${a.kind} ${a.dropped}`))).toEqual(['ok', 'refused 2', 'refused 2', 'setup null', 'down null', 'down null'])
  // One each: it retries nothing of its own.
  expect(seen).toHaveLength(6)
  expect(seen[0]).toEqual({ url: '/api/v2/write?org=yards%20%26%20co&bucket=history&precision=ms', authorization: 'Token s3cret' })
})
