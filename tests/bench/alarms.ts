/**
 * Rule evaluations a second of processor time, delays, gates, holds and lifecycle included: 500 loops with the default alarms of a normal loop and
 * one of every learned kind, one row a minute each, some of them in trouble. Baseline: the same limits with deadband and delays in the plainest loop
 * one would write (a map of rules by key, no quality, no gates, no staleness, no lifecycle), over the same readings.
 * Then, each in a process of its own: the start of a fleet (alarms-restart.ts), and the way from a controller into a page (alarms-browser.ts).
 */
import { spawnSync } from 'node:child_process'
import { fileURLToPath } from 'node:url'
import { setFlagsFromString } from 'node:v8'
import { runInNewContext } from 'node:vm'
import type { AlarmDef, Rule } from '../../gateway/alarms/alarm.ts'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import { onReadings, onTick } from '../../gateway/alarms/engine.ts'
import { createEngine, type Engine } from '../../gateway/alarms/engine-state.ts'
import { readSiteFolder } from '../../gateway/site-folder.ts'
import { keyOf, type Reading } from '../../gateway/site/reading.ts'
import type { Site } from '../../gateway/site/site.ts'
import { median, printFigures, type Figure } from './figure.ts'

const LOOPS = 500
const MINUTES = 30
const ROUNDS = 7
const START_MS = 1_768_200_000_000

const model = [...readSiteFolder(fileURLToPath(new URL('../../simulator/fleets/demo', import.meta.url))).sites.values()].find((s) => s.instrumentation === 'normal')
if (!model) throw new Error('the demo fleet has no normal loop')
const sites: Site[] = Array.from({ length: LOOPS }, (_, i) => ({ ...model, id: `loop-${i}` }))

const MIN = 60_000
const HOUR = 60 * MIN
const DAY = 24 * HOUR
const delays = { onDelayMs: 10 * MIN, offDelayMs: 5 * MIN }
/** One of every kind that learns or looks at more than the newest value. */
const LEARNED: Readonly<Record<string, Rule>> = {
  rate: { kind: 'rate', signal: 'tu.ph', side: 'low', limit: -0.2, deadband: 0.1, spanMs: 20 * MIN, perMs: 5 * MIN, ...delays },
  step: {
    kind: 'deviation',
    signal: 'tu.ph',
    from: { kind: 'median', spanMs: 7 * DAY, leastMs: DAY },
    as: 'difference',
    side: 'low',
    limit: -0.8,
    deadband: 0.2,
    withinMs: 2 * HOUR,
    ...delays,
    when: { value: { signal: 'tu.do', side: 'low', limit: 0.5 } },
  },
  still: { kind: 'stuck', signal: 'sump.level', change: 2, forMs: DAY, through: null, restsLow: 0, restsHigh: 100, ...delays },
  'still-wash': {
    kind: 'stuck',
    signal: 'tu.do',
    change: 0.3,
    forMs: 20 * MIN,
    through: { signal: 'hp.run', settleMs: 30 * MIN, times: 3 },
    restsLow: 0.1,
    restsHigh: null,
    ...delays,
  },
  pump: { kind: 'no-effect', run: 'transfer.run', flow: null, source: 'sump.level', target: 'finished.level', change: 5, withinMs: 20 * MIN, idle: 'hp.run', ...delays },
  doses: { kind: 'no-response', run: 'acid.run', signal: 'tu.ph', side: 'down', doses: 5, settleMs: 10 * MIN, share: 0.3, ...delays },
  'over-run': { kind: 'over-run', run: 'acid.run', factor: 3, floorMs: MIN, unlearnedMs: 5 * MIN, offDelayMs: MIN },
  daily: { kind: 'day-total', signal: 'acid.run', wash: 'hp.volume', factor: 2, least: 10, ...delays },
  drift: { kind: 'drift', signal: 'tu.ph', side: 'low', perDay: -0.05, deadband: 0.02, spanMs: 7 * DAY, ...delays },
  forecast: { kind: 'forecast', signal: 'tu.ph', side: 'low', limit: 6.5, spanMs: 4 * DAY, belowMs: 3 * DAY, deadbandMs: DAY, ...delays },
  counted: { kind: 'limit', signal: 'tu.do', side: 'low', limit: 1, deadband: 0.2, onDelayMs: 0, offDelayMs: 0, nOfM: { n: 4, m: 5, clearN: 5, clearM: 5 } },
  joined: {
    kind: 'all-of',
    withinMs: 2 * HOUR,
    of: [
      { kind: 'limit', signal: 'tu.ph', side: 'low', limit: 6, deadband: 0.2 },
      { kind: 'rate', signal: 'tu.do', side: 'high', limit: 0.5, deadband: 0.2, spanMs: HOUR, perMs: HOUR },
    ],
    ...delays,
  },
}

const plainDefs: readonly AlarmDef[] = sites.flatMap((s) => defaultAlarms(s).defs)
const mixedDefs: readonly AlarmDef[] = sites.flatMap((s) => {
  const own = [...defaultAlarms(s).defs]
  const [first] = own
  if (!first) throw new Error('a normal loop has no default alarm')
  return [...own, ...Object.entries(LEARNED).map(([id, rule]): AlarmDef => ({ ...first, id: `${s.id}/${id}`, rule }))]
})

/** Small generator with a seed (mulberry32), so that every run sees the same readings. */
function random(seed: number): () => number {
  let a = seed
  return () => {
    a = (a + 0x6d2b79f5) | 0
    let t = Math.imul(a ^ (a >>> 15), 1 | a)
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t
    return ((t ^ (t >>> 14)) >>> 0) / 4_294_967_296
  }
}

const HEALTHY: Readonly<Record<string, number>> = { do: 3, ph: 7.3, temperature: 18, level: 55, pressure: 170, present: 1, auto: 1 }

/** One message per loop and minute; one loop in ten has oxygen, pH and level that wander across their limits. */
const messages: { readonly atMs: number; readonly readings: Reading[] }[] = []
const next = random(7)
for (let minute = 0; minute < MINUTES; minute++) {
  sites.forEach((site, i) => {
    const atMs = START_MS + minute * 60_000 + i
    const restless = i % 10 === 0
    messages.push({
      atMs,
      readings: site.signals.map((s) => {
        const base = s.quantity === 'run' ? (s.id.startsWith('blower') ? 1 : 0) : (HEALTHY[s.quantity] ?? 0)
        const swing = restless && s.quantity === 'do' ? 4 : restless && s.quantity === 'level' ? 60 : restless && s.quantity === 'ph' ? 4 : 0.1
        const value = s.range[1] === 1 ? base : base + (next() - 0.5) * swing
        return { key: keyOf(site.id, s.id), sourceMs: atMs, receivedMs: atMs + 200, value, quality: 'good', sub: 'ok', qc: 1, clock: 'ok', live: true }
      }),
    })
  })
}

setFlagsFromString('--expose-gc')
/** What the round before left behind is not part of this one. */
const sweep = runInNewContext('gc') as () => void

/** Time of this process on a processor, ms: what others do on the machine meanwhile is not counted. */
function cpuMs(since: NodeJS.CpuUsage): number {
  const used = process.cpuUsage(since)
  return (used.user + used.system) / 1000
}

interface Score {
  readonly evaluations: number
  readonly perSecond: number
  readonly changes: number
}

function ours(defs: readonly AlarmDef[]): Score {
  const engine: Engine = createEngine(defs, sites, { nowMs: START_MS, steadyMs: 0 })
  if (engine.faults.length > 0) throw new Error(engine.faults[0])
  const heard = (): number => START_MS + MINUTES * 60_000
  let changes = 0
  sweep()
  const t0 = process.cpuUsage()
  let ticked = 0
  for (const m of messages) {
    const now = { nowMs: m.atMs + 200, steadyMs: m.atMs + 200 - START_MS }
    changes += onReadings(engine, m.readings, now).length
    if (now.steadyMs - ticked >= 1000) {
      ticked = now.steadyMs
      changes += onTick(engine, now, heard).length
    }
  }
  const ms = cpuMs(t0)
  return { evaluations: engine.judged, perSecond: (engine.judged / ms) * 1000, changes }
}

interface Plain {
  readonly high: boolean
  readonly limit: number
  readonly back: number
  readonly onMs: number
  readonly offMs: number
  active: boolean
  since: number
}

function plain(defs: readonly AlarmDef[]): Score {
  const byKey = new Map<string, Plain[]>()
  for (const d of defs) {
    const r = d.rule
    const make = (signal: string, high: boolean, limit: number, deadband: number, onMs: number, offMs: number): void => {
      const key = keyOf(d.site, signal)
      const rule: Plain = { high, limit, back: high ? limit - deadband : limit + deadband, onMs, offMs, active: false, since: -1 }
      byKey.set(key, [...(byKey.get(key) ?? []), rule])
    }
    if (r.kind === 'limit') make(r.signal, r.side === 'high', r.limit, r.deadband, r.onDelayMs, r.offDelayMs)
    else if (r.kind === 'state') make(r.signal, r.value === 1, 0.5, 0, r.onDelayMs, r.offDelayMs)
    else if (r.kind === 'water-left') make(r.level, false, 22, 7, r.onDelayMs, r.offDelayMs)
    else if (r.kind === 'no-air' && r.proof !== null) make(r.proof, false, r.proofLow ?? 0, 5, r.onDelayMs, r.offDelayMs)
  }
  let evaluations = 0
  let changes = 0
  sweep()
  const t0 = process.cpuUsage()
  for (const m of messages) {
    for (const r of m.readings) {
      const rules = byKey.get(r.key)
      if (!rules || r.value === null) continue
      for (const x of rules) {
        evaluations++
        const going = x.active ? (x.high ? r.value <= x.back : r.value >= x.back) : x.high ? r.value > x.limit : r.value < x.limit
        if (!going) x.since = -1
        else if (x.since < 0) x.since = r.sourceMs
        if (going && r.sourceMs - x.since >= (x.active ? x.offMs : x.onMs)) {
          x.active = !x.active
          x.since = -1
          changes++
        }
      }
    }
  }
  const ms = cpuMs(t0)
  return { evaluations, perSecond: (evaluations / ms) * 1000, changes }
}

function measured(bench: string, defs: readonly AlarmDef[]): Figure {
  const mine: Score[] = []
  const bare: Score[] = []
  for (let i = 0; i < ROUNDS + 2; i++) {
    const a = ours(defs)
    const b = plain(defs)
    // The first two rounds warm up.
    if (i >= 2) {
      mine.push(a)
      bare.push(b)
    }
  }
  const [m] = mine
  const [b] = bare
  if (!m || !b || m.changes === 0 || b.changes === 0) throw new Error('nothing was raised: the bench measures nothing')
  const readings = messages.length * (model?.signals.length ?? 0)
  console.log(`${bench}: ${defs.length} rules on ${LOOPS} loops, ${readings} readings a round; changes a round: ours ${m.changes}, plain ${b.changes}`)
  return {
    bench,
    value: median(mine.map((s) => s.perSecond)),
    unit: 'evaluations/s',
    baseline: median(bare.map((s) => s.perSecond)),
    target: 1_000_000,
    better: 'more',
    n: `${ROUNDS} rounds of ${m.evaluations.toLocaleString('en-US')}`,
  }
}

/** Heap after a collection, of the engine alone, per alarm. */
function bytesPerAlarm(defs: readonly AlarmDef[]): Figure {
  const used = (): number => {
    sweep()
    const { heapUsed, external } = process.memoryUsage()
    return heapUsed + external
  }
  const before = used()
  const engine = createEngine(defs, sites, { nowMs: START_MS, steadyMs: 0 })
  const bytes = (used() - before) / engine.runs.size
  return { bench: 'alarms.memory', value: bytes, unit: 'bytes an alarm', baseline: null, target: 2500, better: 'less', n: `${engine.runs.size} default alarms` }
}

printFigures([measured('alarms.evaluate', plainDefs), measured('alarms.evaluateMixed', mixedDefs), bytesPerAlarm(plainDefs)])

let worst = 0
for (const next of ['alarms-restart.ts', 'alarms-browser.ts']) {
  console.log('')
  worst = Math.max(worst, spawnSync(process.execPath, ['--import', 'tsx', fileURLToPath(new URL(next, import.meta.url))], { stdio: 'inherit' }).status ?? 1)
}
process.exitCode = worst
