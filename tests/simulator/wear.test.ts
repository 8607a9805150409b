/** Instruments, panels' clocks and links as they are in the field: what each does to the readings, and that the truth tells it. */
import { expect, test } from 'vitest'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import type { Fault, FaultKind } from '../../simulator/faults/fault.ts'
import { instruments } from '../../simulator/instruments.ts'
import { buildLoop } from '../../simulator/loop.ts'
import { buildPlant } from '../../simulator/process/build.ts'
import type { PlantSpec } from '../../simulator/process/spec.ts'
import type { Plant } from '../../simulator/process/state.ts'
import { wallText } from '../../simulator/reporting.ts'
import type { Artefact, ArtefactKind } from '../../simulator/wear.ts'
import { MONDAY, referenceFacts, referenceFile } from './reference-loop.ts'

const HOUR = 3_600_000
const DAY = 24 * HOUR
const MONTH = 30 * DAY

function specOf(over: { readonly zone?: string; readonly every?: string; readonly level?: string } = {}): PlantSpec {
  const file = referenceFile
    .replace('zone: UTC', `zone: ${over.zone ?? 'UTC'}\ninstrumentation: ${over.level ?? 'normal'}\nsampleEvery: 60s\nreportEvery: ${over.every ?? '60s'}`)
    .replace(
      '  tu.do:\n',
      '  tu.do: { resolution: 0.01 }\n  bio1.do: { resolution: 0.01 }\n  bio2.do: { resolution: 0.01 }\n  tu.ph:\n  tu.temperature:\n  finished.turbidity: { resolution: 0.1 }\n  hp.run:\n',
    )
  const read = readSiteFile('reference.yaml', file)
  if (!read.ok) throw new Error(read.faults.map((f) => f.message).join('\n'))
  return { site: read.site, facts: referenceFacts, seed: 7 }
}

interface Read {
  readonly atMs: number
  readonly value: number | null
}

/** A still plant, read once a minute for some days. */
function readings(signal: string, days: number, p: Plant): { readonly list: readonly Read[]; readonly told: readonly Artefact[] } {
  const told: Artefact[] = []
  const probe = instruments(p.spec.site, p, { tell: (a) => told.push(a) }).find((i) => i.signal.id === signal)
  if (!probe) throw new Error(`no ${signal}`)
  const list: Read[] = []
  for (let atMs = MONDAY; atMs < MONDAY + days * DAY; atMs += 60_000) list.push({ atMs, value: probe.read(p, atMs) })
  return { list, told: told.filter((a) => a.signal === signal) }
}

/** Readings that were told to be of a kind. */
const ofKind = (r: ReturnType<typeof readings>, what: ArtefactKind): readonly (number | null)[] => {
  const at = new Set(r.told.filter((a) => a.what === what).map((a) => a.atMs))
  return r.list.filter((x) => at.has(x.atMs)).map((x) => x.value)
}

test('readings drop out about once in two days, and each one told so gives no figure, and no other', () => {
  const r = readings('tu.temperature', 40, buildPlant(specOf(), MONDAY))
  const out = ofKind(r, 'dropout')
  expect(out.length).toBeGreaterThan(8)
  expect(out.length).toBeLessThan(40)
  expect(out.every((v) => v === null)).toBe(true)
  expect(r.list.filter((x) => x.value === null)).toHaveLength(out.length)
})

test('the wiper swings before an optical probe every six hours and shows for a moment; a membrane has none', () => {
  const p = buildPlant(specOf(), MONDAY)
  p.probeTypes.set('tu.do', 'optical').set('bio1.do', 'membrane')
  const swept = ofKind(readings('tu.do', 10, p), 'wiper')
  expect(swept.length).toBeGreaterThan(5)
  const truth = p.water.bio[0]?.oxygen ?? 0
  for (const v of swept) if (v !== null) expect(truth - v).toBeGreaterThan(0.4)
  expect(ofKind(readings('bio1.do', 10, p), 'wiper')).toEqual([])
})

test('values stick for half an hour to three and a half, and repeat to the last digit while they do', () => {
  const p = buildPlant(specOf(), MONDAY)
  p.probeTypes.set('tu.do', 'membrane')
  const r = readings('tu.do', 300, p)
  const at = r.told.filter((a) => a.what === 'stuck').map((a) => a.atMs)
  expect(at.length).toBeGreaterThan(60)
  const spans: number[][] = []
  for (const t of at) {
    const last = spans.at(-1)
    if (last && t - (last.at(-1) ?? 0) <= 120_000) last.push(t)
    else spans.push([t])
  }
  for (const span of spans) {
    expect(span.length).toBeGreaterThanOrEqual(28)
    expect(span.length).toBeLessThanOrEqual(212)
    const values = new Set(r.list.filter((x) => x.atMs >= (span[0] ?? 0) && x.atMs <= (span.at(-1) ?? 0)).map((x) => x.value))
    expect(values.size).toBe(1)
  }
})

test('a film makes an optical oxygen probe read high and a membrane low, slows both, and a visit wipes it off', () => {
  const spec = specOf()
  const shown = (type: 'optical' | 'membrane', monthsAgo: number): { readonly still: number; readonly afterStep: number } => {
    const p = buildPlant(spec, MONDAY)
    p.probeTypes.set('tu.do', type)
    p.servedMs = MONDAY - monthsAgo * MONTH
    const probe = instruments(spec.site, p, { tell: () => undefined }).find((i) => i.signal.id === 'tu.do')
    const tank = p.water.bio[0]
    if (!probe || !tank) throw new Error('no probe')
    tank.oxygen = 8
    const mean = (): number => {
      const list = Array.from({ length: 60 }, () => probe.read(p, MONDAY + 7 * 60_000) ?? 0)
      return list.reduce((a, b) => a + b, 0) / list.length
    }
    for (let s = 0; s < 3600; s += 10) probe.follow(p, 10)
    const still = mean()
    tank.oxygen = 2
    for (let s = 0; s < 60; s += 10) probe.follow(p, 10)
    return { still, afterStep: mean() }
  }
  expect(shown('optical', 0).still).toBeCloseTo(8, 1)
  expect(shown('optical', 3).still - 8).toBeGreaterThan(0.6)
  expect(8 - shown('membrane', 3).still).toBeGreaterThan(0.9)
  expect(shown('membrane', 3).afterStep).toBeGreaterThan(shown('membrane', 0).afterStep + 1.5)
})

/** Messages of a few hours with one fault from the first hour on. */
function messages(kind: FaultKind | null, over: Partial<Fault> = {}, spec = specOf()): readonly string[] {
  const faults: Fault[] = kind === null ? [] : [{ id: kind, kind, site: 'reference-loop', onsetMs: MONDAY + HOUR, endMs: null, ...over }]
  const out: string[] = []
  buildLoop(spec, faults, MONDAY).advance(MONDAY + 3 * HOUR, (text) => out.push(text))
  return out
}

interface Told {
  readonly t?: number | string
  readonly signals: Readonly<Record<string, number | null>>
}
const read = (text: string): Told => JSON.parse(text) as Told
const later = (list: readonly string[]): readonly Told[] => list.map(read).slice(-60)

test('a calibration: the oxygen probe shows saturation and pH its buffer for twenty minutes, then what they showed before', () => {
  const list = messages('calibration', { endMs: MONDAY + 1.5 * HOUR }).map(read)
  const at = (minute: number): Told => list.find((m) => Number(m.t) >= MONDAY + minute * 60_000) ?? { signals: {} }
  expect(at(70).signals['tu.ph']).toBeCloseTo(7, 1)
  expect(at(70).signals['tu.do']).toBeGreaterThan((at(55).signals['tu.do'] ?? 99) + 0.3)
  expect(at(95).signals['tu.ph']).not.toBeCloseTo(7, 1)
  expect(Math.abs((at(95).signals['tu.do'] ?? 0) - (at(55).signals['tu.do'] ?? 0))).toBeLessThan(0.4)
})

test('a controller’s clock two hours ahead stamps two hours ahead, and nothing else changes', () => {
  const right = later(messages(null))
  const wrong = later(messages('clock-wrong', { size: 2 }))
  expect(wrong.map((m) => Number(m.t) - 2 * HOUR)).toEqual(right.map((m) => m.t))
  expect(wrong.map((m) => m.signals)).toEqual(right.map((m) => m.signals))
})

test('a controller without a zone writes the time of its own wall, the hour the clocks go back twice', () => {
  const list = later(messages('clock-zoneless', {}, specOf({ zone: 'America/Chicago' })))
  expect(list[0]?.t).toMatch(/^2026-05-31T2\d:\d\d:\d\d$/)
  expect(wallText('Europe/Berlin', Date.UTC(2026, 9, 25, 0, 30))).toBe('2026-10-25T02:30:00')
  expect(wallText('Europe/Berlin', Date.UTC(2026, 9, 25, 1, 30))).toBe('2026-10-25T02:30:00')
})

test('a controller without a clock sends no times, in single rows and in blocks', () => {
  expect(later(messages('clock-none')).every((m) => !('t' in m))).toBe(true)
  const block = messages('clock-none', {}, specOf({ every: '5min' })).at(-1) ?? ''
  const { rows } = JSON.parse(block) as { rows: readonly (readonly (number | null)[])[] }
  expect(rows).toHaveLength(5)
  expect(rows.map((r) => r[0])).toEqual([null, null, null, null, null])
})

test('a modem that repeats itself sends every message twice, byte for byte', () => {
  const list = messages('duplicates').slice(-20)
  for (let i = 0; i < list.length; i += 2) expect(list[i]).toBe(list[i + 1])
  expect(new Set(list).size).toBe(10)
})

test('a controller whose program stands still goes on sending with new times and old figures', () => {
  const list = later(messages('controller-stuck'))
  expect(new Set(list.map((m) => m.t)).size).toBe(60)
  expect(new Set(list.map((m) => JSON.stringify(m.signals))).size).toBe(1)
})

test('a failed oxygen probe lies at zero without noise, one with a loose wire tells null', () => {
  expect(new Set(later(messages('oxygen-failed')).map((m) => m.signals['tu.do']))).toEqual(new Set([0]))
  expect(new Set(later(messages('dropout')).map((m) => m.signals['tu.do']))).toEqual(new Set([null]))
})

test('a relay panel tells a change at once and everything at its heartbeat', () => {
  const list = messages(null, {}, specOf({ level: 'poor', every: '15min' })).map(read)
  const full = list.filter((m) => Object.keys(m.signals).length === 7)
  expect(full.length).toBeGreaterThanOrEqual(12)
  for (let i = 1; i < full.length; i++) expect(Number(full[i]?.t) - Number(full[i - 1]?.t)).toBeLessThanOrEqual(15 * 60_000)
})
