/**
 * What vitals cost: two thousand rich loops at design load (some 42 signals each, every 10 s), with their readings from simulated loops, taken as the
 * keeper takes them. CPU of this process; others on the machine do not count. Baseline: the plainest thing one would write, newest value per
 * signal in a map and one saturation a minute for each loop, over the same readings.
 */
import { setFlagsFromString } from 'node:v8'
import { runInNewContext } from 'node:vm'
import { saturationMgPerL } from '../../gateway/process/oxygen.ts'
import { keyOf, type Reading } from '../../gateway/site/reading.ts'
import type { Site } from '../../gateway/site/site.ts'
import { startVitals } from '../../gateway/vitals-keeper.ts'
import { loadFleet } from '../../simulator/fleets/load.ts'
import { buildLoop } from '../../simulator/loop.ts'
import { median, printFigures } from './figure.ts'

const LOOPS = 100
const FLEET = 2000
const MINUTES = 15
const ROUNDS = 5
const START = Date.UTC(2026, 8, 1, 9)
const ROW_MS = 10_000

const spec = loadFleet('demo', 1).specs.find((s) => s.site.instrumentation === 'rich')
if (!spec) throw new Error('no rich loop in the demo fleet')
const loop = buildLoop(spec, [], START - 86_400_000)
loop.advance(START, null)
const rows: { readonly atMs: number; readonly values: readonly (number | null)[] }[] = []
for (let atMs = START; atMs < START + (ROUNDS + 1) * MINUTES * 60_000; atMs += ROW_MS) {
  loop.advance(atMs + ROW_MS, null)
  rows.push({ atMs: atMs + ROW_MS, values: loop.instruments.map((i) => i.read(loop.plant)) })
}
const sites: Site[] = Array.from({ length: LOOPS }, (_, i) => ({ ...spec.site, id: `loop-${i}` }))

/** One message per loop and row. */
function messages(round: number): Reading[][] {
  const perRound = (MINUTES * 60_000) / ROW_MS
  return rows.slice(round * perRound, (round + 1) * perRound).flatMap((r) =>
    sites.map((s, n) =>
      loop.instruments.map((i, k): Reading => {
        const value = r.values[k] ?? null
        const atMs = r.atMs + n
        return {
          key: keyOf(s.id, i.signal.id),
          sourceMs: atMs,
          receivedMs: atMs + 200,
          value,
          quality: value === null ? 'bad' : 'good',
          sub: value === null ? 'not_connected' : 'ok',
          qc: value === null ? 9 : 1,
          clock: 'ok',
          live: true,
        }
      }),
    ),
  )
}

const cpuMs = (): number => {
  const { user, system } = process.cpuUsage()
  return (user + system) / 1000
}

setFlagsFromString('--expose-gc')
const sweep = runInNewContext('gc') as () => void
const heapKb = (): number => {
  sweep()
  return process.memoryUsage().heapUsed / 1024
}

let given = 0
const heapBefore = heapKb()
const keeper = startVitals({
  sites: new Map(sites.map((s) => [s.id, s])),
  files: { read: () => null, write: () => true },
  emit: () => undefined,
  history: {
    async append(batch) {
      given += batch.length
      return { stored: batch.length, duplicate: 0, conflict: 0 }
    },
  },
})
const newest = new Map<string, number | null>()
let plainSum = 0

/** % of a core for the whole fleet, from CPU time spent on so many minutes of some of its loops. */
const share = (ms: number): number => (100 * ms * (FLEET / LOOPS)) / (MINUTES * 60_000)

const ours: number[] = []
const plain: number[] = []
let readings = 0
/** CPU ms of ours and of the plain one. In a function of its own, so that its readings are gone when memory is looked at. */
async function run(round: number): Promise<{ readonly mine: number; readonly bare: number }> {
  const batch = messages(round)
  readings = batch.reduce((n, m) => n + m.length, 0)
  const from = cpuMs()
  batch.forEach((m, i) => {
    keeper.onReadings(m)
    if (i % (10 * LOOPS) === 0) keeper.tick()
  })
  const mine = cpuMs() - from
  await new Promise((done) => setImmediate(done))
  const base = cpuMs()
  batch.forEach((m, i) => {
    for (const r of m) newest.set(r.key, r.value)
    if (Math.floor(i / LOOPS) % 6 === 0) {
      const site = m[0]?.key.slice(0, m[0].key.indexOf('/')) ?? ''
      plainSum += (newest.get(`${site}/tu.do`) ?? 0) / saturationMgPerL(newest.get(`${site}/tu.temperature`) ?? 20)
    }
  })
  return { mine, bare: cpuMs() - base }
}

for (let round = 0; round <= ROUNDS; round++) {
  const { mine, bare } = await run(round)
  // The first round warms up.
  if (round === 0) continue
  ours.push(share(mine))
  plain.push(share(bare))
}
keeper.tick()
await new Promise((done) => setImmediate(done))
if (given === 0 || !(plainSum > 0)) throw new Error('no vital was given: the bench measures nothing')
const seconds = MINUTES * 60
console.log(
  `${LOOPS} loops of ${loop.instruments.length} signals stand for ${FLEET}: ${Math.round((readings / seconds) * (FLEET / LOOPS)).toLocaleString('en-US')} readings/s; ${given.toLocaleString('en-US')} vitals given`,
)
newest.clear()
const perLoop = (heapKb() - heapBefore) / LOOPS
const bytes = JSON.stringify(keeper.of('loop-0')).length
printFigures([
  {
    bench: 'process.fleetCpuPct',
    value: median(ours),
    unit: '% of a core',
    baseline: median(plain),
    target: 10,
    better: 'less',
    n: `${ROUNDS} rounds of ${MINUTES} min of ${LOOPS} loops, scaled to ${FLEET}`,
  },
  { bench: 'process.loopKb', value: perLoop, unit: 'KB', baseline: null, target: 200, better: 'less', n: `heap of ${LOOPS} loops after ${(ROUNDS + 1) * MINUTES} min, divided` },
  { bench: 'process.explainBytes', value: bytes, unit: 'bytes', baseline: null, target: null, better: 'less', n: 'everything the page is told of the vitals of a rich loop' },
])
