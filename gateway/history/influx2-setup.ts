/**
 * Retention and means in InfluxDB 2.x, through its HTTP API. Single readings stay in their bucket; means go by a task into a bucket beside
 * it, as measurement `reading_<span>` with the fields mean, min, max and n.
 *
 * source  InfluxDB OSS v2 API reference: buckets, tasks, query (InfluxData, 2.7); Flux: aggregateWindow, to
 */
import { MEASUREMENT } from './line.ts'
import { DAY_MS, daysText, MEANS_MS, type MeansSpan, type SetupAsked, type SetupPlan, type SetupStep } from './record-setup.ts'
import { HistoryRefused } from './refused.ts'

export interface Influx2Admin {
  readonly url: string
  readonly token: string
  readonly org: string
  readonly bucket: string
}

const DEADLINE_MS = 600_000

interface Bucket {
  readonly id: string
  readonly name: string
  readonly retentionRules: readonly { readonly everySeconds: number }[]
}

export async function planInflux2(address: Influx2Admin, asked: SetupAsked, nowMs: number): Promise<SetupPlan> {
  const name = `InfluxDB at ${new URL(address.url).host}, bucket ${address.bucket}`
  const base = address.url.replace(/\/$/, '')

  async function call(method: string, path: string, body?: unknown): Promise<string> {
    let status: number
    let text: string
    try {
      const reply = await fetch(`${base}/api/v2${path}`, {
        method,
        headers: { authorization: `Token ${address.token}`, 'content-type': 'application/json', accept: path.startsWith('/query') ? 'application/csv' : 'application/json' },
        ...(body !== undefined && { body: JSON.stringify(body) }),
        signal: AbortSignal.timeout(DEADLINE_MS),
      })
      status = reply.status
      text = await reply.text()
    } catch (e) {
      const why = e instanceof Error ? (e.cause instanceof Error ? e.cause.message : e.message) : String(e)
      throw new HistoryRefused('DOWN', `${name} does not answer: ${why}. See that it runs and that --influx-url is right`, e)
    }
    if (status >= 200 && status < 300) return text
    throw new HistoryRefused(
      'DOWN',
      `${name} refused ${method} ${path}: HTTP ${status}: ${text.slice(0, 300)}${status === 401 || status === 403 ? '. The token must be allowed to read and write buckets and tasks' : ''}`,
    )
  }
  const get = async <T>(path: string): Promise<T> => JSON.parse(await call('GET', path)) as T
  const flux = (query: string): Promise<string> =>
    call('POST', `/query?org=${encodeURIComponent(address.org)}`, { query, type: 'flux', dialect: { header: true, annotations: [] } })

  const org = (await get<{ orgs?: readonly { id: string }[] }>(`/orgs?org=${encodeURIComponent(address.org)}`)).orgs?.[0]
  if (!org) throw new HistoryRefused('DOWN', `${name}: there is no organisation "${address.org}", or the token may not see it`)
  const bucketOf = async (bucket: string): Promise<Bucket | undefined> =>
    (await get<{ buckets?: readonly Bucket[] }>(`/buckets?orgID=${org.id}&name=${encodeURIComponent(bucket)}`)).buckets?.find((b) => b.name === bucket)
  const meansName = `${address.bucket}-means`
  const main = await bucketOf(address.bucket)
  const means = await bucketOf(meansName)
  const tasks = (await get<{ tasks?: readonly { name: string }[] }>(`/tasks?orgID=${org.id}&limit=500`)).tasks?.map((t) => t.name) ?? []
  const countBefore = async (bucket: string, field: string, beforeMs: number): Promise<number> => {
    const csv = await flux(
      `from(bucket: ${text(bucket)}) |> range(start: 0, stop: ${new Date(beforeMs).toISOString()}) |> filter(fn: (r) => r._field == ${text(field)}) |> group() |> count()`,
    )
    return cellOf(csv, '_value')
  }

  const stands = [
    main ? `single readings are kept ${daysText(daysOf(main))} (bucket "${address.bucket}")` : 'there is no such bucket yet',
    ...(['10m', '1h'] as const)
      .filter((s) => tasks.includes(taskName(address.bucket, s)))
      .map((s) => `means over ${s} are made and kept ${daysText(means ? daysOf(means) : null)} (bucket "${meansName}")`),
  ]
  const rules = (days: number | null): readonly unknown[] => (days === null ? [] : [{ type: 'expire', everySeconds: days * 86_400 }])
  const steps: SetupStep[] = []
  if (!main && (asked.keepDays !== null || asked.means !== null)) {
    steps.push({
      what: `make the bucket "${address.bucket}", which keeps single readings ${daysText(asked.keepDays)}`,
      deletes: 0,
      run: async () => void (await call('POST', '/buckets', { orgID: org.id, name: address.bucket, retentionRules: rules(asked.keepDays) })),
    })
  }
  if (asked.means !== null) {
    const span = asked.means
    if (!means) {
      steps.push({
        what: `make the bucket "${meansName}", which keeps means ${daysText(asked.keepMeansDays)}`,
        deletes: 0,
        run: async () => void (await call('POST', '/buckets', { orgID: org.id, name: meansName, retentionRules: rules(asked.keepMeansDays) })),
      })
    } else if (daysOf(means) !== (asked.keepMeansDays ?? 0)) {
      steps.push({
        what: `keep means ${daysText(asked.keepMeansDays)} instead of ${daysText(daysOf(means))}`,
        deletes: asked.keepMeansDays === null ? 0 : await countBefore(meansName, 'n', nowMs - asked.keepMeansDays * DAY_MS),
        run: async () => void (await call('PATCH', `/buckets/${means.id}`, { retentionRules: rules(asked.keepMeansDays) })),
      })
    }
    if (!tasks.includes(taskName(address.bucket, span))) {
      steps.push({
        what: `make means over ${span} from now on, again and again over the last day for readings that come late (task "${taskName(address.bucket, span)}")`,
        deletes: 0,
        run: async () => void (await call('POST', '/tasks', { orgID: org.id, status: 'active', flux: taskFlux(address, meansName, span) })),
      })
      if (main) {
        steps.push({
          what: `make means over ${span} of what is there`,
          deletes: 0,
          run: async () => void (await flux(meansFlux(address, meansName, span, '0', new Date(Math.floor(nowMs / MEANS_MS[span]) * MEANS_MS[span]).toISOString()))),
        })
      }
    }
  }
  if (main && asked.keepDays !== null && daysOf(main) !== asked.keepDays) {
    steps.push({
      what: `keep single readings ${daysText(asked.keepDays)} instead of ${daysText(daysOf(main))} (bucket "${address.bucket}")`,
      deletes: await countBefore(address.bucket, 'tr', nowMs - asked.keepDays * DAY_MS),
      run: async () => void (await call('PATCH', `/buckets/${main.id}`, { retentionRules: rules(asked.keepDays) })),
    })
  }
  return { name, stands, steps }
}

const taskName = (bucket: string, span: MeansSpan): string => `loopkeeper means ${span} of ${bucket}`
const daysOf = (b: Bucket): number => (b.retentionRules[0]?.everySeconds ?? 0) / 86_400
/** A Flux string. */
const text = (s: string): string => `"${s.replace(/["\\]/g, '\\$&')}"`

function meansFlux(a: Influx2Admin, into: string, span: MeansSpan, start: string, stop: string): string {
  const one = (fn: string, field: string): string =>
    `data |> aggregateWindow(every: ${span}, fn: ${fn}, timeSrc: "_start", createEmpty: false)${fn === 'count' ? ' |> toFloat()' : ''} |> set(key: "_field", value: ${text(field)}) |> set(key: "_measurement", value: ${text(`${MEASUREMENT}_${span}`)}) |> to(bucket: ${text(into)}, org: ${text(a.org)})`
  return [
    `data = from(bucket: ${text(a.bucket)}) |> range(start: ${start}, stop: ${stop}) |> filter(fn: (r) => r._measurement == ${text(MEASUREMENT)} and r._field == "v")`,
    ...[
      ['mean', 'mean'],
      ['min', 'min'],
      ['max', 'max'],
      ['count', 'n'],
    ].map(([fn, field]) => `${one(fn ?? '', field ?? '')} |> yield(name: ${text(field ?? '')})`),
  ].join('\n')
}

const taskFlux = (a: Influx2Admin, into: string, span: MeansSpan): string =>
  `import "date"\noption task = {name: ${text(taskName(a.bucket, span))}, every: ${span}, offset: 2m}\n${meansFlux(a, into, span, `date.truncate(t: -1d, unit: ${span})`, `date.truncate(t: now(), unit: ${span})`)}`

/** A figure of the first row of a CSV answer; 0: no row. */
function cellOf(csv: string, column: string): number {
  const [head, row] = csv.split(/\r?\n/).filter((l) => l !== '' && !l.startsWith('#'))
  const at = head?.split(',').indexOf(column) ?? -1
  const n = Number(row?.split(',')[at] ?? 0)
  return at < 0 || Number.isNaN(n) ? 0 : n
}
