/**
 * The embedded history against a narrow table of the same database, in the same run: size, load, trends, latest values of a
 * fleet, restart. `npm run bench history`.
 */
import Database from 'better-sqlite3'
import { mkdtempSync, rmSync } from 'node:fs'
import { cpus, loadavg, tmpdir } from 'node:os'
import { join } from 'node:path'
import { performance } from 'node:perf_hooks'
import type { Clock } from '../../gateway/clock.ts'
import { openEmbedded, type EmbeddedHistory } from '../../gateway/history/embedded.ts'
import type { Reading } from '../../gateway/site/reading.ts'
import { median, printFigures, type Figure } from './figure.ts'
import { influx } from './history-influx.ts'
import { Noise, reading, valueOf } from './history-load.ts'
import { openNarrow, usedBytes, type Narrow } from './history-narrow.ts'

const clock: Clock = { nowMs: () => Date.now(), steadyMs: () => performance.now() }
const T0 = Date.UTC(2026, 0, 5)
const DAY_MS = 86_400_000
const STEP_MS = 10_000
const LONG_DAYS = 90
const LONG_SIGNALS = 2
const WEEK_SIGNALS = 12
const FLEET = 80_000
const CHUNKS = 5
const ROUNDS_A_CHUNK = 6
const BATCH = 8_000

const times = async (n: number, work: () => unknown): Promise<number[]> => {
  const out: number[] = []
  for (let i = 0; i < n; i++) {
    const from = performance.now()
    await work()
    out.push(performance.now() - from)
  }
  return out
}
const timed = async (work: () => unknown): Promise<number> => (await times(1, work))[0] ?? Number.NaN

/** Two signals over 90 days and twelve over the last 7, a reading every 10 s, sent as one message per loop and step. */
async function trends(dir: string): Promise<Figure[]> {
  const store = openEmbedded({ dir, clock })
  const narrow = openNarrow(dir)
  const noise = new Noise(7)
  const steps = (LONG_DAYS * DAY_MS) / STEP_MS
  const weekFrom = steps - (7 * DAY_MS) / STEP_MS
  const end = T0 + LONG_DAYS * DAY_MS
  const keys = Array.from({ length: WEEK_SIGNALS }, (_, k) => `quarry-yard/signal-${k}`)
  let readings = 0
  let spentMs = 0
  let narrowMs = 0
  let batch: Reading[] = []
  for (let i = 0; i < steps; i++) {
    const sourceMs = T0 + i * STEP_MS
    const receivedMs = sourceMs + 120 + Math.round(200 * (0.5 + noise.next()))
    for (let k = 0; k < (i < weekFrom ? LONG_SIGNALS : WEEK_SIGNALS); k++) batch.push(reading(keys[k] ?? '', sourceMs, receivedMs, valueOf(k, sourceMs / 1_000, noise)))
    if (batch.length < BATCH && i < steps - 1) continue
    const sent = batch
    batch = []
    readings += sent.length
    spentMs += await timed(() => {
      store.commit(sent)
      while (store.sealStep(50));
    })
    narrowMs += await timed(() => narrow.append(sent))
  }
  spentMs += await timed(() => store.sealAll())
  const bytes = bytesUsed(dir) / readings
  const trend = { points: 1_000, fromMs: T0, weekMs: end - 7 * DAY_MS }
  const one = keys.slice(0, 1)
  const n = `${(readings / 1e6).toFixed(1)} million readings of ${WEEK_SIGNALS} signals`
  console.log(`trend store: ${n}, loaded at ${Math.round(readings / spentMs)} k/s (narrow ${Math.round(readings / narrowMs)} k/s)`)
  // Twice before measuring: the first asks are compiled and read from disk.
  await times(2, () => store.buckets(one, T0, end, 1_000))
  await times(1, () => narrow.trend(one, T0, end, 1_000))
  const long: number[] = []
  const longNarrow: number[] = []
  const week: number[] = []
  const weekNarrow: number[] = []
  let seen = 0
  for (let round = 0; round < 5; round++) {
    long.push(await timed(async () => (seen += (await store.buckets(one, trend.fromMs, end, trend.points))[0]?.buckets.reduce((s, b) => s + b.count, 0) ?? 0)))
    longNarrow.push(await timed(() => narrow.trend(one, trend.fromMs, end, trend.points)))
    week.push(await timed(async () => (seen += (await store.buckets(keys, trend.weekMs, end, trend.points)).length)))
    weekNarrow.push(await timed(() => narrow.trend(keys, trend.weekMs, end, trend.points)))
  }
  if (seen !== 5 * (steps + WEEK_SIGNALS)) throw new Error(`the trend counted ${seen} readings, not ${5 * (steps + WEEK_SIGNALS)}`)
  const figures: Figure[] = [
    { bench: 'history.bytesPerReading', value: bytes, unit: 'bytes', baseline: narrow.bytes() / readings, target: 4, better: 'less', n },
    {
      bench: 'history.trend90d',
      value: median(long),
      unit: 'ms',
      baseline: median(longNarrow),
      target: 50,
      better: 'less',
      n: `1 signal, ${steps.toLocaleString('en-US')} readings -> 1,000 spans, median of 5`,
    },
    {
      bench: 'history.trend12x7d',
      value: median(week),
      unit: 'ms',
      baseline: median(weekNarrow),
      target: 100,
      better: 'less',
      n: '12 signals, 725,760 readings -> 1,000 spans each, median of 5',
    },
  ]
  narrow.close()
  await store.close()
  return figures
}

/** Eighty thousand signals, every one reporting each round, in batches of 8,000. */
async function fleet(dir: string): Promise<Figure[]> {
  const never = { sealAfterMs: Number.MAX_SAFE_INTEGER }
  let store: EmbeddedHistory = openEmbedded({ dir, clock, ...never })
  let narrow: Narrow = openNarrow(dir)
  const noise = new Noise(11)
  const keys = Array.from({ length: FLEET }, (_, i) => `yard-${Math.floor(i / 40)}/signal-${i % 40}`)
  let spentMs = 0
  let narrowMs = 0
  const commits: number[] = []
  // In turns of a chunk each, and each pays for bringing its own log into its own file before the other goes on.
  for (let chunk = 0; chunk < CHUNKS; chunk++) {
    const batches: Reading[][] = []
    for (let round = chunk * ROUNDS_A_CHUNK; round < (chunk + 1) * ROUNDS_A_CHUNK; round++) {
      for (let at = 0; at < FLEET; at += BATCH) {
        const sourceMs = T0 + round * STEP_MS + (at % 9_000)
        batches.push(Array.from({ length: BATCH }, (_, i) => reading(keys[at + i] ?? '', sourceMs, sourceMs + 150, valueOf(i, sourceMs / 1_000, noise))))
      }
    }
    for (const batch of batches) commits.push(await timed(() => store.commit(batch)))
    spentMs += await timed(() => checkpoint(join(dir, 'history.db')))
    narrowMs += await timed(() => batches.forEach((batch) => narrow.append(batch)))
    narrowMs += await timed(() => checkpoint(join(dir, 'narrow.db')))
  }
  spentMs += commits.reduce((s, ms) => s + ms, 0)
  const readings = FLEET * ROUNDS_A_CHUNK * CHUNKS
  const rss = process.memoryUsage().rss / 2 ** 20
  const latest = async (): Promise<unknown> => {
    const found = await store.latest(keys)
    if (found.size !== FLEET) throw new Error(`latest gave ${found.size} of ${FLEET}`)
    return found
  }
  await store.close()
  narrow.close()
  const openings: number[] = []
  const restarts: number[] = []
  const restartsNarrow: number[] = []
  for (let round = 0; round < 3; round++) {
    if (round > 0) {
      await store.close()
      narrow.close()
    }
    const opening = await timed(() => (store = openEmbedded({ dir, clock, ...never })))
    openings.push(opening)
    restarts.push(opening + (await timed(latest)))
    restartsNarrow.push(
      await timed(() => {
        narrow = openNarrow(dir)
        narrow.latest(keys)
      }),
    )
  }
  const unsealed = store.stats().unsealed
  const latestMs: number[] = []
  const latestNarrowMs: number[] = []
  for (let round = 0; round < 5; round++) {
    latestMs.push(await timed(latest))
    latestNarrowMs.push(await timed(() => narrow.latest(keys)))
  }
  const sealMs = await timed(() => store.sealAll())
  commits.sort((a, b) => a - b)
  console.log(
    `fleet store: ${readings.toLocaleString('en-US')} readings of ${FLEET.toLocaleString('en-US')} signals; commit of ${BATCH.toLocaleString('en-US')}: p50 ${commits[commits.length >> 1]?.toFixed(1)} ms, p95 ${commits[Math.floor(commits.length * 0.95)]?.toFixed(1)} ms; ` +
      `sealing all of it ${(sealMs / 1_000).toFixed(2)} s; opened in ${Math.round(median(openings))} ms; resident ${Math.round(rss)} MB`,
  )
  const n = `${(readings / 1e6).toFixed(1)} million readings, ${FLEET.toLocaleString('en-US')} signals`
  narrow.close()
  await store.close()
  return [
    {
      bench: 'history.append',
      value: (1_000 * readings) / spentMs,
      unit: 'readings/s',
      baseline: (1_000 * readings) / narrowMs,
      target: 2_000_000,
      better: 'more',
      n: `${n}, batches of 8,000, committed`,
    },
    {
      bench: 'history.appendAndSeal',
      value: (1_000 * readings) / (spentMs + sealMs),
      unit: 'readings/s',
      baseline: (1_000 * readings) / narrowMs,
      target: 1_000_000,
      better: 'more',
      n: `the same, sealing counted in`,
    },
    {
      bench: 'history.latest80k',
      value: median(latestMs),
      unit: 'ms',
      baseline: median(latestNarrowMs),
      target: 200,
      better: 'less',
      n: `${FLEET.toLocaleString('en-US')} signals, median of 5`,
    },
    {
      bench: 'history.restart',
      value: median(restarts),
      unit: 'ms',
      baseline: median(restartsNarrow),
      target: 2_000,
      better: 'less',
      n: `${(unsealed / 1e6).toFixed(1)} million unsealed; until the latest of all is known, median of 3`,
    },
  ]
}

/** One MQTT message, one commit: messages of one reading, and of forty. */
async function messages(dir: string): Promise<Figure[]> {
  const store = openEmbedded({ dir, clock })
  const narrow = openNarrow(dir)
  const noise = new Noise(13)
  const figures: Figure[] = []
  let step = 0
  for (const [bench, size, count] of [
    ['history.commit1', 1, 40_000],
    ['history.commit40', 40, 8_000],
  ] as const) {
    let spentMs = 0
    let narrowMs = 0
    for (let round = 0; round < 4; round++) {
      const sent = Array.from({ length: count / 4 }, (_, m) => {
        step++
        return Array.from({ length: size }, (_, k) => reading(`yard-${m % 200}/signal-${k}`, T0 + step * 1_000, T0 + step * 1_000 + 90, valueOf(k, step, noise)))
      })
      spentMs += await timed(() => sent.forEach((m) => store.commit(m)))
      spentMs += await timed(() => checkpoint(join(dir, 'history.db')))
      narrowMs += await timed(() => sent.forEach((m) => narrow.append(m)))
      narrowMs += await timed(() => checkpoint(join(dir, 'narrow.db')))
    }
    figures.push({
      bench,
      value: (1_000 * count) / spentMs,
      unit: 'commits/s',
      baseline: (1_000 * count) / narrowMs,
      target: size === 1 ? 20_000 : 10_000,
      better: 'more',
      n: `${count.toLocaleString('en-US')} messages of ${size}, one commit each, 200 loops`,
    })
  }
  narrow.close()
  await store.close()
  return figures
}

function checkpoint(path: string): void {
  const db = new Database(path)
  db.pragma('wal_checkpoint(TRUNCATE)')
  db.close()
}

function bytesUsed(dir: string): number {
  const db = new Database(join(dir, 'history.db'), { readonly: true })
  try {
    return usedBytes(db)
  } finally {
    db.close()
  }
}

/** Runs all and gives the figures. */
export async function run(): Promise<readonly Figure[]> {
  const figures: Figure[] = []
  for (const part of [trends, fleet, messages, influx]) {
    const dir = mkdtempSync(join(tmpdir(), 'loopkeeper-bench-'))
    try {
      figures.push(...(await part(dir)))
    } finally {
      rmSync(dir, { recursive: true, force: true })
    }
  }
  return figures
}

console.log(`node ${process.version}, ${cpus().length} cores, load ${loadavg()[0]?.toFixed(1)} before the start`)
printFigures(await run())
