/**
 * Retention and means in InfluxDB 1.x. Single readings stay in the default retention policy: another default would hide what is in the
 * old one from every query. Means come from a continuous query into a policy of their own, as measurement `reading_<span>` with the
 * fields mean, min, max, n (readings with a figure that is not bad) and bad, tags as the readings have them; readings up to a day late
 * still get into them.
 *
 * source  InfluxQL reference, database management and continuous queries (InfluxData, 1.8)
 */
import { createInflux1Sender, type Influx1Address } from './influx-http.ts'
import { MEASUREMENT } from './line.ts'
import { DAY_MS, daysText, MEANS_MS, type MeansSpan, type SetupAsked, type SetupPlan, type SetupStep } from './record-setup.ts'
import { HistoryRefused } from './refused.ts'

const MEANS_POLICY = 'means'
/** Making means over many days takes its time. */
const DEADLINE_MS = 600_000
/** Readings of so many days are made into means with one statement. */
const PIECE_DAYS = 7

interface Series {
  readonly name?: string
  readonly columns: readonly string[]
  readonly values?: readonly (readonly unknown[])[]
}

export async function planInflux1(address: Influx1Address, asked: SetupAsked, nowMs: number): Promise<SetupPlan> {
  const asker = createInflux1Sender({ ...address, deadlineMs: DEADLINE_MS }, 1)
  const db = quoted(address.database)

  async function ask(statement: string): Promise<readonly Series[]> {
    let answer: { readonly status: number; readonly body: string }
    try {
      answer = await asker.ask(statement)
    } catch (e) {
      throw new HistoryRefused('DOWN', `${asker.name} does not answer: ${e instanceof Error ? e.message : String(e)}. See that it runs and that --influx-url is right`, e)
    } finally {
      asker.close()
    }
    const { results, error } = jsonOf(answer.body)
    const said = error ?? results?.[0]?.error
    if (said !== undefined || answer.status !== 200) throw new HistoryRefused('DOWN', `${asker.name} refused "${statement}": ${said ?? `HTTP ${answer.status}`}`)
    return results?.[0]?.series ?? []
  }
  const run = async (statement: string): Promise<void> => void (await ask(statement))

  const names = (await ask('SHOW DATABASES'))[0]?.values?.map((v) => String(v[0])) ?? []
  const exists = names.includes(address.database)
  const policies = exists ? policiesOf((await ask(`SHOW RETENTION POLICIES ON ${db}`))[0]) : []
  const main = policies.find((p) => p.isDefault) ?? { name: 'autogen', days: 0, isDefault: true }
  const means = policies.find((p) => p.name === MEANS_POLICY)
  const queries = exists ? ((await ask('SHOW CONTINUOUS QUERIES')).find((s) => s.name === address.database)?.values?.map((v) => String(v[0])) ?? []) : []
  const from = (policy: string, measurement: string): string => `${db}.${quoted(policy)}.${quoted(measurement)}`
  const countBefore = async (policy: string, measurement: string, field: string, beforeMs: number): Promise<number> =>
    exists ? Number((await ask(`SELECT count(${quoted(field)}) FROM ${from(policy, measurement)} WHERE time < ${Math.floor(beforeMs)}ms`))[0]?.values?.[0]?.[1] ?? 0) : 0
  const firstMs = exists ? Number((await ask(`SELECT first("tr") FROM ${from(main.name, MEASUREMENT)}`))[0]?.values?.[0]?.[0] ?? Number.NaN) : Number.NaN

  const stands = [
    exists
      ? `single readings are kept ${daysText(main.days)} (retention policy "${main.name}")${Number.isNaN(firstMs) ? '; there are none yet' : `, from ${new Date(firstMs).toISOString()} on`}`
      : 'there is no such database yet',
    ...(['10m', '1h'] as const)
      .filter((s) => queries.includes(queryName(s)))
      .map((s) => `means over ${s} are made and kept ${daysText(means?.days ?? null)} (measurement "${MEASUREMENT}_${s}")`),
  ]
  const steps: SetupStep[] = []
  if (!exists && (asked.keepDays !== null || asked.means !== null))
    steps.push({ what: `make the database "${address.database}"`, deletes: 0, run: () => run(`CREATE DATABASE ${db}`) })
  if (asked.means !== null) {
    const span = asked.means
    const duration = asked.keepMeansDays === null ? 'INF' : `${asked.keepMeansDays}d`
    if (!means) {
      steps.push({
        what: `make the retention policy "${MEANS_POLICY}", which keeps means ${daysText(asked.keepMeansDays)}`,
        deletes: 0,
        run: () => run(`CREATE RETENTION POLICY ${quoted(MEANS_POLICY)} ON ${db} DURATION ${duration} REPLICATION 1`),
      })
    } else if (means.days !== (asked.keepMeansDays ?? 0)) {
      const older = asked.keepMeansDays === null ? 0 : await countBefore(MEANS_POLICY, `${MEASUREMENT}_${span}`, 'n', nowMs - asked.keepMeansDays * DAY_MS)
      steps.push({
        what: `keep means ${daysText(asked.keepMeansDays)} instead of ${daysText(means.days)}`,
        deletes: older,
        run: () => run(`ALTER RETENTION POLICY ${quoted(MEANS_POLICY)} ON ${db} DURATION ${duration}`),
      })
    }
    const selected = `SELECT mean("v") AS "mean", min("v") AS "min", max("v") AS "max", count("v") AS "n", sum("bad") AS "bad" INTO ${from(MEANS_POLICY, `${MEASUREMENT}_${span}`)} FROM ${from(main.name, MEASUREMENT)}`
    const grouped = `GROUP BY time(${span}), "site", "signal"`
    if (!queries.includes(queryName(span))) {
      steps.push({
        what: `make means over ${span} from now on (continuous query "${queryName(span)}", measurement "${MEASUREMENT}_${span}")`,
        deletes: 0,
        run: () => run(`CREATE CONTINUOUS QUERY ${quoted(queryName(span))} ON ${db} RESAMPLE EVERY ${span} FOR 1d BEGIN ${selected} ${grouped} END`),
      })
      const pieces = piecesOf(firstMs, nowMs, MEANS_MS[span])
      if (pieces.length > 0) {
        steps.push({
          what: `make means over ${span} of what is there, from ${new Date(pieces[0]?.[0] ?? 0).toISOString()} on`,
          deletes: 0,
          async run(progress) {
            for (const [i, [a, b]] of pieces.entries()) {
              await run(`${selected} WHERE time >= ${a}ms AND time < ${b}ms ${grouped}`)
              progress(i + 1, pieces.length)
            }
          },
        })
      }
    }
  }
  if (asked.keepDays !== null && main.days !== asked.keepDays) {
    const days = asked.keepDays
    const older = await countBefore(main.name, MEASUREMENT, 'tr', nowMs - days * DAY_MS)
    steps.push({
      what: `keep single readings ${daysText(days)} instead of ${daysText(main.days)} (retention policy "${main.name}")`,
      deletes: older,
      run: () => run(`ALTER RETENTION POLICY ${quoted(main.name)} ON ${db} DURATION ${days}d`),
    })
  }
  return { name: asker.name, stands, steps }
}

const queryName = (span: MeansSpan): string => `loopkeeper_means_${span}`
const quoted = (name: string): string => `"${name.replace(/["\\]/g, '\\$&').replaceAll('\n', '\\n')}"`

/** Pieces of [firstMs, nowMs) on whole spans. */
function piecesOf(firstMs: number, nowMs: number, spanMs: number): readonly (readonly [number, number])[] {
  if (Number.isNaN(firstMs)) return []
  const out: [number, number][] = []
  for (let at = Math.floor(firstMs / spanMs) * spanMs; at < nowMs; at += PIECE_DAYS * DAY_MS) out.push([at, Math.min(nowMs, at + PIECE_DAYS * DAY_MS)])
  return out
}

interface Policy {
  readonly name: string
  /** 0: for ever. */
  readonly days: number
  readonly isDefault: boolean
}

function policiesOf(series: Series | undefined): readonly Policy[] {
  const at = (name: string): number => series?.columns.indexOf(name) ?? -1
  return (series?.values ?? []).map((v) => ({ name: String(v[at('name')]), days: daysOf(String(v[at('duration')])), isDefault: v[at('default')] === true }))
}

/** `2160h0m0s` as days. */
function daysOf(text: string): number {
  const m = /^(?:(\d+)h)?(?:(\d+)m)?(?:(\d+)s)?$/.exec(text)
  return m ? (Number(m[1] ?? 0) * 3600 + Number(m[2] ?? 0) * 60 + Number(m[3] ?? 0)) / 86_400 : 0
}

function jsonOf(body: string): { readonly results?: readonly { readonly error?: string; readonly series?: readonly Series[] }[]; readonly error?: string } {
  try {
    return JSON.parse(body) as ReturnType<typeof jsonOf>
  } catch {
    return { error: body.slice(0, 300) }
  }
}
