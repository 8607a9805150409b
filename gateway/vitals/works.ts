/** What all vitals of a loop share: newest readings, memory, site log, the washing, sums per signal; and how a vital is put together. */
import type { EntryKind } from '../log/entry.ts'
import { stationPressureAtm } from '../process/oxygen.ts'
import type { Signal, Site } from '../site/site.ts'
import { tallyCounter, tallyHeld, type Tally } from './counting.ts'
import { createLogBook, type LogBook } from './log-book.ts'
import { createMemory, type Kept, type Memory } from './memory.ts'
import { makeUpMeter } from './places.ts'
import { createSlots, type Slot, type Slots } from './slots.ts'
import { vitalUnit } from './unit.ts'
import { type Input, type Outcome, type Vital, type VitalDef, withheld } from './vital.ts'
import { type Washing, washingOf } from './washing.ts'

export interface Works {
  readonly site: Site
  readonly slots: Slots
  readonly memory: Memory
  readonly book: LogBook
  readonly washing: Washing | null
  readonly makeUp: { readonly signal: Signal; readonly tally: Tally } | null
  readonly pressureAtm: number
  /** Hourly sums of a contact (h) or counter, made once per signal. mostPerH: fastest a counter can move. */
  running(signal: Signal): Tally
  counting(signal: Signal, mostPerH: number): Tally
  slot(signal: Signal): Slot
}

/** No make-up valve gives more, L/h. */
const MOST_MAKE_UP = 12_000

export function createWorks(site: Site, kept: Kept | null): Works {
  const slots = createSlots(site)
  const memory = createMemory(kept)
  const book = createLogBook(memory)
  const tallies = new Map<string, Tally>()
  const slot = (signal: Signal): Slot => {
    const found = slots.of(signal.id)
    if (!found) throw new Error(`BUG: ${signal.id} is no signal of ${site.id}`)
    return found
  }
  const replacedOf = (id: string) => (): readonly number[] => book.of('replacement').flatMap((n) => (n.about === id ? n.atMs : []))
  const once = (key: string, make: () => Tally): Tally => {
    const t = tallies.get(key) ?? make()
    tallies.set(key, t)
    return t
  }
  const works = {
    site,
    slots,
    memory,
    book,
    washing: washingOf(site, slots, memory, book),
    pressureAtm: stationPressureAtm(Math.min(5500, Math.max(-500, site.altitudeM ?? 0))),
    running: (signal: Signal): Tally => once(`run ${signal.id}`, () => tallyHeld(slot(signal), memory, 1)),
    counting: (signal: Signal, mostPerH: number): Tally => once(`count ${signal.id}`, () => tallyCounter(slot(signal), memory, mostPerH, replacedOf(signal.id))),
    slot,
  }
  const meter = makeUpMeter(site)
  const tally =
    meter === null
      ? null
      : meter.quantity === 'flow'
        ? tallyHeld(slot(meter), memory, 60)
        : tallyCounter(slot(meter), memory, MOST_MAKE_UP, replacedOf(meter.id), meter.unit === 'm3' ? 1000 : 1)
  return { ...works, makeUp: meter && tally ? { signal: meter, tally } : null }
}

export interface Sketch {
  readonly id: string
  readonly name: string
  readonly unit: string
  readonly digits: number
  readonly tank?: string
  readonly inputs: readonly (Signal | null | undefined)[]
  readonly entries?: readonly EntryKind[]
  readonly formula: string
  readonly source: string
  readonly window: string
}

export const PRACTICE = 'common practice, no source'

function defOf(site: Site, s: Sketch, unobservable: VitalDef['unobservable']): VitalDef {
  const unit = vitalUnit(s.unit)
  return {
    // A controller may measure what we compute, under the same name: then both are shown.
    id: site.signals.some((x) => x.id === s.id) ? `${s.id}.computed` : s.id,
    name: s.name,
    unit: s.unit,
    unitText: unit.text,
    unitSpoken: unit.spoken,
    digits: s.digits,
    tank: s.tank ?? null,
    inputs: [...new Set(s.inputs.flatMap((x) => x?.id ?? []))],
    entries: s.entries ?? [],
    formula: s.formula,
    source: s.source,
    window: s.window,
    unobservable,
  }
}

export function seen(w: Works, s: Sketch, pace: Vital['pace'], compute: (atMs: number) => Outcome, version: () => number = () => 0): Vital {
  return { def: defOf(w.site, s, null), pace, compute, version }
}

/** Not to be told on this loop, whatever it sends. */
export function blind(w: Works, s: Sketch, why: string, unlock: string): Vital {
  return { def: defOf(w.site, s, { why, unlock }), pace: 'event', compute: () => withheld(why, unlock), version: () => 0 }
}

/** A fact of the site file that went in. */
export const fact = (what: string, value: number, unit: string): Input => ({ from: 'site', what, value, unit, atMs: null, grade: null })
/** Something counted, measured or fitted along the way. */
export const found = (from: string, what: string, value: number, unit: string, atMs: number | null, grade: Input['grade'] = null): Input => ({
  from,
  what,
  value,
  unit,
  atMs,
  grade,
})
