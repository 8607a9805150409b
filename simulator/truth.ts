/**
 * From a signal's id to the plant: `bio1.do` is the oxygen of the tank bio1, `blower.pressure` the pressure behind the machine
 * blower. The ids are those of the site files; a signal that finds no place here is never sent.
 */
import { QUANTITIES } from '../gateway/site/quantity.ts'
import type { Signal, Site } from '../gateway/site/site.ts'
import type { Machine } from './process/machines.ts'
import { paperLeftM } from './process/filter.ts'
import { type Plant, tankOf } from './process/state.ts'
import { conc, DEBRIS, FLOC, SALT, SOLIDS, SULFIDE, SURFACTANT } from './process/species.ts'
import { GAS } from './process/spec.ts'
import type { Tank } from './process/tank.ts'

export type Truth = (p: Plant) => number

const bit = (v: boolean): number => (v ? 1 : 0)
const pct = (t: Tank): number => (100 * t.water.litres) / t.volumeL

/** Where an ultrasonic head sees the surface: bubbles lift it, foam stands on it (50 mm under the head of a tank 2.29 m wide are 205 L that are not there). */
const surfacePct = (t: Tank): number => pct(t) / (1 - GAS * t.air) + (t.air > 0 ? (12 * conc(t.water, SURFACTANT)) / (conc(t.water, SURFACTANT) + 35) : 0)

/** uS/cm per mg/L of salt. Common practice, no source (1.5 to 1.8). */
const CONDUCTS = 1.65

export function truthOf(site: Site, signal: Signal): Truth | null {
  const dot = signal.id.lastIndexOf('.')
  const place = signal.id.slice(0, Math.max(0, dot))
  const last = signal.id.slice(dot + 1)
  if (site.equipment.some((e) => e.id === place)) return ofMachine(site, place, last, signal)
  if (site.stages.some((s) => s.id === place)) return ofStage(place, last)
  return ofPanel(place, last)
}

function ofStage(id: string, last: string): Truth | null {
  const at = (read: (t: Tank, p: Plant) => number): Truth => {
    let found: Tank | null = null
    return (p) => {
      found ??= tankOf(p, id)
      return found ? read(found, p) : Number.NaN
    }
  }
  switch (last) {
    case 'do':
      return at((t) => t.oxygen)
    case 'temperature':
      return at((t) => t.celsius)
    case 'ph':
      return at((t) => t.ph)
    case 'orp':
      return at((t) => t.redox)
    case 'level':
      return at((t) => surfacePct(t))
    // A low float hangs in the water: wet (1) while there is enough.
    case 'low':
      return at((t) => bit(pct(t) > 15))
    case 'high':
      return at((t) => bit(pct(t) > (t.kind === 'sump' ? 80 : 97)))
    case 'high-high':
      return at((t) => bit(pct(t) > (t.kind === 'sump' ? 95 : 101)))
    case 'conductivity':
      return at((t) => CONDUCTS * conc(t.water, SALT))
    // The finer the particle the more light it throws back per gram: dust of dead cells more than flakes (common practice, no source).
    case 'turbidity':
      return at((t) => 0.4 + 0.4 * conc(t.water, SOLIDS) + 0.12 * conc(t.water, FLOC) + 0.4 * conc(t.water, DEBRIS) + 0.1 * conc(t.water, SURFACTANT))
    // Share that is gas at this pH: pK 7.0 near 20 C (common tables, from memory); ppm over the water per mg/L is ours.
    case 'h2s':
      return at((t) => (30 * conc(t.water, SULFIDE)) / (1 + 10 ** (t.ph - 7)))
    case 'rain':
      return (p) => p.flows.rainMmPerH
    case 'index':
      return (p) => p.water.paper.index
    case 'roll-end':
      return (p) => bit(paperLeftM(p.water.paper) < 3)
    case 'paper':
      return (p) => paperLeftM(p.water.paper)
    default:
      return null
  }
}

function ofMachine(site: Site, id: string, last: string, signal: Signal): Truth | null {
  const aerator = site.equipment.find((e) => e.id === id && e.kind === 'aerator')
  const of = (read: (m: Machine, p: Plant) => number): Truth => {
    let found: Machine | undefined
    return (p) => {
      found ??= p.machines.get(id)
      return found ? read(found, p) : Number.NaN
    }
  }
  switch (last) {
    case 'run':
      return of((m) => bit(m.on))
    case 'trip':
      return of((m) => bit(m.tripped))
    case 'current':
      return of((m) => m.currentA)
    case 'hours':
      return of((m) => m.runS / 3600)
    case 'starts':
      return of((m) => m.starts)
    case 'auto':
      return (p) => bit(!p.troubles.handOff.has(id))
    case 'level':
      return (p) => {
        const drum = p.drums.get(id)
        return drum ? (100 * drum.leftL) / drum.fullL : Number.NaN
      }
    case 'pressure':
      return aerator
        ? of((m, p) => (m.on ? airMbar(p, aerator.serves) : 0))
        : of((m, p) => (m.kind !== 'washer' ? 0 : (p.flows.lance > 0 ? 232 : m.on ? 24 : 0) * (signal.unit === 'bar' ? 1 : 1000)))
    case 'flow':
      return of((m, p) => (m.kind === 'washer' ? p.flows.lance : p.flows.transfer))
    case 'volume':
      return of((m, p) => (m.kind === 'washer' ? p.meters.washL : 0))
    case 'pulses':
      return of((m, p) => (m.kind === 'washer' ? p.meters.washL / 10 : m.starts))
    default:
      return null
  }
}

/** Head of water over the diffusers, their own resistance, and what a torn line takes away (40 to 70 %: common practice, no source). */
function airMbar(p: Plant, serves: readonly string[]): number {
  let head = 0
  let lost = 0
  for (const id of serves) {
    const t = tankOf(p, id)
    if (t) head = Math.max(head, (t.kind === 'treatment' ? 132 : 152) * Math.min(1.1, t.water.litres / (0.96 * t.volumeL)))
    lost = Math.max(lost, p.troubles.airLost.get(id) ?? 0)
  }
  return (head + 38 * (1 + 2 * p.troubles.fouling)) * (1 - 0.55 * lost)
}

function ofPanel(place: string, last: string): Truth | null {
  switch (`${place}.${last}`) {
    case 'makeup.volume':
      return (p) => p.meters.makeUpL
    case 'makeup.pulses':
      return (p) => p.meters.makeUpL / 10
    case 'makeup.flow':
      return (p) => p.flows.makeUp
    case 'makeup.open':
      return (p) => bit(p.flows.makeUp > 0)
    case 'makeup.conductivity':
      return (p) => CONDUCTS * (p.mainsWater[SALT] ?? 0) * 1000
    case 'mains.present':
      return (p) => bit(p.mains.present)
    case 'mains.l1':
      return (p) => p.mains.phases[0] ?? 0
    case 'mains.l2':
      return (p) => p.mains.phases[1] ?? 0
    case 'mains.l3':
      return (p) => p.mains.phases[2] ?? 0
    case 'common.trip':
      return (p) => bit(p.troubles.tripped.size > 0)
    case 'panel.auto':
      return (p) => bit(p.troubles.handOff.size === 0)
    case 'ambient.temperature':
      return (p) => p.flows.airC
    case 'cabinet.temperature':
      return (p) => Math.max(p.spec.facts.indoorC ?? -99, p.flows.airC) + (p.mains.present ? 6 : 0)
    case 'modem.strength':
      return (p) => (p.troubles.linkDown ? -113 : -78 - ((p.seed >>> 3) % 19) + 3 * Math.sin(p.nowMs / 7_700_000) + 2 * Math.sin(p.nowMs / 1_130_000))
    case 'containment.leak':
      return (p) => bit(p.moved.overflowed > 0 || p.troubles.leak.size > 0)
    case 'room.ozone':
      return (p) => (p.control.ozone ? 0.016 : 0.006)
    case 'controller.uptime':
      return (p) => p.uptimeS
    case 'ups.present':
      return () => 1
    default:
      return null
  }
}

/** Ids a site file may use that nothing here answers; for the test that every demo signal is alive. */
export const unanswered = (site: Site): readonly string[] => site.signals.filter((s) => truthOf(site, s) === null || !Object.hasOwn(QUANTITIES, s.quantity)).map((s) => s.id)
