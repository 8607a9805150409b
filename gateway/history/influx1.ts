/**
 * The record in InfluxDB 1.x as a history. Schema: line.ts. Queries go through the `influx` client, each against our own
 * deadline because the client's may not settle; it retries nothing and, given a pause of 0, never puts its one host aside.
 *
 * How it keeps the port's promises where the store itself differs: a point written again would win, so `append` reads before it
 * writes and the first value stays; one process must be the only one to append. A differing value is counted, not kept. A batch is as
 * durable as the server's own log. Times end in April 2262 (`LATEST_RECORD_MS`). The forwarder does not come through `append`:
 * what it sends was judged by the embedded store.
 */
import http from 'node:http'
import https from 'node:https'
import { InfluxDB } from 'influx'
import { siteOfKey, signalOfKey, type Reading } from '../site/reading.ts'
import { BucketSums, spansOf, type Spans } from './buckets.ts'
import { columnsFrom } from './columns.ts'
import type { AppendResult, Bucket, BucketSeries, History, HistoryReading } from './history.ts'
import { createInflux1Sender, type Influx1Address } from './influx-http.ts'
import { asRows, columnsOf, resultsOf, type Rows } from './influx-rows.ts'
import { keyOfTags, LATEST_RECORD_MS, lineOf, lineStart, MEASUREMENT, qualityOfFields, tagOf } from './line.ts'
import { codeOf, qualityOfRank } from './quality-code.ts'
import { HistoryRefused } from './refused.ts'

/** Statements in one request, and sites in one statement. */
const STATEMENTS = 100
const SITES = 50
const LINES = 5_000
const FIELDS = 'v, vb, q, sub, qc, tr'

const never = { getDelay: () => 0, next: () => never, reset: () => never }

export function openInflux1(address: Influx1Address): History {
  const base = new URL(address.url)
  const secure = base.protocol === 'https:'
  const agent = secure ? new https.Agent({ keepAlive: true, maxSockets: 4, ...(address.ca ? { ca: address.ca } : {}) }) : new http.Agent({ keepAlive: true, maxSockets: 4 })
  const deadlineMs = address.deadlineMs ?? 15_000
  const client = new InfluxDB({
    protocol: secure ? 'https' : 'http',
    host: base.hostname.replace(/^\[|\]$/g, ''),
    port: Number(base.port) || (secure ? 443 : 80),
    path: base.pathname.replace(/\/$/, ''),
    username: address.user ?? '',
    password: address.password ?? '',
    database: address.database,
    options: { agent },
    pool: { maxRetries: 0, requestTimeout: deadlineMs, backoff: never },
  })
  const sender = createInflux1Sender(address)
  let open = true
  /** One append or forgetting at a time: they read before they write. */
  let writing: Promise<unknown> = Promise.resolve()
  const inTurn = <T>(work: () => Promise<T>): Promise<T> => {
    const next = writing.then(work)
    writing = next.catch(() => undefined)
    return next
  }

  async function ask(statements: readonly string[]): Promise<readonly Rows[][]> {
    const out: Rows[][] = []
    for (let i = 0; i < statements.length; i += STATEMENTS) {
      if (!open) throw new HistoryRefused('CLOSED', 'the history is closed')
      const some = statements.slice(i, i + STATEMENTS)
      const abort = new AbortController()
      let deadline: NodeJS.Timeout | undefined
      try {
        const late = new Promise<never>((_, reject) => {
          deadline = setTimeout(() => reject(new Error(`no answer within ${deadlineMs} ms`)), deadlineMs)
        })
        const asked = client.queryRaw(some.join(';'), { precision: 'ms', method: 'POST', signal: abort.signal })
        out.push(...resultsOf(await Promise.race([asked, late]), some.length))
      } catch (e) {
        abort.abort()
        if (e instanceof HistoryRefused) throw e
        const said = e instanceof Error ? e.message : String(e)
        throw new HistoryRefused('DOWN', `${sender.name} did not answer a query: ${said}. See that it runs and that user and password are right`, e)
      } finally {
        clearTimeout(deadline)
      }
    }
    return out
  }

  async function read(key: string, fromMs: number, toMs: number, limit: number): Promise<HistoryReading[]> {
    if (!(limit >= 1) || !(toMs > fromMs)) return []
    const [rows] = await ask([`SELECT ${FIELDS} FROM ${MEASUREMENT} WHERE ${ofKey(key)} AND ${within(fromMs, toMs)} LIMIT ${Math.min(Math.floor(limit), 2 ** 31)}`])
    return readingsOf(rows?.[0])
  }

  async function append(batch: readonly Reading[]): Promise<AppendResult> {
    const byKey = new Map<string, Reading[]>()
    for (const r of batch) {
      if (!storable(r)) throw badReading(r)
      const same = byKey.get(r.key)
      if (same) same.push(r)
      else byKey.set(r.key, [r])
    }
    const keys = [...byKey.keys()]
    const held = await ask(
      keys.map((key) => {
        const times = byKey.get(key)?.map((r) => r.sourceMs) ?? []
        const [least, most] = times.reduce(([a, b], t) => [Math.min(a, t), Math.max(b, t)], [Number.POSITIVE_INFINITY, 0])
        return `SELECT v, vb, tr FROM ${MEASUREMENT} WHERE ${ofKey(key)} AND ${within(least, most + 1)}`
      }),
    )
    let stored = 0
    let duplicate = 0
    const lines: string[] = []
    keys.forEach((key, i) => {
      const known = new Map<number, number | null>()
      for (const r of readingsOf(held[i]?.[0])) known.set(r.sourceMs, r.value)
      const start = lineStart(key)
      for (const r of byKey.get(key) ?? []) {
        const first = known.get(r.sourceMs)
        if (first === undefined) {
          known.set(r.sourceMs, r.value)
          lines.push(lineOf(start, r.sourceMs, r.receivedMs, r.value ?? Number.NaN, codeOf(r.quality, r.sub, r.qc)))
          stored++
        } else if (first === r.value) duplicate++
      }
    })
    for (let i = 0; i < lines.length; i += LINES) {
      const sent = await sender.send(lines.slice(i, i + LINES).join(''))
      if (!sent.ok) throw new HistoryRefused(sent.kind === 'refused' ? 'BAD_READING' : 'DOWN', `${sender.name} did not take the readings: ${sent.message}`)
    }
    return { stored, duplicate, conflict: batch.length - stored - duplicate }
  }

  async function forget(where: string): Promise<number> {
    const [rows] = await ask([`SELECT count(tr) FROM ${MEASUREMENT} WHERE ${where}`])
    const n = Number(rows?.[0]?.values[0]?.[1] ?? 0)
    if (n > 0) await ask([`DELETE FROM ${MEASUREMENT} WHERE ${where}`])
    return n
  }

  async function trend(key: string, spans: Spans): Promise<Bucket[]> {
    const { fromMs, toMs, bucketMs } = spans
    const where = `FROM ${MEASUREMENT} WHERE ${ofKey(key)} AND ${within(fromMs, toMs)} GROUP BY time(${bucketMs}ms, ${((fromMs % bucketMs) + bucketMs) % bucketMs}ms) fill(none)`
    try {
      const [figures, doubts] = await ask([`SELECT count(v), min(v), max(v), mean(v), first(v), last(v) ${where}`, `SELECT count(bad), max(q) ${where}`])
      return bucketsOf(spans, figures?.[0], doubts?.[0])
    } catch (e) {
      // A sum beyond the largest double cannot be written as JSON, and the server's answer is none: then we add up ourselves.
      if (!(e instanceof HistoryRefused) || !(e.cause instanceof SyntaxError)) throw e
      return plainTrend(await read(key, fromMs, toMs, Number.MAX_SAFE_INTEGER), spans)
    }
  }

  return {
    async latest(keys) {
      const bySite = new Map<string, Set<string>>()
      for (const key of keys) {
        const same = bySite.get(siteOfKey(key))
        if (same) same.add(key)
        else bySite.set(siteOfKey(key), new Set([key]))
      }
      const sites = [...bySite.keys()]
      const out = new Map<string, HistoryReading>()
      for (let i = 0; i < sites.length; i += SITES) {
        const some = sites.slice(i, i + SITES)
        const only = keys.length === 1 && keys[0] !== undefined ? ofKey(keys[0]) : `(${some.map((s) => `site = ${quoted(tagOf(s))}`).join(' OR ')})`
        const [rows] = await ask([`SELECT ${FIELDS} FROM ${MEASUREMENT} WHERE ${only} GROUP BY site, signal ORDER BY time DESC LIMIT 1`])
        for (const series of rows ?? []) {
          const key = keyOfTags(series.tags?.site ?? '', series.tags?.signal ?? '')
          const reading = readingsOf(series)[0]
          if (reading && bySite.get(siteOfKey(key))?.has(key)) out.set(key, reading)
        }
      }
      return out
    },

    range: read,

    async buckets(keys, fromMs, toMs, points) {
      const spans = spansOf(fromMs, toMs, points)
      const out: BucketSeries[] = []
      // Two at a time: the server answers one request with one of its cores.
      for (let i = 0; i < keys.length; i += 2)
        out.push(...(await Promise.all(keys.slice(i, i + 2).map(async (key) => ({ key, bucketMs: spans.bucketMs, buckets: spans.count > 0 ? await trend(key, spans) : [] })))))
      return out
    },

    async extent(key) {
      const of = `SELECT tr FROM ${MEASUREMENT} WHERE ${ofKey(key)} ORDER BY time`
      const [first, last] = await ask([`${of} ASC LIMIT 1`, `${of} DESC LIMIT 1`])
      const firstMs = first?.[0]?.values[0]?.[0]
      const lastMs = last?.[0]?.values[0]?.[0]
      return typeof firstMs === 'number' && typeof lastMs === 'number' ? { firstMs, lastMs } : null
    },

    append: (batch) => (batch.length === 0 ? Promise.resolve({ stored: 0, duplicate: 0, conflict: 0 }) : inTurn(() => append(batch))),
    forgetBefore: (beforeMs) => inTurn(() => (beforeMs <= 0 ? Promise.resolve(0) : forget(`time < ${Math.min(beforeMs, LATEST_RECORD_MS)}ms`))),
    forgetSite: (site) => inTurn(() => forget(`site = ${quoted(tagOf(site))}`)),

    async close() {
      await writing
      open = false
      agent.destroy()
      sender.close()
    },
  }
}

const quoted = (text: string): string => `'${text.replace(/['\\]/g, '\\$&')}'`
const ofKey = (key: string): string => `site = ${quoted(tagOf(siteOfKey(key)))} AND signal = ${quoted(tagOf(signalOfKey(key)))}`
const clamped = (ms: number): number => Math.min(Math.max(Math.ceil(ms), 0), LATEST_RECORD_MS)
const within = (fromMs: number, toMs: number): string => `time >= ${clamped(fromMs)}ms AND time ${toMs > LATEST_RECORD_MS ? '<=' : '<'} ${clamped(toMs)}ms`

function readingsOf(series: Rows | undefined): HistoryReading[] {
  if (!series) return []
  const { at, number } = columnsOf(series, ['v', 'vb', 'q', 'sub', 'qc', 'tr'])
  return series.values.map((row) => ({
    sourceMs: at(row),
    receivedMs: number(row, 'tr') ?? 0,
    value: number(row, 'v') ?? number(row, 'vb'),
    ...qualityOfFields(number(row, 'q'), number(row, 'sub'), number(row, 'qc')),
  }))
}

/** The server's spans put into ours: those it left out are empty. */
function bucketsOf(spans: Spans, figures: Rows | undefined, doubts: Rows | undefined): Bucket[] {
  const out = new BucketSums(spans).buckets()
  const put = (fromMs: number, more: Partial<Bucket>): void => {
    const k = Math.round((fromMs - spans.fromMs) / spans.bucketMs)
    const old = out[k]
    if (old) out[k] = { ...old, ...more }
  }
  for (const row of asRows(figures)) {
    const [ms = 0, count = 0, min, max, mean, first, last] = row
    if (count === null || count === 0 || ms === null || min == null || max == null || mean == null || first == null || last == null) continue
    put(ms, { count, min: min + 0, max: max + 0, mean: Math.min(max, Math.max(min, mean)) + 0, first: first + 0, last: last + 0, worst: 'good' })
  }
  for (const [ms, bad, worst] of asRows(doubts)) {
    if (typeof ms !== 'number') continue
    // Without a figure and yet good: `bad` counts it, and no `q` says worse.
    put(ms, { bad: bad ?? 0, worst: qualityOfRank(worst ?? 0) })
  }
  return out
}

function plainTrend(readings: readonly HistoryReading[], spans: Spans): Bucket[] {
  const sums = new BucketSums(spans)
  sums.addReadings(columnsFrom(readings))
  return sums.buckets()
}

const isTime = (ms: number, latestMs: number): boolean => Number.isInteger(ms) && ms >= 0 && ms <= latestMs
const storable = (r: Reading): boolean =>
  r.key.includes('/') &&
  isTime(r.sourceMs, LATEST_RECORD_MS) &&
  isTime(r.receivedMs, 2 ** 45) &&
  (r.value === null || Number.isFinite(r.value)) &&
  codeOf(r.quality, r.sub, r.qc) >= 0

function badReading(r: Reading): HistoryRefused {
  return new HistoryRefused(
    'BAD_READING',
    `a reading of ${r.key} cannot be stored (value ${r.value}, quality ${r.quality}/${r.sub}/${r.qc}, source time ${r.sourceMs}, received ${r.receivedMs}): the key must be <site>/<signal>, the value finite or null, times whole ms from 0 to April 2262, quality good, uncertain or bad with its reason. Nothing of its batch was kept`,
  )
}
