import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { expect, test } from 'vitest'
import { keepMonths, resumeMonths } from '../../gateway/intake/month-file.ts'
import { createClockOffset } from '../../gateway/intake/clock-offset.ts'
import { createCurrent } from '../../gateway/current.ts'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import { forecast, LINK_BYTES, monthOf } from '../../gateway/site/data-plan.ts'
import { intakeWith, message, NOW, yard } from './parts.ts'

const MIN = 60_000

test('DQ-24 a clock that is ten minutes behind is measured, whether its readings pass for live or not', () => {
  const { intake } = intakeWith()
  for (let i = 0; i < 10; i++) {
    const receivedMs = NOW + i * MIN
    intake.take(message('ostrand', `{"t":${receivedMs - 10 * MIN - (i % 3) * 1000},"signals":{"tu.do":7}}`, { receivedMs }))
  }
  expect(intake.traffic()[0]?.clockBehindMs).toBe(10 * MIN + 1000)
  expect(intake.troubles()).toEqual(['The clock of site ostrand is 10 min behind: set it, or say so in its site file (clock: { behind: ... }).'])
})

test('DQ-24 a store that empties itself says nothing about the clock', () => {
  const clock = createClockOffset()
  for (let i = 0; i < 40; i++) clock.note(NOW - 3_600_000 + i * MIN, NOW + i * 100)
  expect(clock.behindMs()).toBeNull()
})

test('DQ-24 drift is told in ms a day once an hour has been seen', () => {
  const clock = createClockOffset()
  // 1 s an hour.
  for (let i = 0; i <= 240; i++) clock.note(NOW + i * MIN - 2000 - (i * 1000) / 60, NOW + i * MIN)
  expect(clock.driftMsPerDay()).toBeGreaterThan(21_000)
  expect(clock.driftMsPerDay()).toBeLessThan(27_000)
})

test('a clock a person has declared to be behind counts as right', () => {
  const sites = new Map([['ostrand', yard('ostrand', 'clock: { zone: none, behind: 10min }')]])
  const { intake, history } = intakeWith({ sites: () => sites })
  for (let i = 0; i < 6; i++) intake.take(message('ostrand/tu.do', `{"v":${i},"t":${NOW + i * MIN - 10 * MIN}}`, { receivedMs: NOW + i * MIN }))
  expect(history.stored.every((r) => r.live && r.sourceMs === r.receivedMs)).toBe(true)
  expect(intake.troubles()).toEqual([])
})

test('the month is forecast from what was sent since counting began, with what the link adds', () => {
  expect([monthOf(Date.UTC(2026, 1, 28, 23, 59)), monthOf(Date.UTC(2026, 2, 1)), monthOf(Date.UTC(2028, 1, 29)), monthOf(0)]).toEqual(['2026-02', '2026-03', '2028-02', '1970-01'])
  const april = Date.UTC(2026, 3, 1)
  const use = { month: '2026-04', messages: 14_400, bytes: 1_440_000, sinceMs: april }
  const f = forecast(use, april + 10 * 86_400_000, 20)
  expect(f.usedMb).toBeCloseTo((1_440_000 + 14_400 * LINK_BYTES) / 1e6, 9)
  expect(f.monthMb).toBeCloseTo(3 * f.usedMb, 9)
  expect(f.ofPlan).toBeCloseTo((3 * f.usedMb) / 20, 9)
  // Counting began a day ago: the same rate for the days before.
  expect(forecast({ ...use, sinceMs: april + 9 * 86_400_000 }, april + 10 * 86_400_000, null)).toEqual({ usedMb: f.usedMb, monthMb: 30 * f.usedMb, ofPlan: null })
  expect(forecast({ ...use, sinceMs: april }, april + 60_000, 20).monthMb).toBeNull()
})

test('what a site has sent this month outlives a restart, and a file that cannot be read only begins anew', () => {
  const dir = mkdtempSync(join(tmpdir(), 'months-'))
  const file = join(dir, 'traffic.json')
  const first = intakeWith()
  first.intake.take(message('ostrand/tu.do', '7.2'))
  first.intake.take(message('ostrand/tu.do', '7.3'))
  expect(keepMonths(file, first.intake)).toBe(true)
  const second = intakeWith()
  resumeMonths(file, second.intake)
  second.intake.take(message('ostrand/tu.do', '7.4', { receivedMs: NOW + MIN }))
  expect(second.intake.traffic()[0]).toMatchObject({ messages: 1, month: { month: '2026-03', messages: 3, sinceMs: NOW } })
  second.intake.take(message('ostrand/tu.do', '7.4', { receivedMs: NOW + 31 * 86_400_000 }))
  expect(second.intake.traffic()[0]?.month).toMatchObject({ month: '2026-04', messages: 1 })
  writeFileSync(file, '{"ostrand":{"month":3}}')
  const third = intakeWith()
  resumeMonths(file, third.intake)
  expect(third.intake.traffic()[0]?.month).toBeNull()
  rmSync(dir, { recursive: true, force: true })
})

test('a site over its data plan is told, with how far', () => {
  const sites = new Map([['ostrand', yard('ostrand', 'dataPlanMb: 0.1')]])
  const bench = intakeWith({ sites: () => sites })
  for (let i = 0; i < 120; i++) bench.intake.take(message('ostrand/tu.do', '7.2', { receivedMs: NOW + i * MIN }))
  bench.clock.atMs = NOW + 120 * MIN
  expect(bench.intake.troubles().join()).toMatch(/Site ostrand will send about \d+ MB this month, \d+ % of its data plan\./)
})

test('a site that reports on change with a heartbeat is never silent and its readings never late, whatever the pauses up to it', () => {
  const text = 'id: ostrand\nname: Ostrand\nzone: UTC\nreportEvery: 15min\ntrain: [{ stage: treatment }]\nsignals:\n  tu.do:\n'
  const read = readSiteFile('o.yaml', text)
  if (!read.ok) throw new Error('no site')
  const sites = new Map([['ostrand', read.site]])
  const current = createCurrent(sites, new Map())
  const { intake, history } = intakeWith({ sites: () => sites, onReadings: (r) => current.take(r), onHeard: (site, atMs) => current.heard(site, atMs) })
  // Changes seconds apart, then nothing for the whole heartbeat, with the time of the change and a way of up to 20 s.
  const gapsS = [5, 3, 900, 900, 1, 900, 20, 899, 2]
  let atMs = NOW
  let v = 7
  for (const gap of gapsS) {
    for (let s = 0; s < gap; s += 10) expect(current.tick(atMs + s * 1000).some((x) => x.silent && x.heardMs !== null)).toBe(false)
    atMs += gap * 1000
    v += 0.1
    intake.take(message('ostrand/tu.do', `{"v":${v.toFixed(1)},"t":${atMs}}`, { receivedMs: atMs + (gap % 20) * 1000 }))
  }
  expect(history.stored.length).toBe(gapsS.length)
  expect(history.stored.every((r) => r.live)).toBe(true)
  expect(current.site('ostrand')?.silent).toBe(false)
})
