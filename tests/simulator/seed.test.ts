/** Same seed, same bytes; and chance that belongs to a day does not depend on when the run began. */
import { expect, test } from 'vitest'
import { loadFleet } from '../../simulator/fleets/load.ts'
import { buildLoop } from '../../simulator/loop.ts'
import { labels } from '../../simulator/labels.ts'
import { startFill } from '../../simulator/fill.ts'
import { startRun } from '../../simulator/run.ts'
import { draw, normal, prng } from '../../simulator/random.ts'
import { dayStart, vehiclesOf } from '../../simulator/process/washing.ts'
import { weather } from '../../simulator/process/weather.ts'
import { startBroker } from './broker.ts'

const HOUR = 3_600_000
const START = Date.UTC(2026, 10, 24, 8)

/** Everything a whole run publishes, topic by topic, and the truth beside it: history, then live, faults, wear and all. */
async function published(seed: number): Promise<string> {
  const { specs } = loadFleet('demo', seed)
  const broker = await startBroker({})
  broker.open()
  const truth: string[] = []
  const chosen = specs.filter((s) => ['brackfold-refuse-depot', 'ullenwick-bus-north'].includes(s.site.id))
  const run = startRun({
    specs: chosen,
    plan: () => [],
    fixed: chosen.map((s, i) => ({ id: `f${i}`, kind: i === 0 ? 'blower-trip' : 'degreaser', site: s.site.id, onsetMs: START - 3 * HOUR, endMs: START - 2.5 * HOUR })),
    url: broker.url,
    prefix: 'p',
    logins: new Map(),
    clientSuffix: 'here',
    speed: 1,
    pastMs: 5 * HOUR,
    atOnce: true,
    field: true,
    nowMs: () => START,
    labels: labels((line) => truth.push(line)),
    say: () => undefined,
  })
  try {
    await run.live
    const fill = startFill({
      specs: chosen,
      faults: run.early,
      fromMs: run.joinMs - 5 * HOUR,
      toMs: run.joinMs,
      url: broker.url,
      prefix: 'p',
      logins: new Map(),
      clientSuffix: 'past',
      field: true,
      labels: labels((line) => truth.push(line)),
      onTold: () => undefined,
      gate: run.heard,
      say: () => undefined,
    })
    await fill.over
  } finally {
    await run.stop()
    await broker.stop()
  }
  const topics = [...new Set(broker.told.map((t) => t.topic))].sort()
  return JSON.stringify([
    topics.map((topic) =>
      broker.told
        .filter((t) => t.topic === topic)
        .map((t) => t.payload)
        .sort(),
    ),
    truth.sort(),
  ])
}

function bytes(seed: number, id = 'kestrow-berth-3'): string {
  const spec = loadFleet('demo', seed).specs.find((s) => s.site.id === id)
  if (!spec) throw new Error('no such loop')
  const loop = buildLoop(spec, [], START)
  const out: string[] = []
  loop.advance(START + 2 * HOUR, (p) => out.push(p))
  return out.join('\n')
}

test('two runs with one seed send the same bytes, another seed sends others', () => {
  const first = bytes(1)
  expect(first.length).toBeGreaterThan(100_000)
  expect(bytes(1)).toBe(first)
  expect(bytes(2)).not.toBe(first)
})

test('how the time is cut does not matter: one long advance and many short ones send the same bytes', () => {
  const spec = loadFleet('demo', 5).specs.find((s) => s.site.id === 'bramscar-slate-yard')
  if (!spec) throw new Error('no such loop')
  const cut = (pieceMs: number): string => {
    const loop = buildLoop(spec, [], START)
    const out: string[] = []
    for (let t = START; t < START + 2 * HOUR; t += pieceMs) loop.advance(Math.min(t + pieceMs, START + 2 * HOUR), (p) => out.push(p))
    return out.join('\n')
  }
  expect(cut(2 * HOUR)).toBe(cut(7_300))
})

test('numbers of the stream are even, in order and bounded; normal ones have mean 0 and deviation 1', () => {
  const next = prng(42, 'x')
  let sum = 0
  let square = 0
  const bins = Array.from({ length: 10 }, () => 0)
  for (let i = 0; i < 50_000; i++) {
    const u = next()
    if (!(u >= 0 && u < 1)) throw new Error(`${u} out of range`)
    bins[Math.floor(u * 10)] = (bins[Math.floor(u * 10)] ?? 0) + 1
    const z = normal(next)
    sum += z
    square += z * z
  }
  for (const b of bins) expect(Math.abs(b - 5000)).toBeLessThan(350)
  expect(Math.abs(sum / 50_000)).toBeLessThan(0.02)
  expect(Math.abs(square / 50_000 - 1)).toBeLessThan(0.03)
  const days = Array.from({ length: 20_000 }, (_, i) => draw(9, 'wet', i))
  expect(Math.abs(days.reduce((a, b) => a + b, 0) / 20_000 - 0.5)).toBeLessThan(0.01)
})

test('the weather of a moment is the same in whatever order it is asked, and rain adds up to its year', () => {
  const climate = { meanC: 10, seasonC: 6, dayC: 3, warmestDay: 200, strayC: 2, rainMmPerYear: 800, rainDaysPerYear: 140, humidity: 0.7, longitude: 0 }
  const a = weather(climate, 3)
  const b = weather(climate, 3)
  const at = START + 5 * 24 * HOUR
  const first = { ...a(at) }
  b(at + 400 * 24 * HOUR)
  expect({ ...b(at) }).toEqual(first)
  let mm = 0
  let warmest = -99
  let coldest = 99
  for (let t = 0; t < 6 * 365 * 24; t += 0.25) {
    const sky = a(t * HOUR)
    mm += sky.rainMmPerH * 0.25
    warmest = Math.max(warmest, sky.airC)
    coldest = Math.min(coldest, sky.airC)
  }
  expect(mm / 6).toBeGreaterThan(600)
  expect(mm / 6).toBeLessThan(1000)
  expect(warmest).toBeGreaterThan(18)
  expect(warmest).toBeLessThan(32)
  expect(coldest).toBeGreaterThan(-12)
  expect(coldest).toBeLessThan(3)
})

test('vehicles come in opening hours of the yard’s own zone, one after the other, across the change of the clocks too', () => {
  const washing = {
    zone: 'America/Chicago',
    open: [1, 2, 3, 4, 5].map((day) => ({ day, fromMin: 11 * 60, toMin: 23 * 60 })),
    vehicleL: 600,
    vehiclesPerDay: 14,
    weekdays: [1, 1, 1, 1, 1, 1, 1],
    hours: Array.from({ length: 24 }, () => 1),
    trigger: 0.8,
    lanceLPerMin: 23,
  }
  const clock = new Intl.DateTimeFormat('en-GB', { timeZone: 'America/Chicago', weekday: 'short', hour: '2-digit', hourCycle: 'h23' })
  let seen = 0
  // 1 November 2026 is the day the clocks go back in Chicago.
  for (let day = Date.UTC(2026, 9, 26, 12); day < Date.UTC(2026, 10, 9); day += 24 * HOUR) {
    const list = vehiclesOf(washing, 11, day)
    list.forEach((v, i) => {
      seen++
      const text = clock.format(v.fromMs)
      expect(text).not.toMatch(/Sat|Sun/)
      const hour = Number(/(\d\d)$/.exec(text)?.[1])
      expect(hour).toBeGreaterThanOrEqual(11)
      expect(hour).toBeLessThan(23)
      expect(v.toMs).toBeGreaterThan(v.fromMs)
      const before = list[i - 1]
      if (before) expect(v.fromMs).toBeGreaterThanOrEqual(before.toMs)
    })
  }
  expect(seen).toBeGreaterThan(60)
})

test('a local day begins at its own midnight, on the days of 23 and 25 hours as well', () => {
  expect(dayStart('Europe/Berlin', Date.UTC(2026, 2, 29, 12))).toBe(Date.UTC(2026, 2, 28, 23))
  expect(dayStart('Europe/Berlin', Date.UTC(2026, 2, 30, 12))).toBe(Date.UTC(2026, 2, 29, 22))
  expect(dayStart('America/Chicago', Date.UTC(2026, 10, 1, 20))).toBe(Date.UTC(2026, 10, 1, 5))
  expect(dayStart('Australia/Hobart', Date.UTC(2026, 10, 25, 3))).toBe(Date.UTC(2026, 10, 24, 13))
})

test('a whole run with one seed publishes the same bytes on every topic and writes the same truth; another seed does not', async () => {
  const first = await published(1)
  expect(first.length).toBeGreaterThan(100_000)
  expect(await published(1)).toBe(first)
  expect(await published(2)).not.toBe(first)
}, 180_000)
