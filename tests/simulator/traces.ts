/**
 * A scenario run twice on the reference loop, with the fault and without, and what can be said of the difference: which way each
 * quantity went, when it first left its normal, and what came before what.
 */
import { readSiteFile } from '../../gateway/site/site-file.ts'
import { strength, type Fault, type FaultKind } from '../../simulator/faults/fault.ts'
import { KINDS } from '../../simulator/faults/kinds.ts'
import { instruments } from '../../simulator/instruments.ts'
import { activity } from '../../simulator/process/balance.ts'
import { ALKALINITY, CACO3, conc, SALT } from '../../simulator/process/species.ts'
import type { Plant } from '../../simulator/process/state.ts'
import type { YardFacts } from '../../simulator/process/spec.ts'
import { type Truth, truthOf } from '../../simulator/truth.ts'
import { referenceFile, runUntil, settledReference } from './reference-loop.ts'

/** What is watched, and how far it must be from the healthy twin to count as changed (absolute, and as a share of the twin's). */
export const WATCHED = {
  oxygen: { what: 'oxygen shown, treatment unit, mg/L', abs: 0.4, share: 0 },
  uptake: { what: 'uptake, treatment unit, mg/L/h', abs: 0.8, share: 0.15 },
  saturated: { what: 'oxygen, treatment unit, % of saturation', abs: 3, share: 0 },
  oxygen2: { what: 'oxygen, bio tank 1, mg/L', abs: 0.4, share: 0 },
  uptake2: { what: 'uptake, bio tank 1, mg/L/h', abs: 0.5, share: 0.15 },
  ph: { what: 'pH shown, treatment unit', abs: 0.1, share: 0 },
  truePh: { what: 'true pH, treatment unit', abs: 0.1, share: 0 },
  redox: { what: 'redox potential, treatment unit, mV', abs: 20, share: 0 },
  celsius: { what: 'temperature, treatment unit', abs: 0.7, share: 0 },
  h2s: { what: 'hydrogen sulfide over the treatment unit, ppm', abs: 0.5, share: 0 },
  turbidity: { what: 'turbidity, finished water, NTU', abs: 2, share: 0.3 },
  milky: { what: 'turbidity, treatment unit, NTU', abs: 5, share: 0.3 },
  foam: { what: 'level shown by an ultrasonic head, treatment unit, %', abs: 1, share: 0 },
  pressure: { what: 'air pressure, mbar', abs: 4, share: 0 },
  blowerA: { what: 'blower current, A', abs: 0.3, share: 0 },
  transferA: { what: 'transfer pump current, mean of the span, A', abs: 0.25, share: 0 },
  sump: { what: 'sump level, %', abs: 15, share: 0 },
  finished: { what: 'finished-water level, %', abs: 3, share: 0 },
  washedL: { what: 'litres washed since the start', abs: 300, share: 0.1 },
  makeUpL: { what: 'make-up litres since the start', abs: 300, share: 0.2 },
  dosedL: { what: 'acid dosed since the start, L', abs: 0.05, share: 0.15 },
  salt: { what: 'salt, treatment unit, mg/L', abs: 10, share: 0.06 },
  loopSalt: { what: 'salt, mean of the whole loop, mg/L', abs: 10, share: 0.02 },
  alkalinity: { what: 'alkalinity, treatment unit, mg CaCO3/L', abs: 3, share: 0.05 },
  phase2: { what: 'mains voltage L2, V', abs: 40, share: 0 },
  uptimeH: { what: 'time since controller start, h', abs: 1, share: 0 },
  activity: { what: 'fed uptake against before', abs: 0.05, share: 0 },
  lostL: { what: 'litres lost by overflow and leak', abs: 50, share: 0 },
} as const
export type Watched = keyof typeof WATCHED
export const WATCHED_NAMES = Object.keys(WATCHED) as readonly Watched[]

export type Row = Readonly<Record<Watched, number>>

export interface Trace {
  /** Hours since onset of each row; below zero before it. */
  readonly hours: readonly number[]
  readonly struck: readonly Row[]
  readonly sound: readonly Row[]
  readonly endH: number | null
  readonly onsetHourOfDay: number
}

export interface Run {
  readonly kind: FaultKind
  /** Hour of the day of onset. */
  readonly hour: number
  readonly lastsH: number | null
  readonly watchH: number
  readonly size?: number
  readonly rampH?: number
  readonly at?: string
  readonly facts?: Partial<YardFacts>
  /** No washing in either twin after onset. */
  readonly idle?: boolean
}

const MIN = 60_000
const HOUR = 60 * MIN
const LEAD_H = 1

const shownFile = referenceFile.replace('  tu.do:\n', '  tu.do: { resolution: 0.01 }\n  tu.ph: { resolution: 0.01 }\n')
const shownSite = (() => {
  const read = readSiteFile('reference.yaml', shownFile)
  if (!read.ok) throw new Error(read.faults.map((f) => f.message).join('\n'))
  return read.site
})()

/** Steps a plant from an hour before onset and notes a row every `everyMin`. */
function watch(run: Run, fault: Fault | null, everyMin: number): { readonly hours: number[]; readonly rows: Row[] } {
  const p = settledReference(run.hour - LEAD_H, run.facts)
  const onsetMs = p.nowMs + LEAD_H * HOUR
  // A drum that runs out in the healthy twin would be a fault of its own.
  for (const d of p.drums.values()) d.leftL = d.fullL
  const list = instruments(shownSite, p)
  const oxygen = list.find((i) => i.signal.id === 'tu.do')
  const ph = list.find((i) => i.signal.id === 'tu.ph')
  const tu = p.water.bio[0]
  const next = p.water.bio[1]
  if (!tu || !next || !oxygen || !ph) throw new Error('not the reference loop')
  const start = { washed: p.book.washedL, makeUp: p.meters.makeUpL, drum: p.drums.get('acid')?.leftL ?? 0, lost: p.book.outL.overflow + p.book.outL.leak }
  const struck = fault && { ...fault, onsetMs, endMs: run.lastsH === null ? null : onsetMs + run.lastsH * HOUR }
  const hours: number[] = []
  const rows: Row[] = []
  let transfer = 0
  let steps = 0
  const pct = (t: { water: { litres: number }; volumeL: number } | null): number => (t ? (100 * t.water.litres) / t.volumeL : Number.NaN)
  while (p.nowMs <= onsetMs + run.watchH * HOUR) {
    runUntil(p, p.nowMs + 10_000, (t, plant) => {
      if (run.idle && plant.nowMs >= onsetMs) t.noWash = true
      const s = struck ? strength(struck, plant.nowMs) : 0
      if (struck && s !== 0) KINDS[struck.kind].apply(t, s, struck, plant)
    })
    oxygen.follow(p, 10)
    ph.follow(p, 10)
    transfer += p.transfer.currentA
    steps++
    if ((p.nowMs - onsetMs) % (everyMin * MIN) !== 0) continue
    hours.push((p.nowMs - onsetMs) / HOUR)
    rows.push({
      oxygen: oxygen.read(p) ?? Number.NaN,
      uptake: tu.uptake,
      saturated: (100 * tu.oxygen) / tu.saturated,
      oxygen2: next.oxygen,
      uptake2: next.uptake,
      ph: ph.read(p) ?? Number.NaN,
      truePh: tu.ph,
      redox: tu.redox,
      celsius: tu.celsius,
      h2s: shown(p, 'tu.h2s', 'h2s'),
      turbidity: shown(p, 'finished.turbidity', 'turbidity'),
      milky: shown(p, 'tu.turbidity', 'turbidity'),
      foam: shown(p, 'tu.level', 'level'),
      pressure: shown(p, 'blower.pressure', 'pressure'),
      blowerA: p.machines.get('blower')?.currentA ?? 0,
      transferA: transfer / steps,
      sump: pct(p.water.sump),
      finished: pct(p.water.finished),
      washedL: p.book.washedL - start.washed,
      makeUpL: p.meters.makeUpL - start.makeUp,
      dosedL: start.drum - (p.drums.get('acid')?.leftL ?? 0),
      salt: conc(tu.water, SALT),
      loopSalt: (1000 * p.tanks.reduce((g, t) => g + (t.water.m[SALT] ?? 0), 0)) / p.tanks.reduce((l, t) => l + t.water.litres, 0),
      alkalinity: CACO3 * conc(tu.water, ALKALINITY),
      phase2: p.mains.phases[1] ?? 0,
      uptimeH: p.uptimeS / 3600,
      activity: activity(p),
      lostL: p.book.outL.overflow + p.book.outL.leak - start.lost,
    })
    transfer = 0
    steps = 0
  }
  return { hours, rows }
}

/** Truth of a signal the reference loop has no instrument for. */
function shown(p: Plant, id: string, quantity: 'turbidity' | 'level' | 'pressure' | 'h2s'): number {
  let of = truths.get(p)
  if (!of) truths.set(p, (of = new Map()))
  const read = of.get(id) ?? truthOf(shownSite, { ...shownSite.signals[0], id, quantity } as Parameters<typeof truthOf>[1])
  if (!read) throw new Error(`nothing answers ${id}`)
  of.set(id, read)
  return read(p)
}
/** Answers belong to the plant they were first asked of. */
const truths = new WeakMap<Plant, Map<string, Truth>>()

const twins = new Map<string, readonly Row[]>()

export function trace(run: Run): Trace {
  const everyMin = run.watchH > 48 ? 10 : 1
  const fault: Fault = {
    id: run.kind,
    kind: run.kind,
    site: 'reference-loop',
    onsetMs: 0,
    endMs: null,
    ...(run.size !== undefined && { size: run.size }),
    ...(run.rampH !== undefined && { rampMs: run.rampH * HOUR }),
    ...(run.at !== undefined && { at: run.at }),
  }
  const { hours, rows } = watch(run, fault, everyMin)
  const key = JSON.stringify([run.hour, run.facts, run.watchH, run.idle])
  const sound = twins.get(key) ?? watch(run, null, everyMin).rows
  twins.set(key, sound)
  return { hours, struck: rows, sound, endH: run.lastsH, onsetHourOfDay: run.hour }
}

export type Sign = '+' | '-' | '0'

/** A quantity, which way it is off in a span of hours after onset (or after the end), and at which hours of the day it is looked at. */
export interface Expected {
  readonly of: Watched
  readonly sign: Sign
  readonly fromH: number
  readonly toH: number
  readonly after?: 'onset' | 'end'
  /** Only rows between these hours of the day. */
  readonly hours?: readonly [number, number]
  /** Mean of the struck loop must be below or above this. */
  readonly below?: number
  readonly above?: number
}

/** A bound a quantity first passes within a span of hours after onset: its own figure, or (`by`) its distance to the healthy twin. */
export interface Passing {
  readonly of: Watched
  readonly below?: number
  readonly above?: number
  readonly by?: number
  readonly fromH: number
  readonly toH: number
  readonly hours?: readonly [number, number]
}

/** Hours after onset at which the bound is passed for two rows on end; infinite when it never is. */
export function passes(t: Trace, e: Passing): number {
  const over = (i: number): boolean => {
    const v = t.struck[i]?.[e.of] ?? Number.NaN
    const by = v - (t.sound[i]?.[e.of] ?? Number.NaN)
    return (e.below === undefined || v < e.below) && (e.above === undefined || v > e.above) && (e.by === undefined || (e.by > 0 ? by >= e.by : by <= e.by))
  }
  for (let i = 0; i < t.hours.length - 1; i++) {
    const h = t.hours[i] ?? -1
    const ofDay = (h + t.onsetHourOfDay + 240) % 24
    if (h >= 0 && (!e.hours || (ofDay >= e.hours[0] && ofDay <= e.hours[1])) && over(i) && over(i + 1)) return h
  }
  return Number.POSITIVE_INFINITY
}

/** Why a passing does not come in its time; null: it does. */
export function late(t: Trace, e: Passing): string | null {
  const h = passes(t, e)
  if (h >= e.fromH && h <= e.toH) return null
  const bound = e.by !== undefined ? `off its twin by ${e.by}` : e.below !== undefined ? `below ${e.below}` : `above ${e.above}`
  return `${e.of} ${bound} at ${h.toPrecision(4)} h, expected ${e.fromH} to ${e.toH} h`
}

/** Means over the rows of an expectation; NaN when there are none. */
export function means(t: Trace, e: Expected): { readonly struck: number; readonly sound: number } {
  const zero = e.after === 'end' ? (t.endH ?? Number.NaN) : 0
  let struck = 0
  let sound = 0
  let n = 0
  t.hours.forEach((h, i) => {
    const ofDay = (h + t.onsetHourOfDay + 240) % 24
    if (h < zero + e.fromH || h > zero + e.toH || (e.hours && (ofDay < e.hours[0] || ofDay > e.hours[1]))) return
    struck += t.struck[i]?.[e.of] ?? Number.NaN
    sound += t.sound[i]?.[e.of] ?? Number.NaN
    n++
  })
  return { struck: n === 0 ? Number.NaN : struck / n, sound: n === 0 ? Number.NaN : sound / n }
}

export const toleranceOf = (of: Watched, sound: number): number => Math.max(WATCHED[of].abs, WATCHED[of].share * Math.abs(sound))

/** Why an expectation does not hold; null: it holds. */
export function missed(t: Trace, e: Expected): string | null {
  const { struck, sound } = means(t, e)
  const by = struck - sound
  const tolerance = toleranceOf(e.of, sound)
  const found: Sign = Math.abs(by) <= tolerance ? '0' : by > 0 ? '+' : '-'
  const told = `${e.of} ${e.fromH} to ${e.toH} h after ${e.after ?? 'onset'}: ${struck.toPrecision(4)} against ${sound.toPrecision(4)}`
  if (Number.isNaN(by)) return `${told}: no rows`
  if (found !== e.sign) return `${told}: ${found} where ${e.sign} is expected`
  if (e.below !== undefined && !(struck < e.below)) return `${told}: not below ${e.below}`
  if (e.above !== undefined && !(struck > e.above)) return `${told}: not above ${e.above}`
  return null
}

/** Hours after onset at which a quantity first leaves its twin for two rows; infinite when it never does. */
export function leaves(t: Trace, of: Watched): number {
  for (let i = 0; i < t.hours.length - 1; i++) {
    const off = (j: number): boolean => {
      const sound = t.sound[j]?.[of] ?? Number.NaN
      return Math.abs((t.struck[j]?.[of] ?? Number.NaN) - sound) > toleranceOf(of, sound)
    }
    if ((t.hours[i] ?? -1) >= 0 && off(i) && off(i + 1)) return t.hours[i] ?? Number.NaN
  }
  return Number.POSITIVE_INFINITY
}
