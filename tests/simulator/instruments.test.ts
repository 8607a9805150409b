/** What an instrument makes of the truth: late, rough, rounded, and wrong only when a fault says so. And the labels that keep the truth. */
import { expect, test } from 'vitest'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import { instruments } from '../../simulator/instruments.ts'
import { labels } from '../../simulator/labels.ts'
import { buildLoop } from '../../simulator/loop.ts'
import { markReference } from '../../simulator/process/balance.ts'
import { buildPlant } from '../../simulator/process/build.ts'
import { step } from '../../simulator/process/plant.ts'
import type { Plant } from '../../simulator/process/state.ts'
import { MONDAY, referenceFacts, referenceFile } from './reference-loop.ts'

const file = referenceFile.replace(
  '  tu.do:\n',
  '  tu.do: { resolution: 0.01 }\n  tu.ph: { resolution: 0.1 }\n  finished.low:\n  hp.volume: { resolution: 10 }\n  blower.hours:\n  blower.current:\n',
)
const read = readSiteFile('reference.yaml', file)
if (!read.ok) throw new Error(read.faults.map((f) => f.message).join('\n'))
const spec = { site: read.site, facts: referenceFacts, seed: 7 }

function probe(p: Plant, id: string) {
  const found = instruments(spec.site, p).find((i) => i.signal.id === id)
  if (!found) throw new Error(`no ${id}`)
  return found
}

test('oxygen is shown with small noise about the truth, on its own grid', () => {
  const p = buildPlant(spec, MONDAY)
  const oxygen = probe(p, 'tu.do')
  const shown = Array.from({ length: 400 }, () => oxygen.read(p) ?? 0)
  const mean = shown.reduce((a, b) => a + b, 0) / shown.length
  const sd = Math.sqrt(shown.reduce((a, b) => a + (b - mean) ** 2, 0) / shown.length)
  expect(Math.abs(mean - (p.water.bio[0]?.oxygen ?? 0))).toBeLessThan(0.02)
  expect(sd).toBeGreaterThan(0.01)
  expect(sd).toBeLessThan(0.08)
  expect(new Set(shown).size).toBeGreaterThan(5)
})

test('a step of the truth is followed with the lag of the probe: about two thirds after 45 s', () => {
  const p = buildPlant(spec, MONDAY)
  const oxygen = probe(p, 'tu.do')
  const tank = p.water.bio[0]
  if (!tank) throw new Error('no tank')
  tank.oxygen = 8
  oxygen.follow(p, 10)
  tank.oxygen = 2
  for (let s = 0; s < 45; s += 5) oxygen.follow(p, 5)
  expect(oxygen.read(p)).toBeGreaterThan(3.8)
  expect(oxygen.read(p)).toBeLessThan(4.7)
})

test('a machine at rest reads exactly zero, and counters only ever count up in whole steps', () => {
  const p = buildPlant(spec, MONDAY)
  const volume = probe(p, 'hp.volume')
  const hours = probe(p, 'blower.hours')
  const current = probe(p, 'blower.current')
  let last = -1
  let lastH = -1
  for (let i = 0; i < 720; i++) {
    p.troubles.rush = 1
    step(p)
    const v = volume.read(p) ?? 0
    const h = hours.read(p) ?? 0
    expect(v).toBeGreaterThanOrEqual(last)
    expect(v % 10).toBe(0)
    expect(h).toBeGreaterThanOrEqual(lastH)
    last = v
    lastH = h
  }
  expect(current.read(p)).toBeGreaterThan(1)
  p.troubles.tripped.add('blower')
  step(p)
  current.follow(p, 10)
  expect(current.read(p)).toBe(0)
})

test('a low float reads wet (1) while there is water, dry (0) when it is gone', () => {
  const p = buildPlant(spec, MONDAY)
  const low = probe(p, 'finished.low')
  expect(low.read(p)).toBe(1)
  p.water.finished.water.litres = 500
  expect(low.read(p)).toBe(0)
})

test('a drifted electrode is off by its drift, a frozen one repeats itself and comes back', () => {
  const p = buildPlant(spec, MONDAY)
  const ph = probe(p, 'tu.ph')
  const oxygen = probe(p, 'tu.do')
  const truth = p.water.bio[0]?.ph ?? 0
  p.troubles.probes.set('tu.ph', { offset: -0.6 })
  expect(Math.abs((ph.read(p) ?? 0) - (truth - 0.6))).toBeLessThan(0.11)
  p.troubles.probes.set('tu.ph', { gain: 0.6 })
  expect(Math.abs((ph.read(p) ?? 0) - (7 + 0.6 * (truth - 7)))).toBeLessThan(0.11)
  p.troubles.probes.set('tu.do', { frozen: true })
  const held = Array.from({ length: 20 }, () => oxygen.read(p))
  expect(new Set(held).size).toBe(1)
  p.troubles.probes.clear()
  expect(new Set(Array.from({ length: 20 }, () => oxygen.read(p))).size).toBeGreaterThan(1)
})

test('a panel without mains falls silent after a minute of battery', () => {
  const loop = buildLoop(spec, [{ id: 'cut', kind: 'power-cut', site: 'reference-loop', onsetMs: MONDAY + 600_000, endMs: MONDAY + 1_800_000 }], MONDAY)
  const at: number[] = []
  loop.advance(MONDAY + 2_400_000, (payload) => at.push((JSON.parse(payload) as { t: number }).t - MONDAY))
  expect(at.filter((t) => t > 700_000 && t < 1_800_000)).toEqual([])
  expect(at.filter((t) => t > 1_810_000).length).toBeGreaterThan(5)
})

test('labels tell damaged, lost and, after two sound days, recovered; once each', () => {
  const p = buildPlant(spec, MONDAY)
  markReference(p)
  const lines: { label: string; a?: number }[] = []
  const l = labels((line) => lines.push(JSON.parse(line) as { label: string }))
  const tank = p.water.bio[0]
  if (!tank) throw new Error('no tank')
  const whole = tank.culture.active
  for (const [share, hours] of [
    [1, 2],
    [0.6, 3],
    [0.3, 3],
    [0.6, 3],
    [0.9, 30],
    [0.7, 2],
    [0.9, 60],
  ] as const) {
    tank.culture.active = share * whole
    for (let h = 0; h < hours; h++) {
      l.look(p)
      p.nowMs += 3_600_000
    }
  }
  expect(lines.filter((x) => x.label !== 'activity').map((x) => x.label)).toEqual(['damaged', 'lost', 'recovered'])
  expect(lines.filter((x) => x.label === 'activity')).toHaveLength(103)
})
