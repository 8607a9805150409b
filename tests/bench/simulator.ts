/**
 * What simulating costs: a loop-day with its instruments, five hundred loops on the clock, ninety days of eight loops filled into a
 * broker, and 80,000 signals published. Times are CPU seconds of the process that does it, so that a busy machine does not count; the
 * filled ninety days are also on the wall. Baselines stand beside them from the same run.
 */
import { type ChildProcess, fork } from 'node:child_process'
import { fileURLToPath } from 'node:url'
import { generatedFleet, loadFleet } from '../../simulator/fleets/load.ts'
import { past } from '../../simulator/fleets/past.ts'
import { openLink } from '../../simulator/link.ts'
import { buildLoop, type Loop } from '../../simulator/loop.ts'
import { prng } from '../../simulator/random.ts'
import { startFill } from '../../simulator/fill.ts'
import { startRun } from '../../simulator/run.ts'
import { type Figure, median, printFigures } from './figure.ts'

const HOUR = 3_600_000
const DAY = 24 * HOUR
const START = Date.UTC(2026, 8, 1)

/** CPU seconds this process has used. */
const cpuS = (): number => {
  const { user, system } = process.cpuUsage()
  return (user + system) / 1e6
}

/** The cheapest thing that ticks as a loop does: as many steps, each calling what a loop of this many tanks calls, doing nothing. */
function emptySteps(steps: number): number {
  const from = cpuS()
  const tanks = Array.from({ length: 5 }, () => new Float64Array(16).fill(1))
  let sum = 0
  for (let i = 0; i < steps; i++)
    for (const t of tanks) {
      for (let k = 0; k < 16; k++) t[k] = (t[k] ?? 0) * 0.999_999
      sum += t[0] ?? 0
    }
  if (!Number.isFinite(sum)) throw new Error('no sum')
  return cpuS() - from
}

function loopDay(): Figure {
  const fleet = loadFleet('demo', 1)
  const spec = fleet.specs.find((s) => s.site.instrumentation === 'rich')
  if (!spec) throw new Error('no rich loop in the demo fleet')
  const loop = buildLoop(spec, [], START, { tell: () => undefined })
  loop.advance(START + DAY, null)
  let messages = 0
  const runs = Array.from({ length: 7 }, (_, i) => {
    const from = cpuS()
    loop.advance(START + (2 + i) * DAY, () => messages++)
    return (cpuS() - from) * 1000
  })
  return {
    bench: 'simulator.loopDay',
    value: median(runs),
    unit: 'ms CPU',
    baseline: emptySteps(8640) * 1000,
    target: 150,
    better: 'less',
    n: `median of 7 days of a rich loop, ${Math.round(messages / 7)} messages of ${spec.site.signals.length} readings a day; baseline: as many steps of five idle tanks`,
  }
}

function fiveHundred(): Figure {
  const specs = generatedFleet(500, 1).specs
  const loops = specs.map((s) => buildLoop(s, [], START, { tell: () => undefined }))
  const plantS = 600
  const send = (): void => undefined
  // Warm up on ten minutes, measure the ten after: beat by beat, as live.
  const run = (fromMs: number): number => {
    const from = cpuS()
    for (let s = 10; s <= plantS; s += 10) for (const l of loops) l.advance(fromMs + s * 1000, send)
    return cpuS() - from
  }
  run(START)
  const used = run(START + plantS * 1000)
  return {
    bench: 'simulator.loops500CpuPct',
    value: (100 * used) / plantS,
    unit: '% of a core',
    baseline: (100 * emptySteps((500 * plantS) / 10)) / plantS,
    target: 100,
    better: 'less',
    n: `${plantS} s of 500 generated loops with their messages; baseline: as many steps of five idle tanks`,
  }
}

interface Broker {
  readonly url: string
  readonly process: ChildProcess
}

async function broker(): Promise<Broker> {
  const child = fork(fileURLToPath(new URL('simulator-broker.ts', import.meta.url)), { execArgv: ['--import', 'tsx'] })
  const port = await new Promise<number>((ready, no) => {
    child.once('message', (m) => ready(Number(m)))
    child.once('exit', (code) => no(new Error(`the broker ended with ${code}`)))
  })
  return { url: `mqtt://127.0.0.1:${port}`, process: child }
}

async function fill(): Promise<readonly Figure[]> {
  const b = await broker()
  const { specs } = loadFleet('demo', 1)
  const nowMs = Date.UTC(2026, 10, 25, 9)
  const fromCpu = cpuS()
  const fromMs = performance.now()
  const run = startRun({
    specs,
    plan: () => [],
    fixed: past(specs, nowMs, 90),
    url: b.url,
    prefix: 'loopkeeper/v1',
    logins: new Map(),
    clientSuffix: 'bench',
    speed: 1,
    pastMs: 90 * 86_400_000,
    atOnce: true,
    field: true,
    nowMs: () => nowMs,
    labels: null,
    say: () => undefined,
  })
  const past90 = startFill({
    specs,
    faults: run.early,
    fromMs: run.joinMs - 90 * 86_400_000,
    toMs: run.joinMs,
    url: b.url,
    prefix: 'loopkeeper/v1',
    logins: new Map(),
    clientSuffix: 'bench-past',
    field: true,
    labels: null,
    onTold: () => undefined,
    gate: run.heard,
    say: () => undefined,
  })
  await past90.over
  const wallS = (performance.now() - fromMs) / 1000
  const usedS = cpuS() - fromCpu
  const told = `${past90.counters().sent} messages acknowledged, ${past90.counters().dropped} dropped`
  await run.stop()
  b.process.kill()
  const idle = emptySteps(93 * 8640 * 8)
  return [
    {
      bench: 'simulator.fill90d',
      value: wallS,
      unit: 's',
      baseline: idle,
      target: 120,
      better: 'less',
      n: `90 days of 8 loops in one process, with settling and the live run beside it, ${told}; baseline: as many steps of five idle tanks`,
    },
    { bench: 'simulator.fill90dCpu', value: usedS, unit: 's CPU', baseline: idle, target: 120, better: 'less', n: 'the same run, without what others did on the machine' },
  ]
}

/** Two thousand rich loops of forty signals on a beat of ten seconds, each row one message: 200 messages a second of 40 readings. */
async function publish(): Promise<readonly Figure[]> {
  const b = await broker()
  const model = loadFleet('demo', 1).specs.find((s) => s.site.instrumentation === 'rich')
  if (!model) throw new Error('no rich loop in the demo fleet')
  const site = { ...model.site, signals: model.site.signals.slice(0, 40).map((s) => ({ ...s, sampleEveryMs: 10_000, reportEveryMs: 10_000 })) }
  const seconds = 30
  // Connections are shared, fifty loops each: what is measured is the plants and their messages, not two thousand handshakes.
  const links = Array.from({ length: 40 }, (_, i) =>
    openLink({
      url: b.url,
      site: `yard-${i}`,
      login: null,
      clientSuffix: 'bench',
      topic: `loopkeeper/v1/yard-${i}`,
      queue: 5000,
      inFlight: 40,
      next: prng(1, 'bench'),
      say: () => undefined,
    }),
  )
  const loops: Loop[] = Array.from({ length: 2000 }, (_, i) => buildLoop({ ...model, site: { ...site, id: `yard-${i}` }, seed: i }, [], START, { tell: () => undefined }))
  const live = async (send: (i: number, plantMs: number) => void): Promise<number> => {
    const fromCpu = cpuS()
    const fromMs = performance.now()
    for (;;) {
      const plantMs = Math.min(seconds * 1000, performance.now() - fromMs)
      loops.forEach((_, i) => send(i, plantMs))
      if (plantMs >= seconds * 1000) break
      await new Promise((r) => setTimeout(r, 100))
    }
    await Promise.all(links.map((l) => l.drained(0)))
    return ((cpuS() - fromCpu) / seconds) * 100
  }
  const sample: string[] = []
  for (const l of loops) l.advance(START + 10_000, (text) => sample.push(text))
  const before = links.reduce((s, l) => s + l.counters.sent, 0)
  let startMs = START + 10_000
  const used = await live((i, plantMs) => loops[i]?.advance(startMs + plantMs, links[i % links.length]?.send ?? (() => undefined)))
  const sent = links.reduce((s, l) => s + l.counters.sent, 0) - before
  startMs += seconds * 1000
  // The bare publisher: the same bytes at the same pace, made beforehand.
  const text = sample[0] ?? ''
  const next = loops.map((_, i) => i * 5)
  const bare = await live((i, plantMs) => {
    while ((next[i] ?? 0) <= plantMs) {
      links[i % links.length]?.send(text)
      next[i] = (next[i] ?? 0) + 10_000
    }
  })
  await Promise.all(links.map((l) => l.close()))
  b.process.kill()
  const perS = (sent * 40) / seconds
  return [
    {
      bench: 'simulator.publish',
      value: perS,
      unit: 'readings/s',
      baseline: 8000,
      target: 7900,
      better: 'more',
      n: `2,000 loops x 40 signals for ${seconds} s, ${sent} messages acknowledged; baseline: what the beat asks for`,
    },
    {
      bench: 'simulator.publishCpuPct',
      value: used,
      unit: '% of a core',
      baseline: bare,
      target: 100,
      better: 'less',
      n: 'the same run; baseline: a bare publisher of the same bytes',
    },
  ]
}

const figures: Figure[] = [loopDay(), fiveHundred(), ...(await publish()), ...(await fill())]
printFigures(figures)
process.exit(0)
