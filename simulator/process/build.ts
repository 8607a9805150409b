/**
 * Building a plant from its site file and the facts of its yard, as it might stand at a moment: tanks full of aerated water,
 * culture grown, hour meters some seasons old. Some days of running settle it.
 */
import { draw, hashText, prng } from '../random.ts'
import { referenceModel } from './asm1-biology.ts'
import { type Culture, cultureCod, cultureN, workingModel } from './biology.ts'
import { carbonAt, carbonate } from './chemistry.ts'
import { control } from './control.ts'
import { surfacePerH } from './figures.ts'
import { type Paper, paper } from './filter.ts'
import { type Machine, machine, mains } from './machines.ts'
import { airPressure, alpha } from './oxygen.ts'
import { add, ALKALINITY, book, CACO3, CARBON, CORE, HEAT, NITROGEN, OXYGEN, SALT, SPECIES } from './species.ts'
import { CREST, GAS, type PlantSpec, stageOf } from './spec.ts'
import type { Plant } from './state.ts'
import { fill, tank } from './tank.ts'
import { calm } from './troubles.ts'
import { washing } from './washing.ts'
import { weather } from './weather.ts'

/** Builds a plant as it might stand at `atMs`: tanks full of aerated water, culture grown, floats in the middle. Run it for some days to settle. */
export function buildPlant(spec: PlantSpec, atMs: number): Plant {
  const { site, facts } = spec
  // Each yard has its own luck under the same fleet seed.
  const seed = spec.seed ^ hashText(site.id)
  const look = weather(facts.climate, seed)
  const sky = { ...look(atMs) }
  const b = book()
  const atm = airPressure(site.altitudeM ?? 0)
  const reference = spec.biology === 'asm1'
  const biology = reference ? referenceModel() : workingModel()
  const species = reference ? SPECIES : CORE
  const grown = (mgPerL: number, volumeL: number, retention: string | null): Culture => {
    // Of the water, not of the free board and the bubbles above and in it.
    const litres = CREST * (1 - GAS) * volumeL
    return {
      // Without carriers or settling the culture is what the flow leaves of it.
      active: ((retention === 'none' ? 0.15 : 1) * mgPerL * litres) / 1000,
      store: ((retention === 'none' ? 0.5 : 1.2) * mgPerL * litres) / 1000,
      dead: 0,
      anoxicH: 0,
      nitrifiers: reference && retention !== 'none' ? (0.02 * mgPerL * litres) / 1000 : 0,
      storeN: 0,
      room: ((mgPerL / 0.92) * litres) / 1000,
      ready: 1,
      carriers: retention === 'carriers',
      washout: retention === 'none' ? 1 : retention === 'settling' ? 0.004 : 0,
    }
  }
  const bare: Culture = { active: 0, store: 0, dead: 0, ready: 1, nitrifiers: 0, storeN: 0, anoxicH: 0, room: 0, carriers: false, washout: 0 }
  const indoors = facts.indoorC !== null
  const aerated = site.stages.filter((s) => s.kind === 'treatment' || s.kind === 'bio')
  // Alpha at normal load is about 0.7: the site's KLa is the value people measure, so clean water gets more.
  const bio = aerated.map((s, i) =>
    tank(
      {
        id: s.id,
        kind: s.kind as 'treatment' | 'bio',
        volumeL: s.volumeL ?? 2300,
        culture: grown(facts.biomass[Math.min(i, facts.biomass.length - 1)] ?? 100, s.volumeL ?? 2300, s.retention),
        klaClean: s.kind === 'treatment' ? facts.kla.treatment / alpha(5) : facts.kla.bio / alpha(1),
        surface: surfacePerH,
        areaM2: s.kind === 'treatment' ? 1.5 : 4,
        tauH: indoors ? 60 : 36,
      },
      species,
    ),
  )
  const finishedStage = stageOf(site, 'finished')
  const finished = tank(
    {
      id: finishedStage?.id ?? 'finished',
      kind: 'finished',
      volumeL: finishedStage?.volumeL ?? 5700,
      culture: { ...bare },
      klaClean: 0,
      surface: 0.25,
      areaM2: 3,
      tauH: 50,
    },
    species,
  )
  const sumpStage = stageOf(site, 'sump')
  const sump = sumpStage
    ? tank({ id: sumpStage.id, kind: 'sump', volumeL: sumpStage.volumeL ?? 1100, culture: { ...bare }, klaClean: 0, surface: 0.3, areaM2: 1, tauH: 80 }, species)
    : null
  const padStage = stageOf(site, 'pad')
  const padM2 = padStage?.pad?.areaM2 ?? 60
  const pad = tank({ id: padStage?.id ?? 'pad', kind: 'pad', volumeL: padM2 * 20, culture: { ...bare }, klaClean: 0, surface: 20, areaM2: padM2, tauH: 2 }, species)
  const rollM = stageOf(site, 'filter')?.rollM ?? 100
  const sheet: Paper = paper(rollM, rollM * (0.1 + 0.6 * draw(seed, 'roll', 0)))
  const machines = new Map(site.equipment.map((e) => [e.id, machine(e, DEFAULT_FLOW[e.kind] ?? 0, DEFAULT_AMPS[e.kind] ?? 2)]))
  const pumpOf = (kind: string, id: string): Machine => {
    for (const m of machines.values()) if (m.kind === kind) return m
    const made = machine(
      { id, kind: kind as Machine['kind'], name: id, serves: [], nameplateA: null, flowLPerMin: null, doses: null, longestPlannedOffMs: 0 },
      DEFAULT_FLOW[kind] ?? 0,
      2,
    )
    machines.set(id, made)
    return made
  }
  // Hour meters and counters of a loop some seasons old.
  for (const m of machines.values()) {
    m.runS = Math.round(draw(seed, `hours ${m.id}`, 0) * 6000 * 3600 * (m.kind === 'aerator' ? 2 : 0.3))
    m.starts = Math.round((m.runS / 3600) * (m.kind === 'aerator' ? 0.02 : 6))
  }
  const startC = indoors ? Math.max(facts.indoorC ?? 10, sky.groundC + 4) : Math.max(3, 0.6 * sky.groundC + 0.4 * sky.airC + 2)
  const alk0 = site.equipment.some((e) => e.doses === 'acid' || e.doses === 'alum') ? Math.min(95, facts.makeUp.alkalinity) : facts.makeUp.alkalinity * 1.15
  const salt0 = facts.makeUp.salt * 1.2 + facts.dirt.salt * 3
  for (const t of bio) fill(t, CREST * t.volumeL, startC, alk0, salt0, atm, b)
  fill(finished, finished.volumeL * (facts.makeUp.startPct / 100 + 0.25), startC, alk0, salt0, atm, b)
  if (sump) fill(sump, sump.volumeL * 0.3, startC, alk0, salt0, atm, b)
  fill(pad, 2, sky.airC > 2 ? sky.airC : 2, alk0, salt0, atm, b)
  const mainsWater = new Float64Array(SPECIES)
  b.grownG = bio.reduce((g, t) => g + cultureCod(t.culture), 0)
  b.grownN = bio.reduce((g, t) => g + cultureN(t.culture, biology.nitrogen), 0)
  for (const t of bio) add(t.water, NITROGEN, (0.8 * t.water.litres) / 1000, b)
  const plant: Plant = {
    spec,
    seed,
    nowMs: atMs,
    water: { pad, sump, bio, finished, paper: sheet, kerbL: padM2 * POND_MM },
    tanks: [...(sump ? [sump] : []), ...bio, finished],
    machines,
    transfer: pumpOf('pump', 'transfer'),
    washer: pumpOf('washer', 'hp'),
    mains: mains(facts.voltage),
    control: control(site),
    flows: {
      lance: 0,
      transfer: 0,
      makeUp: 0,
      rainMmPerH: 0,
      diverted: false,
      padM2,
      carryOff: facts.carryOff,
      mist: facts.mist,
      airC: sky.airC,
      humidity: sky.humidity,
      dirtier: 1,
      hotC: 0,
      crestBlocked: new Set<string>(),
    },
    moved: { washed: 0, lifted: 0, madeUp: 0, overflowed: 0 },
    sky,
    yard: { onPad: false, trigger: false, dirt: 1 },
    troubles: calm(),
    book: b,
    biology,
    around: { biology, book: b, atm, fouling: 0, alkalinityUse: 0, celsius: startC, acidity: true },
    pocket: { alkMol: 0, saltG: 0 },
    drums: new Map(site.consumables.filter((c) => c.unit === 'L').map((c) => [c.id, { leftL: c.full * (0.25 + 0.7 * draw(seed, `drum ${c.id}`, 0)), fullL: c.full }])),
    meters: { makeUpL: Math.round(draw(seed, 'make-up meter', 0) * 400_000), washL: Math.round(draw(seed, 'wash meter', 0) * 1_900_000) },
    mainsWater,
    reference: new Map(),
    uptimeS: Math.round(draw(seed, 'uptime', 0) * 40 * 86_400),
    look,
    wash: washing({ ...facts.wash, zone: site.zone, open: site.open, lanceLPerMin: stageOf(site, 'washer')?.lanceLPerMin ?? 23 }, seed),
    next: prng(seed, 'mains'),
    atm,
    washedAgoS: 6 * 3600,
    servedMs: atMs - draw(seed, 'served', 0) * 30 * 86_400_000,
    probeTypes: new Map(site.signals.filter((s) => s.quantity === 'do').map((s) => [s.id, draw(seed, `probe type ${s.id}`, 0) < 0.6 ? 'optical' : 'membrane'] as const)),
    openNow: true,
    openCheckedMs: Number.NaN,
  }
  renewMainsWater(plant)
  return plant
}

/** Water that stands on a pad before it runs over the threshold, mean depth: pads fall to a trench at their gate. Common practice, no source. */
const POND_MM = 5

const DEFAULT_FLOW: Readonly<Record<string, number>> = { pump: 40, dosing: 0.0333 }
const DEFAULT_AMPS: Readonly<Record<string, number>> = { pump: 2.4, aerator: 4.6, dosing: 0.2, ozone: 1.6, washer: 21, 'filter-drive': 0.6 }

const constants = { k1: 0, k2: 0, kh: 0, kw: 0 }

/** Mains water follows the ground's temperature. */
export function renewMainsWater(p: Plant): void {
  const w = p.spec.facts.makeUp
  const m = p.mainsWater
  carbonate(constants, p.sky.groundC)
  const alk = (w.alkalinity * (1 - p.troubles.softened)) / 1000 / CACO3
  m[ALKALINITY] = alk
  m[CARBON] = carbonAt(w.ph, alk, constants)
  m[SALT] = w.salt / 1000
  m[OXYGEN] = 0.009
  m[HEAT] = Math.max(3, p.sky.groundC)
}
