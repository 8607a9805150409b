import { mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, expect, test } from 'vitest'
import type { AppendResult } from '../../gateway/history/history.ts'
import { keyOf, type Reading } from '../../gateway/site/reading.ts'
import type { Site } from '../../gateway/site/site.ts'
import { openVitalFiles } from '../../gateway/vitals-files.ts'
import { startVitals } from '../../gateway/vitals-keeper.ts'
import { good, MIN, START } from './plant.ts'
import { siteOf } from './tank.ts'

const one = siteOf('  tu.do:\n  tu.temperature:\n  hp.run:\n  hp.volume: { name: Wash water, resolution: 10 }')
const two: Site = { ...one, id: 'other' }
const dirs: string[] = []
const folder = (): string => {
  const dir = mkdtempSync(join(tmpdir(), 'vitals-'))
  dirs.push(dir)
  return dir
}
afterEach(() => {
  for (const d of dirs.splice(0)) rmSync(d, { recursive: true, force: true })
})

const row = (site: Site, m: number, litres = 100): Reading[] => [
  good(keyOf(site.id, 'tu.do'), START + m * MIN, 8 - (m % 5) / 10),
  good(keyOf(site.id, 'tu.temperature'), START + m * MIN, 18),
  good(keyOf(site.id, 'hp.run'), START + m * MIN, 0),
  good(keyOf(site.id, 'hp.volume'), START + m * MIN, litres),
]

function open(dir: string, sites: readonly Site[] = [one, two]) {
  const stored: Reading[] = []
  const told: Reading[] = []
  const state = { full: false }
  const keeper = startVitals({
    sites: new Map(sites.map((s) => [s.id, s])),
    files: openVitalFiles(dir),
    emit: (r) => told.push(...r),
    history: {
      async append(batch): Promise<AppendResult> {
        if (state.full) throw new Error('the disk is full')
        stored.push(...batch)
        return { stored: batch.length, duplicate: 0, conflict: 0 }
      },
    },
  })
  return { keeper, stored, told, state }
}
const settle = (): Promise<void> => new Promise((done) => setImmediate(done))

test('computed readings of several loops go to the history first and are told after it has them', async () => {
  const { keeper, stored, told, state } = open(folder())
  state.full = true
  for (let m = 0; m < 5; m++) keeper.onReadings([...row(one, m), ...row(two, m)])
  keeper.tick()
  await settle()
  expect([stored.length, told.length]).toEqual([0, 0])
  state.full = false
  keeper.tick()
  await settle()
  expect(new Set(stored.map((r) => r.key))).toEqual(new Set([keyOf('tank', 'tu.do.saturation'), keyOf('other', 'tu.do.saturation')]))
  expect(told).toEqual(stored)
  expect(keeper.counters().find((c) => c.name === 'vitalsRefused')?.value).toBe(1)
  expect(keeper.of('tank').find((v) => v.def.id === 'tu.do.saturation')?.outcome.kind).toBe('told')
  expect(keeper.of('nowhere')).toEqual([])
})

test('what a week remembers outlasts a restart, and a damaged file costs only its own loop its memory', async () => {
  const dir = folder()
  const first = open(dir)
  for (let m = 0; m < 7 * 24 * 60 + 60; m += 2) first.keeper.onReadings([...row(one, m, 100 + m), ...row(two, m, 100 + m)])
  await first.keeper.stop()
  expect(readdirSync(dir).sort()).toEqual(['other.json', 'tank.json'])
  writeFileSync(join(dir, 'other.json'), '{"form":1,')
  const second = open(dir)
  for (let m = 7 * 24 * 60 + 60; m < 7 * 24 * 60 + 200; m += 2) second.keeper.onReadings([...row(one, m, 100 + m), ...row(two, m, 100 + m)])
  const volume = (site: string) => second.keeper.of(site).find((v) => v.def.id === 'wash.volume')?.outcome
  const kept = volume('tank')
  expect(kept?.kind === 'told' && kept.value).toBeCloseTo(10.08, 1)
  const lost = volume('other')
  expect(lost?.kind === 'withheld' && lost.why).toContain('has not been counted for 7 days yet')
})

test('a loop whose site file changed goes on with what it remembered', () => {
  const { keeper } = open(folder(), [one])
  for (let m = 0; m < 7 * 24 * 60 + 60; m += 2) keeper.onReadings(row(one, m, 100 + m))
  const grown: Site = { ...one, name: 'Tank, renamed' }
  keeper.follow(new Map([[grown.id, grown]]))
  for (let m = 7 * 24 * 60 + 60; m < 7 * 24 * 60 + 140; m += 2) keeper.onReadings(row(one, m, 100 + m))
  expect(keeper.of('tank').find((v) => v.def.id === 'wash.volume')?.outcome.kind).toBe('told')
  keeper.follow(new Map())
  expect(keeper.of('tank')).toEqual([])
})

test('while the history takes nothing, what waits is bounded, the oldest goes first and is counted', async () => {
  const { keeper, state, stored } = open(folder(), [one])
  state.full = true
  for (let m = 0; m < 60_000; m++) {
    keeper.onReadings([good(keyOf('tank', 'tu.temperature'), START + m * MIN, 18), good(keyOf('tank', 'tu.do'), START + m * MIN, m % 2 ? 8 : 7)])
    if (m % 5000 === 0) {
      keeper.tick()
      await settle()
    }
  }
  const of = (name: string): number => keeper.counters().find((c) => c.name === name)?.value ?? -1
  expect(of('vitalsWaiting')).toBeLessThanOrEqual(50_000)
  expect(of('vitalsDropped')).toBeGreaterThan(5000)
  state.full = false
  keeper.tick()
  await settle()
  expect(stored.at(-1)?.sourceMs).toBeGreaterThan(START + 59_990 * MIN)
})

test('every loop is written down within ten minutes of ticks, few at a time', () => {
  const dir = folder()
  const { keeper } = open(dir)
  for (let s = 0; s < 601; s++) keeper.tick()
  expect(readdirSync(dir).sort()).toEqual(['other.json', 'tank.json'])
})
