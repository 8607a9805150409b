import fc from 'fast-check'
import { expect, test } from 'vitest'
import { keyOf, type Quality, type Reading } from '../../gateway/site/reading.ts'
import { vitalsOf } from '../../gateway/vitals/catalogue.ts'
import { createVitals } from '../../gateway/vitals/evaluator.ts'
import { rank } from '../../gateway/vitals/grade.ts'
import { DAY, good, HOUR, MIN, specOf, START, toldOf, whyOf } from './plant.ts'
import { siteOf } from './tank.ts'

const SIGNALS = `  tu.do:
  tu.temperature:
  tu.ph:
  blower.run:
  blower.pressure:
  transfer.run:
  finished.level:
  sump.level:
  makeup.volume: { in: finished, name: Make-up water, resolution: 10 }
  hp.run:
  hp.volume: { name: Wash water, resolution: 10 }
  hp.current:
  acid.run:
  tu.conductivity:
  makeup.conductivity: { in: finished }`
const site = siteOf(SIGNALS)
const r = (id: string, atMs: number, value: number | null, over: Partial<Reading> = {}): Reading => good(keyOf(site.id, id), atMs, value, over)

/** A day in rows of a minute: washing from 8 to 10, air off at 02:00 for a quarter of an hour. */
function day(from = START, minutes = 24 * 60): Reading[] {
  const out: Reading[] = []
  let washed = 1000
  let made = 500
  for (let m = 0; m < minutes; m++) {
    const at = from + m * MIN
    const h = (m / 60) % 24
    const wash = h >= 8 && h < 10
    if (wash && m % 2 === 0) washed += 40
    if (wash && m % 6 === 0) made += 20
    const off = h >= 2 && h < 2.25
    const oxygen = off ? 8.4 - (h - 2) * 8 : wash ? 5 : 8.4
    out.push(
      r('blower.run', at, off ? 0 : 1),
      r('blower.pressure', at, off ? 0 : 170),
      r('tu.do', at, Math.round(oxygen * 10) / 10),
      r('tu.temperature', at, 18.2),
      r('tu.ph', at, 7.4 - (m % 60 < 5 ? 0.1 : 0)),
      r('transfer.run', at, wash ? 1 : 0),
      r('finished.level', at, Math.round(70 - (wash ? (h - 8) * 5 : 0))),
      r('sump.level', at, 30),
      r('makeup.volume', at, made),
      r('hp.run', at, wash ? 1 : 0),
      r('hp.volume', at, washed),
      r('hp.current', at, wash ? 18 : 0),
      r('acid.run', at, m % 60 === 0 ? 1 : 0),
      r('tu.conductivity', at, 900),
      r('makeup.conductivity', at, 300),
    )
  }
  return out
}

test('the same readings give the same vitals, whatever messages they came in', () => {
  const all = day()
  const whole = createVitals(site).take(all)
  const one = createVitals(site)
  const single = all.flatMap((x) => [...one.take([x])])
  expect(whole.length).toBeGreaterThan(200)
  expect(single).toEqual(whole)
})

test('a repeated or late reading changes nothing and is counted', () => {
  const all = day()
  const plain = createVitals(site)
  const given = plain.take(all)
  const again = createVitals(site)
  const doubled = all.flatMap((x, i) => [...again.take([x]), ...again.take([x]), ...(i > 300 ? again.take([all[i - 300] as Reading]) : [])])
  expect(doubled).toEqual(given)
  expect(again.counts.late).toBe(2 * all.length - 301)
})

test('no vital gives more than one reading a minute, or stays silent for longer than a quarter of an hour while it can be told', () => {
  const given = createVitals(site).take(day())
  const byKey = new Map<string, Reading[]>()
  for (const x of given) byKey.set(x.key, [...(byKey.get(x.key) ?? []), x])
  for (const [key, list] of byKey) for (let i = 1; i < list.length; i++) expect((list[i]?.sourceMs ?? 0) - (list[i - 1]?.sourceMs ?? 0), key).toBeGreaterThanOrEqual(MIN)
  const saturation = byKey.get(keyOf(site.id, 'tu.do.saturation')) ?? []
  for (let i = 1; i < saturation.length; i++) expect((saturation[i]?.sourceMs ?? 0) - (saturation[i - 1]?.sourceMs ?? 0)).toBeLessThanOrEqual(15 * MIN)
})

test('a vital that can no longer be told says so with one bad reading without a value, and then keeps quiet until it can', () => {
  const v = createVitals(site)
  v.take(day(START, 60))
  const lost: Reading[] = []
  for (let m = 60; m < 90; m++)
    lost.push(
      ...v.take([
        r('tu.do', START + m * MIN, null, { quality: 'bad', sub: 'sensor_failure', qc: 4 }),
        r('tu.temperature', START + m * MIN, 18.2),
        r('blower.run', START + m * MIN, 1),
      ]),
    )
  const told = lost.filter((x) => x.key === keyOf(site.id, 'tu.do.saturation'))
  const bad = told.filter((x) => x.quality === 'bad')
  expect(bad).toHaveLength(1)
  expect(bad[0]?.value).toBeNull()
  expect(whyOf(v, 'tu.do.saturation')).toBe('tu.do is bad (sensor failure)')
  const back = v.take([r('tu.do', START + 90 * MIN, 8), r('tu.temperature', START + 90 * MIN, 18), r('tu.do', START + 92 * MIN, 8)])
  expect(back.some((x) => x.key === keyOf(site.id, 'tu.do.saturation') && x.quality === 'good')).toBe(true)
})

test('a signal that went stale withholds what stands on it', () => {
  const v = createVitals(site)
  v.take(day(START, 60))
  for (let m = 60; m < 80; m++) v.take([r('tu.do', START + m * MIN, 8)])
  expect(whyOf(v, 'tu.do.saturation')).toMatch(/^tu.temperature is stale: \d+ min old$/)
})

const qualities: readonly Quality[] = ['good', 'uncertain', 'bad']

test('quality never improves through a computation: a vital is never better than the worst signal it stands on', () => {
  const all = day(START, 11 * 60)
  const defs = vitalsOf(site)
  fc.assert(
    fc.property(fc.dictionary(fc.constantFrom(...site.signals.map((s) => s.id)), fc.constantFrom(...qualities), { maxKeys: 6 }), (spoilt) => {
      const v = createVitals(site)
      const given = v.take(
        all.map((x): Reading => {
          const q = spoilt[x.key.slice(site.id.length + 1)]
          return q === undefined || q === 'good'
            ? x
            : q === 'bad'
              ? { ...x, value: null, quality: 'bad', sub: 'device_failure', qc: 4 }
              : { ...x, quality: 'uncertain', sub: 'qc_suspect', qc: 3 }
        }),
      )
      const worstOf = (ids: readonly (string | null)[]): number => Math.max(0, ...ids.map((id) => rank((id === null ? undefined : spoilt[id]) ?? 'good')))
      for (const e of v.explainAll()) {
        if (e.outcome.kind !== 'told') continue
        const used = e.outcome.inputs.map((i) => (i.grade || site.signals.some((s) => s.id === i.from) ? i.from : null))
        expect(rank(e.outcome.grade.quality), e.def.id).toBeGreaterThanOrEqual(worstOf(used))
        for (const i of e.outcome.inputs) if (i.grade) expect(rank(e.outcome.grade.quality), `${e.def.id} from ${i.from}`).toBeGreaterThanOrEqual(rank(i.grade.quality))
      }
      // Told from outside: a vital whose every input is uncertain never gives a good reading.
      for (const d of defs) {
        if (d.inputs.length === 0 || !d.inputs.every((id) => (spoilt[id] ?? 'good') !== 'good')) continue
        for (const x of given) if (x.key === keyOf(site.id, d.id)) expect(x.quality, d.id).not.toBe('good')
      }
      for (const x of given) {
        expect(x.value === null || Number.isFinite(x.value)).toBe(true)
        expect(x.value === null).toBe(x.quality === 'bad')
      }
    }),
    { numRuns: 30 },
  )
})

test('every single doubtful signal shows in each vital that gives it as an input', () => {
  const all = day(START, 11 * 60)
  for (const s of site.signals) {
    const v = createVitals(site)
    v.take(all.map((x): Reading => (x.key === keyOf(site.id, s.id) ? { ...x, quality: 'uncertain', sub: 'qc_suspect', qc: 3 } : x)))
    for (const e of v.explainAll())
      if (e.outcome.kind === 'told' && e.outcome.inputs.some((i) => i.from === s.id)) expect(e.outcome.grade.quality, `${e.def.id} from ${s.id}`).not.toBe('good')
  }
})

test('no readings whatever make a vital throw or give a figure that is not finite', () => {
  const value = fc.oneof(fc.constantFrom(0, 1, -1, 1e9, -1e9, 4_294_967_295, 99), fc.double({ min: -100, max: 1000, noNaN: true }))
  const one = fc.record({
    id: fc.constantFrom(...site.signals.map((s) => s.id)),
    m: fc.integer({ min: 0, max: 3000 }),
    value: fc.option(value, { freq: 9 }),
    uncertain: fc.boolean(),
  })
  fc.assert(
    fc.property(fc.array(one, { maxLength: 300 }), (list) => {
      const v = createVitals(site)
      const given = v.take(list.map((x) => r(x.id, START + x.m * MIN, x.value, x.uncertain && x.value !== null ? { quality: 'uncertain', sub: 'qc_suspect' } : {})))
      for (const e of v.explainAll()) if (e.outcome.kind === 'told') expect(Number.isFinite(e.outcome.value), e.def.id).toBe(true)
      for (const x of given) expect(x.value === null || Number.isFinite(x.value)).toBe(true)
    }),
    { numRuns: 300 },
  )
})

test('after a restart what was remembered goes on: the same vitals as without one', () => {
  const all = day(START, 30 * 60)
  const straight = createVitals(site)
  straight.take(all)
  const half = Math.floor(all.length / 2 / 15) * 15
  const first = createVitals(site)
  first.take(all.slice(0, half))
  const second = createVitals(site, JSON.parse(JSON.stringify(first.keep())))
  second.take(all.slice(half))
  const shown = (v: typeof straight) => v.explainAll().map((e) => (e.outcome.kind === 'told' ? { id: e.def.id, value: e.outcome.value } : { id: e.def.id, why: e.outcome.why }))
  expect(shown(second)).toEqual(shown(straight))
})

test('what is remembered does not grow with time', () => {
  const v = createVitals(site)
  const sizes: number[] = []
  for (let d = 0; d < 20; d++) {
    v.take(day(START + d * DAY))
    if (d >= 9) sizes.push(JSON.stringify(v.keep()).length)
  }
  expect(Math.max(...sizes)).toBeLessThan(150_000)
  expect((sizes.at(-1) ?? 0) - (sizes[0] ?? 0)).toBeLessThan(30_000)
})

test('ids of vitals are no ids of measured signals, and each names its formula, source and window', () => {
  for (const id of ['brackfold-refuse-depot', 'bramscar-slate-yard', 'kestrow-berth-3']) {
    const { site: s } = specOf(id)
    const defs = vitalsOf(s)
    expect(new Set(defs.map((d) => d.id)).size).toBe(defs.length)
    for (const d of defs) {
      expect(s.signals.map((x) => x.id)).not.toContain(d.id)
      expect(
        [d.formula, d.source, d.window, d.name].every((t) => t.length > 3),
        d.id,
      ).toBe(true)
      for (const i of d.inputs) expect(s.signals.map((x) => x.id)).toContain(i)
      if (d.unobservable) expect([d.unobservable.why.length, d.unobservable.unlock.length].every((n) => n > 3)).toBe(true)
    }
  }
  const measured = siteOf(`${SIGNALS}\n  tu.do.saturation: { quantity: level }`)
  expect(vitalsOf(measured).map((d) => d.id)).toContain('tu.do.saturation.computed')
})

test('alkalinity is told only from a kit value younger than 30 days, with an interval that grows', () => {
  const v = createVitals(site)
  const hourAt = (atMs: number): void => void v.take([r('tu.do', atMs, 8), r('tu.do', atMs + HOUR, 8)])
  hourAt(START)
  expect(whyOf(v, 'tu.alkalinity')).toContain('no kit value')
  const entry = { id: 1, site: site.id, kind: 'kit', atMs: START, item: 'alkalinity', value: 120, unit: 'mg/L', by: 'R. Vane', recordedMs: START } as const
  v.note(entry)
  hourAt(START + 2 * HOUR)
  const young = toldOf(v, 'tu.alkalinity')
  expect(young.value).toBe(120)
  hourAt(START + 14 * DAY)
  const older = toldOf(v, 'tu.alkalinity')
  const width = (t: typeof young): number => (t.interval?.high ?? 0) - (t.interval?.low ?? 0)
  expect(width(older)).toBeGreaterThan(2 * width(young))
  hourAt(START + 31 * DAY)
  expect(whyOf(v, 'tu.alkalinity')).toBe('the newest kit value is 31 days old and may be 30')
  v.note({ ...entry, id: 2, atMs: START + 31 * DAY, value: 60 })
  v.note({ ...entry, id: 3, atMs: START + 31 * DAY, value: 90, corrects: 2 })
  hourAt(START + 32 * DAY)
  expect(toldOf(v, 'tu.alkalinity').value).toBe(90)
})
