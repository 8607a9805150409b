/** Defaults against the intervals of a loop: what its data cannot show is said, and nothing is said of loops as they usually are. */
import { readdirSync, readFileSync } from 'node:fs'
import { expect, test } from 'vitest'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import { loop } from './yard.ts'

const MORE = '  finished.turbidity:\n  transfer.run:\n  makeup.volume: { in: finished }\n  hp.volume:\n'
const every = (interval: string, alarms = '') => defaultAlarms(loop((t) => t.replaceAll('30s', interval) + MORE + alarms))

test.each(['10s', '30s', '60s', '5min'])('a loop that samples every %s can tell every default', (interval) => {
  expect(every(interval).faults).toEqual([])
})

test('no loop of the demo fleet has a default it cannot tell', () => {
  const folder = new URL('../../simulator/fleets/demo/', import.meta.url)
  const files = readdirSync(folder).filter((f) => f.endsWith('.yaml'))
  expect(files.length).toBeGreaterThan(5)
  for (const f of files) {
    const r = readSiteFile(f, readFileSync(new URL(f, folder), 'utf8'))
    if (!r.ok) throw new Error(f)
    expect(defaultAlarms(r.site).faults, f).toEqual([])
  }
})

test('a loop that samples every quarter of an hour is told which defaults it cannot tell and what to do; they are watched all the same', () => {
  const r = every('15min')
  const keys = r.faults.map((f) => f.key)
  expect(keys.length).toBeGreaterThan(0)
  for (const f of r.faults) {
    expect(f.message).toMatch(
      /^the default cannot be told by what this loop sends: \w+ .* found: .* gives a value every 15 min, .*; give it figures of its own here, or switch it off$/,
    )
    expect(r.defs.some((d) => d.id.endsWith(`/${f.key}`))).toBe(true)
  }
  expect(every('15min', `alarms:\n${keys.map((k) => `  ${k}: { off: true, why: "sampled too seldom" }\n`).join('')}`).faults).toEqual([])
})

test('the median that bubbles disappear in has at least three readings, however seldom they come', () => {
  for (const [interval, ms] of [
    ['30s', 300_000],
    ['5min', 600_000],
    ['15min', 1_800_000],
  ] as const)
    expect(every(interval).defs.find((d) => d.id.endsWith('turbidity.cloudy'))?.rule).toMatchObject({ of: [{ medianOverMs: ms }, { medianOverMs: ms }] })
})

test('a dosing run is called too long only after the block of rows that could have told its end', () => {
  const long = (interval: string) => every(interval).defs.find((d) => d.id.endsWith('acid.run.long'))?.rule
  expect(long('30s')).toMatchObject({ kind: 'over-run', floorMs: 60_000, unlearnedMs: 300_000 })
  expect(long('15min')).toMatchObject({ kind: 'over-run', floorMs: 900_000, unlearnedMs: 900_000 })
})
