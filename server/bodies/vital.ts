/** A computed signal as the page shows it: its figure, or why there is none, and how it was computed. */
import type { Explanation, Input } from '../../gateway/vitals/vital.ts'
import { vitalUnit } from '../../gateway/vitals/unit.ts'
import type { VitalBody } from '../wire.ts'

export function vitalBodyOf({ def, outcome }: Explanation): VitalBody {
  const told = outcome.kind === 'told' && outcome.grade.quality !== 'bad' ? outcome : null
  const refused = outcome.kind === 'withheld' ? outcome : null
  return {
    id: def.id,
    name: def.name,
    unit: def.unit,
    unitText: def.unitText,
    unitSpoken: def.unitSpoken,
    digits: def.digits,
    stage: def.tank,
    value: told?.value ?? null,
    quality: told?.grade.quality ?? null,
    sub: told?.grade.sub ?? null,
    interval: told?.interval ? { ...told.interval } : null,
    bound: told?.bound ?? null,
    atMs: outcome.atMs === null ? null : Math.round(outcome.atMs),
    why: refused?.why ?? (told ? null : 'a reading it stands on is bad'),
    unlock: refused?.unlock ?? (told ? null : 'Good readings'),
    unobservable: def.unobservable !== null,
    formula: def.formula,
    source: def.source,
    window: def.window,
    signals: [...def.inputs],
    inputs: outcome.inputs.map(inputOf),
    notes: told ? [...told.notes] : [],
  }
}

const inputOf = (i: Input): VitalBody['inputs'][number] => ({
  from: i.from,
  what: i.what,
  value: i.value,
  unitText: vitalUnit(i.unit).text,
  atMs: i.atMs === null ? null : Math.round(i.atMs),
  quality: i.grade?.quality ?? null,
})
