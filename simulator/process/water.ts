/**
 * Where the water goes in one step: lance to pad, pad to sump, sump through the paper to the treatment unit, over the crests
 * from tank to tank into the finished tank, and out by four doors that are kept apart: vapour, vehicles, overflow, leaks.
 * Without a sump the pad drains straight through the paper, and the transfer pump lifts from the last bio tank instead.
 */
import { type Paper, passes, strain } from './filter.ts'
import { CREST, GAS } from './spec.ts'
import {
  type Book,
  CARBON,
  evaporate,
  FLOC,
  HEAT,
  leave,
  move,
  OXIDANT,
  OXYGEN,
  SALT,
  add,
  put,
  ALKALINITY,
  CACO3,
  COD,
  CORE,
  INERT,
  NITRIFIERS,
  NITROGEN,
  OIL,
  SOLIDS,
  SPECIES,
  SURFACTANT,
} from './species.ts'
import type { Tank } from './tank.ts'
import type { Dirt } from './washing.ts'
import { vapourHpa } from './weather.ts'

export interface Waterway {
  readonly pad: Tank
  /** Null: no sump. */
  readonly sump: Tank | null
  /** Treatment unit, then bio tanks, in order; at least one. */
  readonly bio: readonly Tank[]
  readonly finished: Tank
  readonly paper: Paper
  /** Kerb of the pad: litres it can hold before it runs off. */
  readonly kerbL: number
}

/** Commands and conditions of one step. Flows in L/min. */
export interface Flows {
  lance: number
  transfer: number
  makeUp: number
  rainMmPerH: number
  /** Rain on the pad is led away. */
  diverted: boolean
  padM2: number
  carryOff: number
  mist: number
  airC: number
  humidity: number
  dirtier: number
  /** Temperature of the lance water with a hot-water cleaner; 0: warmed by the pump alone. */
  hotC: number
  /** Tanks whose overflow to the next is blocked. */
  crestBlocked: ReadonlySet<string>
}

/** What moved, litres in this step. */
export interface Moved {
  washed: number
  lifted: number
  madeUp: number
  overflowed: number
}

/** 232 bar / (1000 kg/m3 x 4.18 kJ/kg K). */
const PUMP_WARMTH_C = 5.5

const rainPerL = new Float64Array(SPECIES)
rainPerL[ALKALINITY] = 5 / 1000 / CACO3
rainPerL[CARBON] = 0.00012
rainPerL[SALT] = 0.01
rainPerL[OXYGEN] = 0.009

export function stepWater(w: Waterway, f: Flows, makeUpPerL: Float64Array, dirt: Dirt, book: Book, dtS: number, out: Moved): void {
  const dtMin = dtS / 60
  const { pad, sump, finished } = w
  const first = w.bio[0] as Tank
  const last = w.bio[w.bio.length - 1] as Tank
  out.overflowed = 0

  // Lance: finished water onto the vehicle, dirt off it, some of both away.
  out.washed = f.lance > 0 ? move(finished.water, pad.water, f.lance * dtMin) : 0
  if (out.washed > 0) {
    book.washedL += out.washed
    soil(pad, dirt, f.dirtier, out.washed, book)
    const m = pad.water.m
    m[OXIDANT] = (m[OXIDANT] as number) * 0.2
    m[OXYGEN] = (pad.saturated / 1000) * pad.water.litres
    // The pump's work ends as heat in the water; spray then gives up three tenths of what it has over the air (ours).
    const warmed = f.hotC > 0 ? f.hotC - finished.celsius : PUMP_WARMTH_C
    m[HEAT] = (m[HEAT] as number) + out.washed * (warmed + 0.3 * (Math.max(1, f.airC) - finished.celsius - warmed))
    const dry = Math.max(0.3, Math.min(2.5, (vapourHpa(f.airC) * (1 - f.humidity)) / 5))
    evaporate(pad.water, out.washed * Math.min(0.12, f.mist * dry), book)
    book.outL.carryOff += leave(pad.water, out.washed * f.carryOff, book)
  }
  if (f.rainMmPerH > 0 && !f.diverted) {
    rainPerL[HEAT] = f.airC
    book.inL.rain += put(pad.water, (f.rainMmPerH * f.padM2 * dtS) / 3600, rainPerL, book)
  }

  // Pad to sump (or paper): as fast as the drain, as much as there is room.
  const drain = (pad.water.litres - 2) * (1 - Math.exp(-dtS / 60))
  if (drain > 0) {
    if (sump) move(pad.water, sump.water, Math.min(drain, Math.max(0, sump.volumeL - sump.water.litres)))
    else strain(w.paper, pad.water, first.water, drain * passes(w.paper), book)
  }
  if (pad.water.litres > w.kerbL) out.overflowed += leave(pad.water, pad.water.litres - w.kerbL, book)

  // Pump and crests.
  out.lifted = 0
  if (f.transfer > 0) {
    if (sump) out.lifted = strain(w.paper, sump.water, first.water, Math.min(f.transfer * dtMin * passes(w.paper), Math.max(0, sump.water.litres - 0.04 * sump.volumeL)), book)
    else {
      out.lifted = Math.min(f.transfer * dtMin, Math.max(0, last.water.litres - 0.6 * last.volumeL))
      spill(last, finished, out.lifted)
    }
  }
  for (let i = 0; i < w.bio.length; i++) {
    const t = w.bio[i] as Tank
    const next = w.bio[i + 1] ?? finished
    const over = t.water.litres - CREST * t.volumeL * (1 - GAS * t.air)
    if (over > 0 && (sump || next !== finished) && !f.crestBlocked.has(t.id)) spill(t, next, over * (1 - Math.exp(-dtS / 40)))
    const top = t.water.litres - 1.02 * t.volumeL
    if (top > 0) out.overflowed += leave(t.water, top, book)
  }
  out.madeUp = 0
  if (f.makeUp > 0) {
    out.madeUp = put(finished.water, f.makeUp * dtMin, makeUpPerL, book)
    book.inL.makeUp += out.madeUp
  }
  const full = finished.water.litres - 1.02 * finished.volumeL
  if (full > 0) out.overflowed += leave(finished.water, full, book)
  book.outL.overflow += out.overflowed

  // Still water gives vapour: Dalton's law, 0.012 mm/h per hPa (common practice); a wet pad more in the wind, a covered tank less.
  dryOut(finished, f, 0.4, dtS, book)
  for (const t of w.bio) dryOut(t, f, 0.6 + t.air, dtS, book)
  if (sump) dryOut(sump, f, 0.3, dtS, book)
  if (pad.water.litres > 3) dryOut(pad, f, 2, dtS, book)
}

function dryOut(t: Tank, f: Flows, wind: number, dtS: number, book: Book): void {
  const deficit = vapourHpa(t.celsius) - vapourHpa(f.airC) * f.humidity
  if (deficit > 0) evaporate(t.water, 0.012 * deficit * wind * t.areaM2 * (dtS / 3600), book)
}

/** Over a crest or by pump; a culture without carriers loses its share with the water. */
function spill(from: Tank, to: Tank, litres: number): void {
  const share = litres / from.water.litres
  move(from.water, to.water, litres)
  const c = from.culture
  if (c.washout > 0) {
    const gone = c.active * share * c.washout
    c.active -= gone
    to.water.m[FLOC] = (to.water.m[FLOC] as number) + gone
    if (to.water.m.length > CORE) {
      const goneA = c.nitrifiers * share * c.washout
      c.nitrifiers -= goneA
      to.water.m[NITRIFIERS] = (to.water.m[NITRIFIERS] as number) + goneA
    }
  }
}

function soil(pad: Tank, d: Dirt, dirtier: number, litres: number, book: Book): void {
  const g = (litres / 1000) * dirtier
  add(pad.water, COD, d.cod * g, book)
  add(pad.water, INERT, d.inert * g, book)
  add(pad.water, OIL, d.oil * g, book)
  add(pad.water, SURFACTANT, d.surfactant * g, book)
  add(pad.water, SOLIDS, d.solids * g, book)
  add(pad.water, SALT, d.salt * g, book)
  add(pad.water, NITROGEN, d.nitrogen * g, book)
  add(pad.water, ALKALINITY, (d.alkalinity / CACO3) * g, book)
  add(pad.water, CARBON, (d.alkalinity / CACO3) * g, book)
}
