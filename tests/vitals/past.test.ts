import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { expect, onTestFinished, test } from 'vitest'
import { openEmbedded, type EmbeddedHistory } from '../../gateway/history/embedded.ts'
import type { HistoryReading } from '../../gateway/history/history.ts'
import type { LogEntry } from '../../gateway/log/entry.ts'
import { keyOf, type Reading } from '../../gateway/site/reading.ts'
import type { Site } from '../../gateway/site/site.ts'
import { createVitals, type Vitals } from '../../gateway/vitals/evaluator.ts'
import { holesOf, inOrder, SLOT_MS, within } from '../../gateway/vitals/past.ts'
import { startVitals } from '../../gateway/vitals-keeper.ts'
import { openVitalFiles } from '../../gateway/vitals-files.ts'
import { startVitalsPast, type VitalsPast } from '../../gateway/vitals-past.ts'
import { openPastFiles } from '../../gateway/vitals-past-files.ts'
import { DAY, good, HOUR, MIN, specOf, START } from './plant.ts'
import { buildLoop } from '../../simulator/loop.ts'
import { siteOf } from './tank.ts'

const small = siteOf('  tu.do:\n  tu.temperature:\n  hp.run:\n  hp.volume: { name: Wash water, resolution: 10 }')

/** Rows of the small tank, a minute apart. */
const rows = (fromM: number, toM: number): Reading[] =>
  Array.from({ length: toM - fromM }, (_, i) => fromM + i).flatMap((m) => [
    good(keyOf('tank', 'tu.do'), START + m * MIN, 8 - (m % 7) / 10),
    good(keyOf('tank', 'tu.temperature'), START + m * MIN, 18),
    good(keyOf('tank', 'hp.run'), START + m * MIN, 0),
    good(keyOf('tank', 'hp.volume'), START + m * MIN, 100 + m),
  ])

/** Rows of a simulated loop with an air-off test every night, dosing and washing, as its controller would send them. */
function plantRows(name: string, days: number): { readonly site: Site; readonly readings: readonly Reading[] } {
  const spec = specOf(name)
  const loop = buildLoop(spec, [], START - DAY)
  loop.advance(START, null)
  const readings: Reading[] = []
  for (let atMs = START + MIN; atMs <= START + days * DAY; atMs += MIN) {
    loop.advance(atMs, null)
    // A timer stops the air for a quarter of an hour before dawn there, when nothing moves; oxygen falls by 9 mg/L/h and comes back at 4 /h.
    const minute = ((atMs / MIN) % 1440) - 1020
    for (const i of loop.instruments) {
      const value = i.read(loop.plant)
      const { id } = i.signal
      const still = minute >= 0 && minute < 15 && /^blower|run$/.test(id)
      const fall = minute >= 0 && minute < 15 ? 0.15 * minute : 2.25 * Math.exp((-4 * (minute - 15)) / 60)
      const test = id === 'tu.do' && minute >= -10 && minute < 160 ? Math.round(10 * (8 - (minute < 0 ? 0 : fall))) / 10 : null
      readings.push(good(keyOf(spec.site.id, id), atMs, still ? 0 : (test ?? value)))
    }
  }
  return { site: spec.site, readings }
}

interface House {
  readonly past: VitalsPast
  readonly history: EmbeddedHistory
  readonly keeper: ReturnType<typeof startVitals>
  /** Lets seconds pass until nothing is left to do; gives how many. */
  settle(most?: number): Promise<number>
  /** So many seconds. */
  seconds(n: number): Promise<void>
  count(name: string): number
  computed(): Promise<ReadonlyMap<string, readonly HistoryReading[]>>
}

const folder = (): string => {
  const dir = mkdtempSync(join(tmpdir(), 'vitals-past-'))
  onTestFinished(() => rmSync(dir, { recursive: true, force: true }))
  return dir
}
const storeIn = (dir: string): EmbeddedHistory => {
  const history = openEmbedded({ dir, clock: { nowMs: () => START, steadyMs: () => 0 } })
  onTestFinished(() => history.close())
  return history
}

function house(
  dir: string,
  history: EmbeddedHistory,
  site: Site,
  nowMs: number,
  o: { readonly entries?: readonly LogEntry[]; readonly over?: Partial<EmbeddedHistory> } = {},
): House {
  let steadyMs = 0
  const clock = { nowMs: () => nowMs + steadyMs, steadyMs: () => steadyMs }
  const sites = new Map([[site.id, site]])
  const store = { ...history, ...o.over }
  const keeper = startVitals({ sites, files: openVitalFiles(join(dir, 'vitals')), history: store, emit: () => undefined })
  const log = { list: async () => (o.entries ?? []).toReversed() }
  const past = startVitalsPast({ sites, clock, files: openPastFiles(join(dir, 'vitals')), history: store, log, live: keeper })
  const count = (name: string): number => past.counters().find((c) => c.name === name)?.value ?? Number.NaN
  const second = async (): Promise<void> => {
    steadyMs += 1000
    past.tick()
    for (let i = 0; i < 40; i++) await new Promise((done) => setImmediate(done))
  }
  return {
    past,
    history,
    keeper,
    count,
    async settle(most = 40_000) {
      steadyMs += 2 * MIN
      for (let n = 0; n < most; n++) {
        if (count('vitalsPastWaiting') === 0) return n
        await second()
      }
      throw new Error(`still at work after ${most} s: ${JSON.stringify(past.counters())} ${past.troubles().join()}`)
    },
    async seconds(n) {
      for (let i = 0; i < n; i++) await second()
    },
    async computed() {
      const out = new Map<string, readonly HistoryReading[]>()
      for (const d of createVitals(site).defs) {
        const key = keyOf(site.id, d.id)
        const all = await history.range(key, 0, 2 ** 44, 1_000_000)
        if (all.length > 0) out.set(key, all)
      }
      return out
    },
  }
}

/** What vitals that heard everything live have given. */
function liveOf(site: Site, readings: readonly Reading[], entries: readonly LogEntry[] = []): ReadonlyMap<string, readonly HistoryReading[]> {
  const vitals: Vitals = createVitals(site)
  const out = new Map<string, HistoryReading[]>()
  const rest = [...entries]
  for (const r of readings) {
    while ((rest[0]?.atMs ?? Number.POSITIVE_INFINITY) <= r.sourceMs) vitals.note(rest.shift() as LogEntry)
    for (const { key, sourceMs, receivedMs, value, quality, sub, qc } of vitals.take([r])) {
      const list = out.get(key) ?? []
      list.push({ sourceMs, receivedMs, value, quality, sub, qc })
      out.set(key, list)
    }
  }
  return out
}
const before = (all: ReadonlyMap<string, readonly HistoryReading[]>, ms: number): Map<string, readonly HistoryReading[]> =>
  new Map([...all].map(([k, v]) => [k, v.filter((r) => r.sourceMs < ms)] as const).filter(([, v]) => v.length > 0))

const kit: LogEntry = {
  id: 1,
  site: 'bramscar-slate-yard',
  kind: 'kit',
  atMs: START + 3 * DAY + 90_000,
  item: 'alkalinity',
  value: 110,
  unit: 'mg/L',
  by: 'R. Vane',
  recordedMs: START + 3 * DAY + 90_000,
}
const wrong: LogEntry = { ...kit, id: 2, value: 11, atMs: START + 5 * DAY }
const right: LogEntry = { ...kit, id: 3, value: 100, atMs: START + 5 * DAY, corrects: 2, recordedMs: START + 6 * DAY }

test('gone through again, the readings of nine days give the computed readings that they gave live: every one, with its times, value and quality', async () => {
  const { site, readings } = plantRows('bramscar-slate-yard', 9)
  const dir = folder()
  const h = house(dir, storeIn(dir), site, START + 9 * DAY, { entries: [kit] })
  await h.history.append(readings)
  await h.history.sealAll()
  await h.settle()
  const live = liveOf(site, readings, [kit])
  expect([...live.keys()].filter((k) => /uptake$|uptake.like|time-left|alkalinity|wash.volume|saturation/.test(k))).toHaveLength(6)
  expect(await h.computed()).toEqual(before(live, START + 9 * DAY))
  expect(h.past.troubles()).toEqual([])
  // All of it once more changes nothing: all is told.
  const again = house(folder(), h.history, site, START + 9 * DAY)
  const held = await h.computed()
  await again.settle()
  expect(again.count('vitalsPastGiven')).toBe(0)
  expect(await h.computed()).toEqual(held)
})

test('an entry of the log that a later one puts right is not believed in the past either', async () => {
  const { site, readings } = plantRows('bramscar-slate-yard', 6)
  const dir = folder()
  const h = house(dir, storeIn(dir), site, START + 6 * DAY, { entries: [kit, wrong, right] })
  await h.history.append(readings)
  await h.settle()
  const told = (await h.computed()).get(keyOf(site.id, 'tu.alkalinity'))?.map((r) => r.value)
  expect(new Set(told)).toEqual(new Set([110, 100]))
})

test('stopped in the middle and started again it goes on where it was, and the same is stored as without the stop', async () => {
  const { site, readings } = plantRows('bramscar-slate-yard', 6)
  const whole = folder()
  const one = house(whole, storeIn(whole), site, START + 6 * DAY)
  await one.history.append(readings)
  await one.settle()
  const dir = folder()
  const history = storeIn(dir)
  await history.append(readings)
  let gone = 0
  for (let stops = 0; stops < 6; stops++) {
    const h = house(dir, history, site, START + 6 * DAY)
    for (let n = 0; n < 400 && h.count('vitalsPastReadings') < 30_000; n++) await h.seconds(1)
    await h.past.stop()
    gone += h.count('vitalsPastReadings')
  }
  const last = house(dir, history, site, START + 6 * DAY)
  await last.settle()
  gone += last.count('vitalsPastReadings')
  const h = house(dir, history, site, START + 6 * DAY)
  expect(await h.computed()).toEqual(await one.computed())
  // Of the work at most a slice is done twice for each stop.
  expect(gone).toBeGreaterThanOrEqual(readings.length)
  expect(gone).toBeLessThan(readings.length + 6 * 20_000)
  expect(history.stats().conflicts).toBe(0)
})

test('what was computed live stays as it is, also where it differs, and nothing is put between', async () => {
  const dir = folder()
  const h = house(dir, storeIn(dir), small, START + 3 * DAY)
  await h.history.append(rows(0, 3 * 1440))
  // Live vitals were there on the second day, and told something else.
  const key = keyOf('tank', 'tu.do.saturation')
  const told = Array.from({ length: 96 }, (_, i) => good(key, START + DAY + i * 15 * MIN, 12.5))
  await h.history.append(told)
  await h.settle()
  const held = (await h.computed()).get(key) ?? []
  expect(held.filter((r) => r.sourceMs >= START + DAY && r.sourceMs < START + 2 * DAY).map((r) => [r.sourceMs, r.value])).toEqual(told.map((r) => [r.sourceMs, 12.5]))
  for (const d of [0, 2]) expect(held.filter((r) => r.sourceMs >= START + d * DAY && r.sourceMs < START + (d + 1) * DAY).length, `day ${d}`).toBeGreaterThan(500)
  expect(h.history.stats().conflicts).toBe(0)
})

test('live vitals that have just begun take over what the past has taught, without a reading lost between; those that know a week go on as they are', async () => {
  const dir = folder()
  const history = storeIn(dir)
  await history.append(rows(0, 8 * 1440))
  let whileRead: (() => Promise<void>) | null = null
  const h = house(dir, history, small, START + 8 * DAY + 5 * MIN, {
    over: {
      async range(key, fromMs, toMs, limit) {
        const found = await history.range(key, fromMs, toMs, limit)
        // The last slice has been read of every signal, and is not gone through yet.
        if (key.endsWith('hp.volume') && toMs > START + 9 * DAY) await whileRead?.()
        return found
      },
    },
  })
  const message = async (m: number): Promise<void> => {
    const row = rows(m, m + 1)
    await history.append(row)
    h.keeper.onReadings(row)
    h.past.onReadings(row)
  }
  for (let m = 8 * 1440; m < 8 * 1440 + 5; m++) await message(m)
  const volume = () => h.keeper.of('tank').find((v) => v.def.id === 'wash.volume')?.outcome
  expect(h.keeper.sinceMs('tank')).toBe(START + 8 * DAY)
  // Rows come in while it is at work, many of them between the last reading of the history and the exchange.
  let next = 8 * 1440 + 5
  whileRead = async () => {
    while (next < 8 * 1440 + 200) await message(next++)
  }
  await h.settle()
  expect(next).toBe(8 * 1440 + 200)
  expect(h.keeper.sinceMs('tank')).toBe(START)
  const whole = createVitals(small)
  whole.take(rows(0, 8 * 1440 + 200))
  expect(openVitalFiles(join(dir, 'vitals')).read('tank')).toEqual(JSON.parse(JSON.stringify(whole.keep())))
  for (let m = 8 * 1440 + 200; m < 8 * 1440 + 300; m++) await message(m)
  whole.take(rows(8 * 1440 + 200, 8 * 1440 + 300))
  expect(volume()).toEqual(whole.explain('wash.volume')?.outcome)
  expect(volume()).toMatchObject({ kind: 'told' })
  // A month later rows of before come in: the live vitals keep what they know.
  const old = openVitalFiles(join(dir, 'vitals')).read('tank')
  openPastFiles(join(dir, 'vitals')).remove('tank')
  await history.append([good(keyOf('tank', 'tu.do'), START - 2 * DAY, 8), good(keyOf('tank', 'tu.do'), START - DAY, 8)])
  const later = house(dir, history, small, START + 30 * DAY)
  await later.settle()
  expect(later.count('vitalsPastLoops')).toBe(1)
  expect(later.keeper.sinceMs('tank')).toBe(START)
  expect(openVitalFiles(join(dir, 'vitals')).read('tank')).toEqual(old)
})

test('readings of the past that come in behind live ones are waited for until they have settled, then gone through', async () => {
  const dir = folder()
  const history = storeIn(dir)
  const nowMs = START + 5 * DAY
  const h = house(dir, history, small, nowMs)
  await h.settle()
  expect(h.count('vitalsPastLoops')).toBe(0)
  for (let d = 0; d < 5; d++) {
    const block = rows(d * 1440, (d + 1) * 1440).map((r) => ({ ...r, receivedMs: nowMs, live: false }))
    await history.append(block)
    h.past.onReadings(block)
    await h.seconds(60)
    expect(h.count('vitalsPastReadings'), `after ${d + 1} days`).toBe(0)
  }
  // Known also to whoever starts next.
  expect(openPastFiles(join(dir, 'vitals')).read('tank')).toMatchObject({ again: true, underWay: null })
  await h.settle()
  expect(h.count('vitalsPastLoops')).toBe(1)
  expect((await h.computed()).get(keyOf('tank', 'tu.do.saturation'))?.[0]?.sourceMs).toBeLessThan(START + HOUR)
  // A few more each hour are not gone through each hour.
  h.past.onReadings([{ ...rows(0, 1)[0]!, receivedMs: nowMs }])
  await h.seconds(400)
  expect(h.count('vitalsPastLoops')).toBe(1)
  expect(h.count('vitalsPastWaiting')).toBe(1)
})

test('no more is held at once than a slice, no more done in a second than its share, whatever lies in the history', async () => {
  const dir = folder()
  const history = storeIn(dir)
  await history.append(rows(0, 20 * 1440))
  // One signal far denser than its site file says.
  await history.append(Array.from({ length: 60_000 }, (_, i) => good(keyOf('tank', 'tu.do'), START + 9 * DAY + i * 1000 + 7, 8)))
  let most = 0
  const h = house(dir, history, small, START + 20 * DAY, {
    over: {
      async range(key, fromMs, toMs, limit) {
        const found = await history.range(key, fromMs, toMs, limit)
        most = Math.max(most, found.length)
        return found
      },
    },
  })
  let perSecond = 0
  for (let n = 0; n < 20_000 && h.count('vitalsPastLoops') === 0; n++) {
    const was = h.count('vitalsPastReadings')
    await h.seconds(1)
    perSecond = Math.max(perSecond, h.count('vitalsPastReadings') - was)
  }
  expect(h.count('vitalsPastReadings')).toBe(20 * 1440 * 4 + 60_000)
  expect(most).toBeLessThanOrEqual(4000)
  expect(perSecond).toBeLessThanOrEqual(50_000)
})

test('while the history takes nothing, what is computed of the past waits and is offered again; nothing is missing in the end', async () => {
  const dir = folder()
  const history = storeIn(dir)
  await history.append(rows(0, 2 * 1440))
  const state = { full: true }
  const h = house(dir, history, small, START + 2 * DAY, { over: { append: async (batch) => (state.full ? Promise.reject(new Error('the disk is full')) : history.append(batch)) } })
  await h.seconds(300)
  expect(h.count('vitalsPastRefused')).toBeGreaterThan(0)
  expect(await h.computed()).toEqual(new Map())
  state.full = false
  await h.settle()
  expect(await h.computed()).toEqual(before(liveOf(small, rows(0, 2 * 1440)), START + 2 * DAY))
})

test('a site file changed meanwhile: it goes on by the new one, and a loop taken away is left', async () => {
  const dir = folder()
  const history = storeIn(dir)
  await history.append(rows(0, 6 * 1440))
  const h = house(dir, history, small, START + 6 * DAY)
  for (let n = 0; n < 500 && h.count('vitalsPastReadings') < 12_000; n++) await h.seconds(1)
  const grown: Site = { ...small, name: 'Tank, renamed' }
  h.past.follow(new Map([[grown.id, grown]]))
  await h.settle()
  expect(await h.computed()).toEqual(before(liveOf(small, rows(0, 6 * 1440)), START + 6 * DAY))
  h.past.follow(new Map())
  expect(h.count('vitalsPastWaiting')).toBe(0)
})

test('holes are stretches of an hour or more without a computed reading', () => {
  const F = false
  const T = true
  expect(holesOf([], START)).toEqual([])
  expect(holesOf([T, F, T, F, F, T, F, F, F], START)).toEqual([
    { fromMs: START + 3 * SLOT_MS, toMs: START + 5 * SLOT_MS },
    { fromMs: START + 6 * SLOT_MS, toMs: START + 9 * SLOT_MS },
  ])
  const holes = holesOf([F, F, T, F, F, T, F, F], START)
  const inside = [0, 1, 2, 3, 4, 5, 6, 7, 8].map((i) => within(holes, START + i * SLOT_MS))
  expect(inside).toEqual([T, T, F, T, T, F, T, T, F])
  expect(within(holes, START - 1)).toBe(false)
})

test('stored readings of several signals come in order of time, those of one moment in the order of the site file', () => {
  const r = (ms: number): HistoryReading => ({ sourceMs: ms, receivedMs: ms, value: ms, quality: 'good', sub: 'ok', qc: 1 })
  const all = [
    ...inOrder([
      { key: 'a/x', readings: [r(1), r(3), r(4)] },
      { key: 'a/y', readings: [] },
      { key: 'a/z', readings: [r(0), r(3), { ...r(9), sub: 'clock_suspect' }] },
    ]),
  ]
  expect(all.map((x) => `${x.key}${x.sourceMs}`)).toEqual(['a/z0', 'a/x1', 'a/x3', 'a/z3', 'a/x4', 'a/z9'])
  expect(all.map((x) => x.clock)).toEqual(['ok', 'ok', 'ok', 'ok', 'ok', 'suspect'])
  expect(all.every((x) => !x.live)).toBe(true)
})
