/**
 * What the outlook of a loop costs: forecasts and normal bands of a rich loop worked out from ninety days of readings in the embedded history,
 * one a minute per signal, vitals each quarter of an hour. Processor time, and the longest time readings had to wait meanwhile.
 * `npm run bench outlook`.
 */
import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { monitorEventLoopDelay, performance } from 'node:perf_hooks'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import type { AlarmView } from '../../gateway/alarms/alarm.ts'
import type { Clock } from '../../gateway/clock.ts'
import { openEmbedded } from '../../gateway/history/embedded.ts'
import { openNormalFiles } from '../../gateway/normal-files.ts'
import { startOutlook } from '../../gateway/outlook-keeper.ts'
import type { SiteState } from '../../gateway/port.ts'
import { keyOf, type Reading } from '../../gateway/site/reading.ts'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import { createVitals } from '../../gateway/vitals/evaluator.ts'
import { fleetDir } from '../../simulator/fleets/fleets.ts'
import { quiet } from '../alarms/quiet.ts'
import { gaussian } from '../process/noise.ts'
import { median, printFigures } from './figure.ts'

const MIN = 60_000
const DAY = 86_400_000
const DAYS = 90
const ROUNDS = 9
const END = Date.UTC(2026, 10, 25, 9)

const file = readSiteFile('kestrow-berth-3.yaml', readFileSync(join(fleetDir('demo'), 'kestrow-berth-3.yaml'), 'utf8'))
if (!file.ok) throw new Error('the site file of the demo cannot be read')
const { site } = file
const vitals = createVitals(site).explainAll()
const dir = mkdtempSync(join(tmpdir(), 'loopkeeper-outlook-'))
let passed = 0
const clock: Clock = { nowMs: () => END + passed, steadyMs: () => passed }
const history = openEmbedded({ dir, clock, synchronous: 'normal' })
const noise = gaussian(41)
const value = (quantity: string, minute: number): number => {
  const day = minute % 1440
  const washing = day > 480 && day < 840
  if (quantity === 'run') return Number(washing && minute % 11 < 2)
  if (['volume', 'pulses', 'hours', 'starts'].includes(quantity)) return Math.floor((Math.floor(minute / 1440) * 360 + Math.min(360, Math.max(0, day - 480))) * 25)
  return Math.round(10 * (50 + 5 * Math.sin(minute / 230) + (washing ? -8 : 0) + noise(1))) / 10
}
const reading = (id: string, ms: number, v: number): Reading => ({
  key: keyOf(site.id, id),
  sourceMs: ms,
  receivedMs: ms,
  value: v,
  quality: 'good',
  sub: 'ok',
  qc: 1,
  clock: 'ok',
  live: true,
})
let batch: Reading[] = []
let stored = 0
for (let minute = 0; minute < DAYS * 1440; minute++) {
  const ms = END - DAYS * DAY + minute * MIN
  for (const s of site.signals) batch.push(reading(s.id, ms, value(s.quantity, minute)))
  if (minute % 15 === 0) for (const v of vitals) batch.push(reading(v.def.id, ms, value('do', minute)))
  if (batch.length > 8000) {
    history.commit(batch)
    stored += batch.length
    batch = []
    // Blocks are sealed between the batches, as they would be between messages.
    await new Promise((r) => setImmediate(r))
  }
}
history.commit(batch)

const alarms: readonly AlarmView[] = defaultAlarms(site).defs.map(quiet)
const state: SiteState = { site, heardMs: END, silent: false, latest: new Map() }
const outlook = startOutlook({
  states: async () => [],
  clock,
  history,
  log: {
    add: async () => {
      throw new Error('nothing is written here')
    },
    list: async () => [{ id: 1, site: site.id, kind: 'refill', atMs: END - 20 * DAY, item: 'nutrient', value: 57, unit: 'L', by: 'bench', recordedMs: END }],
  },
  files: openNormalFiles(join(dir, 'normal')),
  sites: () => [state],
  site: () => state,
  gateway: { alarmsOf: () => alarms, vitals: () => vitals, journal: async () => [] },
})

async function measured(work: () => Promise<unknown>): Promise<{ readonly cpuMs: number; readonly waitMs: number }> {
  const cpu: number[] = []
  const wait: number[] = []
  const delay = monitorEventLoopDelay({ resolution: 1 })
  for (let i = 0; i < ROUNDS + 2; i++) {
    passed += 3_600_000
    delay.reset()
    delay.enable()
    const from = process.cpuUsage()
    await work()
    const used = process.cpuUsage(from)
    if (i < 2) continue
    cpu.push((used.user + used.system) / 1000)
    wait.push(delay.max / 1e6)
  }
  delay.disable()
  return { cpuMs: median(cpu), waitMs: median(wait) }
}

const told = (await outlook.forecasts(site.id))?.expected.length ?? 0
const bands = (await outlook.normals(site.id))?.normals.length ?? 0
const f = await measured(() => outlook.forecasts(site.id))
const n = await measured(() => outlook.normals(site.id))
await outlook.forecasts(site.id)
const from = performance.now()
for (let i = 0; i < 1000; i++) await outlook.forecasts(site.id)
const again = performance.now() - from
await outlook.stop()
await history.close()
rmSync(dir, { recursive: true, force: true })

const over = `${site.signals.length} signals, ${vitals.length} vitals, ${(stored / 1e6).toFixed(1)} M readings`
const plain = { baseline: null, target: null, better: 'less' as const }
printFigures([
  { ...plain, bench: 'outlook.forecastsMs', value: f.cpuMs, unit: 'ms a loop', n: `${told} lines; ${over}` },
  { ...plain, bench: 'outlook.forecastsWait', value: f.waitMs, unit: 'ms', n: 'longest that readings wait, median of the rounds' },
  { ...plain, bench: 'outlook.normalsMs', value: n.cpuMs, unit: 'ms a loop', n: `${bands} bands over 90 days of hours` },
  { ...plain, bench: 'outlook.normalsWait', value: n.waitMs, unit: 'ms', n: 'longest that readings wait, median of the rounds' },
  { ...plain, bench: 'outlook.walkCpuPct', value: (100 * 2000 * n.cpuMs) / DAY, unit: '% of a core', target: 2, n: '2,000 such loops once a day' },
  { ...plain, bench: 'outlook.againMs', value: again / 1000, unit: 'ms', n: 'asked again within 5 min' },
])
