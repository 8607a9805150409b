/**
 * Start of the alarms of 2,000 loops from a state database that holds 1,000,000 journal lines: definitions made, versions looked up, states
 * read, engine ready. Processor time, and the time on the wall beside it; `npm run bench alarms` runs it. Baseline: the
 * states rebuilt from the journal, the plain way without a state table, in the same process and over the same rows.
 */
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { performance } from 'node:perf_hooks'
import BetterSqlite from 'better-sqlite3'
import { createAlarmChanges, loadLayers } from '../../gateway/alarm-changes.ts'
import type { AlarmEvent } from '../../gateway/alarms/alarm.ts'
import { definitionsOf } from '../../gateway/alarms/changes.ts'
import { openJournal } from '../../gateway/alarms/journal.ts'
import { startAlarmKeeper } from '../../gateway/alarms/keeper.ts'
import { applyEvent, BORN, type Life } from '../../gateway/alarms/life.ts'
import { openChangeStore } from '../../gateway/change-store.ts'
import type { Clock } from '../../gateway/clock.ts'
import { openDatabase } from '../../gateway/database.ts'
import { readSiteFolder } from '../../gateway/site-folder.ts'
import type { Site } from '../../gateway/site/site.ts'
import { fleetDir } from '../../simulator/fleets/fleets.ts'
import { printFigures } from './figure.ts'

const LOOPS = 2000
const LINES = 1_000_000
const END = Date.UTC(2026, 10, 25, 9)

const model = [...readSiteFolder(fleetDir('demo')).sites.values()].find((s) => s.instrumentation === 'normal')
if (!model) throw new Error('the demo fleet has no normal loop')
const sites = new Map(Array.from({ length: LOOPS }, (_, i): [string, Site] => [`loop-${i}`, { ...model, id: `loop-${i}` }]))
const dir = mkdtempSync(join(tmpdir(), 'loopkeeper-restart-'))
const path = join(dir, 'state.db')
const clock: Clock = { nowMs: () => END, steadyMs: () => performance.now() }

/** Time of this process on a processor, ms: what others do on the machine meanwhile is not counted. */
function cpuMs(): number {
  const used = process.cpuUsage()
  return (used.user + used.system) / 1000
}

/** One start, as compose.ts does it; gives what took how long, ms. */
async function start(): Promise<{ readonly ms: number; readonly wallMs: number; readonly parts: Readonly<Record<string, number>>; readonly alarms: number }> {
  const t0 = cpuMs()
  const wall = performance.now()
  const parts: Record<string, number> = {}
  let last = t0
  const lap = (name: string): void => {
    const t = cpuMs()
    parts[name] = Math.round(t - last)
    last = t
  }
  const db = await openDatabase(path)
  lap('database')
  const store = openChangeStore(db)
  const changes = createAlarmChanges({
    store,
    clock,
    sites: () => sites,
    layers: await loadLayers(store),
    keeper: () => keeper,
    raisedUnder: async () => null,
    alarmFault: (s, f) => ({ file: s, line: 1, field: f.key, message: f.message }),
    onDefined: () => undefined,
  })
  const defs = [...sites.values()].flatMap((s) => changes.definitions(s).defs)
  lap('definitions')
  const journal = await openJournal(db)
  lap('states')
  const keeper = await startAlarmKeeper({ sites, defs, journal, clock, emit: () => undefined })
  lap('versions and engine')
  const ms = cpuMs() - t0
  const wallMs = performance.now() - wall
  const alarms = keeper.counters().find((c) => c.name === 'alarmRules')?.value ?? 0
  await keeper.stop()
  await db.destroy()
  return { ms, wallMs, parts, alarms }
}

// The first start writes the versions; then the journal is filled as the keeper would have, one event after the other.
const first = await start()
const ids = [...sites.values()].slice(0, 1).flatMap((s) => definitionsOf(s, new Map()).defs.map((d) => d.id.slice(s.id.length)))
{
  const db = await openDatabase(path)
  const journal = await openJournal(db)
  const kinds = ['raised', 'acknowledged', 'cleared'] as const
  let batch: AlarmEvent[] = []
  for (let i = 0; i < LINES; i++) {
    const occurrence = Math.floor(i / 3)
    const alarm = `loop-${occurrence % LOOPS}${ids[Math.floor(occurrence / LOOPS) % ids.length] ?? ''}`
    const kind = kinds[i % 3] ?? 'raised'
    const atMs = END - (LINES - i) * 1000
    batch.push({
      alarm,
      occurrence: `${alarm}@${occurrence}`,
      kind,
      atMs,
      recordedMs: atMs,
      state: kind === 'raised' ? 'unacknowledged' : kind === 'acknowledged' ? 'acknowledged' : 'normal',
      value: 1.5,
      limit: 2,
      unit: 'mg/L',
      by: kind === 'acknowledged' ? 'A. Reyes' : null,
      note: null,
      defVersion: 1,
    })
    if (batch.length === 5000) {
      await journal.append(batch)
      batch = []
    }
  }
  await journal.append(batch)
  await db.destroy()
}

const runs = [await start(), await start(), await start()]
const ms = runs.map((r) => r.ms).toSorted((a, b) => a - b)[1] ?? Number.NaN
const walls = runs.map((r) => `${Math.round(r.wallMs)}`).join(', ')
console.log(`${LOOPS} loops, ${first.alarms} alarms; on the wall ${walls} ms; processor ms of each start: ${runs.map((r) => JSON.stringify(r.parts)).join(' ')}`)

const sqlite = new BetterSqlite(path, { readonly: true })
const t0 = cpuMs()
const lives = new Map<string, Life>()
interface Row {
  alarm: string
  occurrence: string
  kind: AlarmEvent['kind']
  at_ms: number
  recorded_ms: number
  state: AlarmEvent['state']
  value: number | null
  limit_value: number | null
  unit: string
  by_whom: string | null
  note: string | null
  def_version: number
}
for (const r of sqlite.prepare('SELECT * FROM alarm_journal ORDER BY seq').iterate() as IterableIterator<Row>) {
  const e: AlarmEvent = {
    alarm: r.alarm,
    occurrence: r.occurrence,
    kind: r.kind,
    atMs: r.at_ms,
    recordedMs: r.recorded_ms,
    state: r.state,
    value: r.value,
    limit: r.limit_value,
    unit: r.unit,
    by: r.by_whom,
    note: r.note,
    defVersion: r.def_version,
  }
  lives.set(e.alarm, applyEvent(lives.get(e.alarm) ?? BORN, e))
}
const baseline = cpuMs() - t0
sqlite.close()
rmSync(dir, { recursive: true, force: true })
printFigures([
  {
    bench: 'alarms.restart',
    value: ms / 1000,
    unit: 's of processor',
    baseline: baseline / 1000,
    target: 3,
    better: 'less',
    n: `3 starts, ${first.alarms} alarms, ${LINES.toLocaleString('en-US')} lines`,
  },
])
