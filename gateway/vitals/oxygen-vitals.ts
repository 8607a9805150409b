/** Oxygen of a tank now: how much of what the water could hold, and how hard the demand presses on the supply. */
import { percentOfSaturation, salinityFromConductivity, saturationMgPerL } from '../process/oxygen.ts'
import type { Stage } from '../site/site.ts'
import { airOf, type Air } from './air.ts'
import { doubted, worst } from './grade.ts'
import { at, loopConductivity, temperatureOf, theStage } from './places.ts'
import { inputOf, type Slot, valueAt } from './slots.ts'
import { interval80, ofStep } from './spread.ts'
import { type Input, type Outcome, type Vital, withheld } from './vital.ts'
import { blind, fact, seen, type Sketch, type Works } from './works.ts'

/** Gain error of an oxygen probe between calibrations, share, and doubt about a temperature that is of another tank, degrees. Common practice, no source. */
const PROBE_SHARE = 0.02
const OTHER_TANK_CEL = 1.5
/** Oxygen is taken to fall by so much of itself per degree near room temperature; only widens the interval. */
const PER_CEL = 0.02
const SOURCE =
  'Benson & Krause 1980/1984, as in USGS Office of Water Quality Technical Memorandum 2011.03 and Standard Methods 4500-O; air pressure from the altitude of the site; salt from conductivity where it is measured, else none'

export interface Oxygen {
  readonly stage: Stage
  readonly oxygen: Slot
  readonly temperature: { readonly slot: Slot; readonly own: boolean }
  readonly air: Air | null
  readonly salinity: (atMs: number) => number
  readonly saturation: (atMs: number) => { readonly value: number; readonly inputs: readonly Input[] } | string
}

/** null: oxygen or temperature is not measured. */
export function oxygenOf(w: Works, stage: Stage): Oxygen | null {
  const oxygen = at(w.site, stage.id, 'do')
  const t = temperatureOf(w.site, stage.id)
  if (!oxygen || !t) return null
  const conductivity = loopConductivity(w.site)
  const salt = conductivity && w.slot(conductivity)
  const temperature = { slot: w.slot(t.signal), own: t.own }
  const salinity = (atMs: number): number => {
    const v = salt ? valueAt(salt, atMs) : 'none'
    return typeof v === 'number' ? salinityFromConductivity(Math.min(58_000, Math.max(0, v))) : 0
  }
  return {
    stage,
    oxygen: w.slot(oxygen),
    temperature,
    air: airOf(w.site, stage.id, w.slots),
    salinity,
    saturation(atMs) {
      const celsius = valueAt(temperature.slot, atMs)
      if (typeof celsius === 'string') return celsius
      if (celsius < 0 || celsius > 40) return `the water temperature of ${celsius} °C is outside 0 to 40`
      const inputs = [inputOf(temperature.slot), fact(w.site.altitudeM === null ? 'altitude, not written down: sea level' : 'altitude', w.site.altitudeM ?? 0, 'm')]
      if (salt && typeof valueAt(salt, atMs) === 'number') inputs.push(inputOf(salt))
      return { value: saturationMgPerL(celsius, salinity(atMs), w.pressureAtm), inputs }
    },
  }
}

export function oxygenVitals(w: Works, stage: Stage, o: Oxygen | null): readonly Vital[] {
  const place = stage.name.toLowerCase()
  const saturation: Sketch = {
    id: `${stage.id}.do.saturation`,
    name: `Oxygen saturation, ${place}`,
    unit: '%',
    digits: 0,
    tank: stage.id,
    inputs: [o?.oxygen.signal, o?.temperature.slot.signal, o ? loopConductivity(w.site) : null],
    formula: '100 x oxygen / C*, where C* is what water of this temperature, salt and air pressure holds from air',
    source: SOURCE,
    window: 'newest reading',
  }
  const demand: Sketch = {
    ...saturation,
    id: `${stage.id}.do.demand`,
    name: `Oxygen demand against supply, ${place}`,
    inputs: [...saturation.inputs, ...(o?.air?.slots.map((s) => s.signal) ?? [])],
    formula: '100 x (C* - oxygen) / C*: share of the most the air could supply that is in use. Not an uptake: load or transfer cannot be told apart without an air-off test',
    source: 'balance of oxygen at rest, dC/dt = KLa (C* - C) - uptake = 0',
  }
  if (!o) {
    const why = at(w.site, stage.id, 'do') ? 'the temperature of the water is not measured' : `oxygen is not measured in ${theStage(stage)}`
    const unlock = at(w.site, stage.id, 'do') ? `Temperature in ${theStage(stage)}` : `Oxygen in ${theStage(stage)}`
    return stage.kind === 'treatment' || at(w.site, stage.id, 'do') ? [blind(w, saturation, why, unlock), blind(w, demand, why, unlock)] : [blind(w, saturation, why, unlock)]
  }
  const level = (atMs: number): { doNow: number; cs: number; inputs: readonly Input[]; notes: string[] } | Outcome => {
    const doNow = valueAt(o.oxygen, atMs)
    if (typeof doNow === 'string') return withheld(doNow, `A good reading of ${o.oxygen.signal.name.toLowerCase()}`, [inputOf(o.oxygen)], atMs)
    const cs = o.saturation(atMs)
    if (typeof cs === 'string') return withheld(cs, `A good reading of ${o.temperature.slot.signal.name.toLowerCase()}`, [inputOf(o.temperature.slot)], atMs)
    const notes = o.temperature.own ? [] : [`Temperature is that of ${o.temperature.slot.signal.id}: a degree or two may lie between the tanks.`]
    return {
      doNow: Math.min(60, Math.max(0, doNow)),
      cs: cs.value,
      inputs: [inputOf(o.oxygen), ...cs.inputs, { from: 'computed', what: 'C*', value: cs.value, unit: 'mg/L', atMs, grade: null }],
      notes,
    }
  }
  const deviations = (doNow: number, cs: number): readonly number[] => {
    const { resolution } = o.oxygen.signal
    return [(100 * ofStep(resolution)) / cs, (100 * PROBE_SHARE * doNow) / cs, o.temperature.own ? 0 : (100 * PER_CEL * OTHER_TANK_CEL * doNow) / cs]
  }
  const gradeOf = (inputs: readonly Input[]) => (o.temperature.own ? worst(inputs.map((i) => i.grade)) : doubted(worst(inputs.map((i) => i.grade)), 'substitute'))
  return [
    seen(w, saturation, 'beat', (atMs) => {
      const l = level(atMs)
      if ('kind' in l) return l
      const value = percentOfSaturation(l.doNow, l.cs)
      const high =
        value > 110
          ? ['Above 110 %: probe, or gas richer than air; check the probe in air.']
          : value > 100
            ? ['103 to 107 % at rest is the depth of the diffusers, not a fault.']
            : []
      return {
        kind: 'told',
        value,
        interval: interval80(value, deviations(l.doNow, l.cs), 0),
        bound: null,
        atMs,
        grade: gradeOf(l.inputs),
        inputs: l.inputs,
        notes: [...l.notes, ...high],
      }
    }),
    o.air === null
      ? blind(w, demand, 'no signal tells whether this tank has air', 'Run contact or air pressure of the blower')
      : seen(w, demand, 'beat', (atMs) => {
          const on = o.air?.on(atMs)
          const airInputs = o.air?.slots.map(inputOf) ?? []
          if (on !== true)
            return withheld(
              on === false ? 'the air is off: nothing is supplied' : 'whether the air is on is not known now',
              on === false ? 'Air' : 'A good reading of the blower',
              airInputs,
              atMs,
            )
          const l = level(atMs)
          if ('kind' in l) return l
          const inputs = [...l.inputs, ...airInputs]
          const value = Math.max(0, (100 * (l.cs - l.doNow)) / l.cs)
          return {
            kind: 'told',
            value,
            interval: interval80(value, deviations(l.doNow, l.cs), 0),
            bound: l.doNow <= o.oxygen.signal.resolution ? 'at-least' : null,
            atMs,
            grade: gradeOf(inputs),
            inputs,
            notes: [...l.notes, 'More can be load (dirt, detergent) or less transfer (fouled diffusers, torn line): an air-off test tells which.'],
          }
        }),
  ]
}
