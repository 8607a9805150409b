/**
 * The reference loop, common practice, no source: treatment unit 2.3 m3, two bio tanks of 7.6, finished tank 5.7, sump
 * 1.1, lance 23 L/min, 9 m3 washed from 08 to 15 h at 200 mg/L biodegradable COD, 20 C, surface re-aeration 0.1 per h.
 */
import { readSiteFile } from '../../gateway/site/site-file.ts'
import { buildPlant } from '../../simulator/process/build.ts'
import { markReference } from '../../simulator/process/balance.ts'
import { step } from '../../simulator/process/plant.ts'
import { type Plant } from '../../simulator/process/state.ts'
import type { PlantSpec, YardFacts } from '../../simulator/process/spec.ts'
import { settle, type Troubles } from '../../simulator/process/troubles.ts'

export const referenceFile = `
id: reference-loop
name: Reference loop
zone: UTC
open: { mon-sun: "08:00-15:00" }
train:
  - { stage: pad, cover: open, areaM2: 60, diverter: none }
  - { stage: sump, volumeL: 1100 }
  - { stage: filter, rollM: 1000 }
  - { stage: treatment, volumeL: 2396, retention: settling }
  - { stage: bio, volumeL: 7917, retention: settling }
  - { stage: bio, volumeL: 7917, retention: settling }
  - { stage: finished, volumeL: 5700 }
  - { stage: washer, lanceLPerMin: 23 }
equipment:
  transfer: { kind: pump, serves: [sump], flowLPerMin: 23 }
  blower: { kind: aerator, serves: [tu, bio1, bio2] }
  acid: { kind: dosing, serves: [tu], doses: acid, flowLPerMin: 0.03333 }
  nutrient: { kind: dosing, serves: [tu], doses: nutrient, flowLPerMin: 0.02 }
  ozone: { kind: ozone, serves: [finished] }
  hp: { kind: washer }
signals:
  tu.do:
consumables:
  acid: { name: Acid, full: 60, unit: L }
`

export const referenceFacts: YardFacts = {
  climate: { meanC: 15.4, seasonC: 0, dayC: 0, warmestDay: 200, strayC: 0, rainMmPerYear: 600, rainDaysPerYear: 0, humidity: 0.7, longitude: 0 },
  wash: { vehicleL: 400, vehiclesPerDay: 0, weekdays: [1, 1, 1, 1, 1, 1, 1], hours: Array.from({ length: 24 }, () => 1), trigger: 0.93 },
  dirt: { cod: 170, inert: 110, oil: 0, surfactant: 15, solids: 300, alkalinity: 0, salt: 60, nitrogen: 8 },
  makeUp: { flowLPerMin: 8, startPct: 50, stopPct: 70, alkalinity: 85, salt: 200, ph: 7.6 },
  kla: { treatment: 10, bio: 3 },
  biomass: [900, 250, 150],
  carryOff: 0,
  mist: 0,
  indoorC: 13,
  dosePh: 99,
  ozoneGPerH: 0,
  voltage: 400,
}

export function referenceSpec(over: Partial<YardFacts> = {}, file = referenceFile): PlantSpec {
  const read = readSiteFile('reference.yaml', file)
  if (!read.ok) throw new Error(read.faults.map((f) => f.message).join('\n'))
  return { site: read.site, facts: { ...referenceFacts, ...over }, seed: 7 }
}

const HOUR = 3_600_000
/** A Monday, 00:00 UTC. */
export const MONDAY = Date.UTC(2026, 5, 1)

/** Washing as in the reference: without a break from 08 to 15 h. */
export const asReference = (p: Plant, t: Troubles): void => {
  const hour = (p.nowMs / HOUR) % 24
  t.rush = hour >= 8 && hour < 15 ? 1 : 0
}

/** Steps to a moment; `arrange` adds to the reference day before each step. */
export function runUntil(p: Plant, atMs: number, arrange?: (t: Troubles, p: Plant) => void): Plant {
  while (p.nowMs < atMs) {
    settle(p.troubles)
    asReference(p, p.troubles)
    arrange?.(p.troubles, p)
    step(p)
  }
  return p
}

const settled = new Map<string, Plant>()

/** The loop after four reference days, at `hour` of the fifth. Settled once per set of facts, then copied. */
export function settledReference(hour: number, over: Partial<YardFacts> = {}): Plant {
  const key = JSON.stringify(over)
  let base = settled.get(key)
  if (!base) {
    base = runUntil(buildPlant(referenceSpec(over), MONDAY), MONDAY + 4 * 24 * HOUR)
    markReference(base)
    settled.set(key, base)
  }
  return runUntil(copyOf(base), MONDAY + (4 * 24 + hour) * HOUR)
}

/** A second plant in the same state; only the wandering of its mains is drawn anew. */
function copyOf(p: Plant): Plant {
  const q = buildPlant(p.spec, p.nowMs)
  const {
    spec: _s,
    seed: _e,
    water,
    tanks,
    machines,
    book,
    drums,
    reference,
    troubles: _t,
    biology: _b,
    around: _a,
    look: _l,
    wash: _w,
    next: _n,
    mains: _m,
    mainsWater,
    ...rest
  } = p
  for (const [key, value] of Object.entries(rest)) {
    const own: unknown = Reflect.get(q, key)
    if (typeof value === 'object' && value !== null) Object.assign(own as object, value)
    else Reflect.set(q, key, value)
  }
  const pairs = [[q.water.pad, water.pad] as const, ...tanks.map((t, i) => [q.tanks[i], t] as const)]
  for (const [to, from] of pairs) {
    if (!to) throw new Error('another plant')
    const { water: w, culture, k, ...plain } = from
    Object.assign(to, plain)
    to.water.litres = w.litres
    to.water.m.set(w.m)
    Object.assign(to.culture, culture)
    Object.assign(to.k, k)
  }
  for (const [id, m] of machines) Object.assign(q.machines.get(id) ?? {}, m)
  Object.assign(q.water.paper, water.paper)
  const { inL, outL, came, went, ...sums } = book
  Object.assign(q.book, sums)
  Object.assign(q.book.inL, inL)
  Object.assign(q.book.outL, outL)
  q.book.came.set(came)
  q.book.went.set(went)
  for (const [id, d] of drums) Object.assign(q.drums.get(id) ?? {}, d)
  for (const [id, v] of reference) q.reference.set(id, v)
  q.mainsWater.set(mainsWater)
  return q
}

export const hoursLater = (p: Plant, h: number): number => p.nowMs + h * HOUR
