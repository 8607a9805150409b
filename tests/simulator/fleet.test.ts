/** The demo fleet: eight site files that can be read, every signal alive, quiet where nothing is planned and in trouble where it is. */
import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, expect, test } from 'vitest'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import { fleetDir, FLEETS } from '../../simulator/fleets/fleets.ts'
import { loadFleet } from '../../simulator/fleets/load.ts'
import { onClock } from '../../simulator/fleets/plan.ts'
import { buildLoop, type Loop } from '../../simulator/loop.ts'
import { unanswered } from '../../simulator/truth.ts'

const HOUR = 3_600_000
/** A Wednesday, 03:00 UTC: night in Europe, evening in America, afternoon in Tasmania. */
const START = Date.UTC(2026, 10, 25, 3)
const fleet = loadFleet('demo', 1)

interface Row {
  readonly t: number
  readonly values: Readonly<Record<string, number | null>>
}

/** Rows of any of the three payload forms. */
function rowsOf(payload: string): readonly Row[] {
  const o = JSON.parse(payload) as { t?: number; signals?: Row['values']; names?: string[]; rows?: unknown[] }
  if (!o.rows) return [{ t: o.t ?? Number.NaN, values: o.signals ?? {} }]
  return o.rows.map((r) =>
    Array.isArray(r)
      ? { t: r[0] as number, values: Object.fromEntries((o.names ?? []).map((n, i) => [n, r[i + 1] as number | null])) }
      : { t: (r as { t: number }).t, values: (r as { signals: Row['values'] }).signals },
  )
}

const told = new Map<string, Row[]>()
const loops = new Map<string, Loop>()
const loopOf = (id: string): Loop => {
  const l = loops.get(id)
  if (!l) throw new Error(`no loop ${id}`)
  return l
}

beforeAll(() => {
  const faults = onClock(fleet.plan, START)
  for (const spec of fleet.specs) {
    const loop = buildLoop(spec, faults, START - 30 * HOUR)
    loop.advance(START - 4 * HOUR, null)
    const rows: Row[] = []
    loop.advance(START + HOUR, (payload) => rows.push(...rowsOf(payload)))
    told.set(spec.site.id, rows)
    loops.set(spec.site.id, loop)
  }
})

/** Last value of a signal told at or before `minutes` after the start. */
function shown(id: string, signal: string, minutes: number): number {
  const at = START + minutes * 60_000
  const row = (told.get(id) ?? []).filter((r) => r.t <= at && signal in r.values).at(-1)
  return row?.values[signal] ?? Number.NaN
}

test('every site file of every fleet can be read, and its folder holds nothing else a gateway would take for one', () => {
  for (const name of FLEETS) {
    const files = readdirSync(fleetDir(name)).filter((f) => f.endsWith('.yaml'))
    expect(files).toHaveLength(name === 'demo' ? 8 : 12)
    for (const f of files) {
      const read = readSiteFile(f, readFileSync(join(fleetDir(name), f), 'utf8'))
      expect(read.ok ? read.site.id : read.faults).toBe(f.replace('.yaml', ''))
    }
  }
  expect(() => fleetDir('nowhere')).toThrow(/"nowhere" is no fleet we have: demo, twelve/)
})

test('two loops are poor with 9 signals, five normal with 22, one rich with about 40 (common practice, no source)', () => {
  const count = (level: string): readonly number[] => fleet.specs.filter((s) => s.site.instrumentation === level).map((s) => s.site.signals.length)
  expect(count('poor')).toEqual([9, 9])
  expect(count('normal')).toEqual([22, 22, 22, 22, 22])
  expect(count('rich')).toHaveLength(1)
  expect(count('rich')[0]).toBeGreaterThanOrEqual(38)
  expect(count('rich')[0]).toBeLessThanOrEqual(42)
})

test('the loops differ: one to four bio tanks, open and covered pads, one without a sump, three areas, six zones', () => {
  const sites = fleet.specs.map((s) => s.site)
  expect([...new Set(sites.map((s) => s.stages.filter((x) => x.kind === 'bio').length))].sort((a, b) => a - b)).toEqual([1, 2, 3, 4])
  expect(new Set(sites.map((s) => s.stages[0]?.pad?.cover))).toEqual(new Set(['open', 'covered']))
  expect(sites.filter((s) => !s.stages.some((x) => x.kind === 'sump'))).toHaveLength(1)
  expect([...new Set(sites.map((s) => s.area))].sort()).toEqual(['Coast and estuary', 'Hill and quarry', 'Town and rail'])
  expect(new Set(sites.map((s) => s.zone)).size).toBeGreaterThanOrEqual(6)
  for (const s of sites) expect(s.yardPhone).toMatch(/555-01\d\d/)
})

test('every signal of every demo site has its place in the plant', () => {
  for (const s of fleet.specs) expect(unanswered(s.site), s.site.id).toEqual([])
})

test('every signal is told, inside its range, on the grid of its resolution, in order of time, at the pace of the site file', () => {
  for (const spec of fleet.specs) {
    const rows = told.get(spec.site.id) ?? []
    expect(
      rows.every((r, i) => i === 0 || r.t > (rows[i - 1]?.t ?? 0)),
      spec.site.id,
    ).toBe(true)
    for (const s of spec.site.signals) {
      const values = rows.flatMap((r) => (s.id in r.values ? [r.values[s.id]] : []))
      expect(values.length, `${spec.site.id}/${s.id}`).toBeGreaterThan(spec.site.instrumentation === 'poor' ? 100 : 4 * (HOUR / s.sampleEveryMs))
      const onGrid = (v: number): boolean => v >= s.range[0] && v <= s.range[1] && Math.abs(v / s.resolution - Math.round(v / s.resolution)) < 1e-6
      expect(
        values.filter((v) => typeof v !== 'number' || !onGrid(v)),
        `${spec.site.id}/${s.id}`,
      ).toEqual([])
    }
  }
})

test('a poor panel tells what changed at once and everything once a minute', () => {
  const rows = told.get('saltrigg-boat-park') ?? []
  const full = rows.filter((r) => Object.keys(r.values).length === 9)
  expect(full.length).toBeGreaterThan(4.5 * 60)
  for (let i = 1; i < full.length; i++) expect((full[i]?.t ?? 0) - (full[i - 1]?.t ?? 0)).toBeLessThanOrEqual(70_000)
})

test('the loops look lived-in before anything is planned: oxygen, levels and pH are where a sound loop has them', () => {
  for (const spec of fleet.specs) {
    const id = spec.site.id
    if (spec.site.instrumentation === 'poor') {
      expect(shown(id, 'blower.run', -120)).toBe(1)
      expect(shown(id, 'finished.low', -120)).toBe(1)
      continue
    }
    expect(shown(id, 'tu.do', -120), id).toBeGreaterThan(2)
    expect(shown(id, 'tu.do', -120), id).toBeLessThan(12)
    expect(shown(id, 'tu.ph', -120), id).toBeGreaterThan(6.8)
    expect(shown(id, 'tu.ph', -120), id).toBeLessThan(8.4)
    expect(shown(id, 'finished.level', -120), id).toBeGreaterThan(35)
    expect(shown(id, 'finished.level', -120), id).toBeLessThan(96)
    expect(shown(id, 'common.trip', -120), id).toBe(0)
    expect(shown(id, 'hp.volume', 0) - shown(id, 'hp.volume', -200), id).toBeGreaterThanOrEqual(0)
  }
})

test('two minutes in, the blower of the ferry terminal trips: contact and pressure drop at once, oxygen is gone within 25 min, the bio tank follows slowly', () => {
  const id = 'kestrow-berth-3'
  expect(shown(id, 'blower.run', 1)).toBe(1)
  expect(shown(id, 'blower.pressure', 1)).toBeGreaterThan(150)
  expect(shown(id, 'blower.run', 3)).toBe(0)
  expect(shown(id, 'blower.pressure', 3)).toBe(0)
  expect(shown(id, 'blower.current', 3)).toBe(0)
  expect(shown(id, 'common.trip', 3)).toBe(1)
  expect(shown(id, 'tu.do', 1)).toBeGreaterThan(4)
  expect(shown(id, 'tu.do', 27)).toBeLessThan(0.5)
  expect(shown(id, 'bio1.do', 55)).toBeGreaterThan(3)
})

test('five minutes in, the transfer pump of the bus depot draws air: it runs, the sump goes high within 20 min, finished water runs down for the hour', () => {
  const id = 'ullenwick-bus-north'
  expect(shown(id, 'sump.high', 4)).toBe(0)
  expect(shown(id, 'sump.high', 25)).toBe(1)
  expect(shown(id, 'transfer.run', 30)).toBe(1)
  expect(shown(id, 'finished.level', 5) - shown(id, 'finished.level', 45)).toBeGreaterThan(12)
})

test('nine minutes in, the link of the quarry is down while its plant runs on', () => {
  const { plant } = loopOf('thrapplow-quarry-upper')
  expect(plant.troubles.linkDown).toBe(true)
  expect(plant.machines.get('blower')?.on).toBe(true)
  expect(plant.water.bio[0]?.oxygen).toBeGreaterThan(2)
})

test('the fish dock has had too much food: oxygen stands low at the start and is back within the hour', () => {
  const id = 'myrrhope-fish-dock'
  expect(Math.min(...[-30, -20, -10, 0].map((m) => shown(id, 'tu.do', m)))).toBeLessThan(3)
  expect(Math.max(...[20, 30, 40, 50].map((m) => shown(id, 'tu.do', m)))).toBeGreaterThan(6)
  expect(shown(id, 'blower1.run', 0)).toBe(1)
})

test('the other four go their quiet way', () => {
  for (const id of ['saltrigg-boat-park', 'vantlemoor-tram-works', 'brackfold-refuse-depot', 'bramscar-slate-yard']) {
    const { plant, faults } = loopOf(id)
    expect(faults).toEqual([])
    expect(plant.troubles.tripped.size + plant.troubles.handOff.size).toBe(0)
    expect(plant.tanks.filter((t) => t.kind === 'treatment').every((t) => t.oxygen > 2)).toBe(true)
  }
})
