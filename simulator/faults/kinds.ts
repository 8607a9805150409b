/**
 * Every kind of fault and of look-alike there is, by the names of the scenario library (practice notes, section 5). Each says
 * in one sentence what happens in the yard, and how it shows in the plant's terms.
 */
import { COD, OIL, OXIDANT, SALT, SURFACTANT, TOXICANT, ALKALINITY } from '../process/species.ts'
import type { Plant } from '../process/state.ts'
import type { Troubles } from '../process/troubles.ts'
import type { Fault } from './fault.ts'

export interface Kind {
  /** Name in the scenario library: F1 to F12, B1 to B8; null: our own. */
  readonly scenario: string | null
  readonly what: string
  apply(t: Troubles, strength: number, f: Fault, p: Plant): void
}

const machineOf = (p: Plant, f: Fault, kind: string): string => f.at ?? p.spec.site.equipment.find((e) => e.kind === kind)?.id ?? kind
const dosingOf = (p: Plant, f: Fault): string => f.at ?? p.control.doser ?? 'acid'
const firstTank = (p: Plant, f: Fault): string => f.at ?? p.water.bio[0]?.id ?? 'tu'
const phOf = (p: Plant, f: Fault): string => `${firstTank(p, f)}.ph`
/** Pours `amount` of a species over the length of the fault (one hour when it has no end). */
const perHour = (f: Fault, amount: number): number => amount / (((f.endMs ?? f.onsetMs + 3_600_000) - f.onsetMs) / 3_600_000)
const hourOf = (p: Plant): number => (p.nowMs / 3_600_000) % 24

export const KINDS = {
  'blower-trip': {
    scenario: 'F1',
    what: 'The blower trips on overload and stays off.',
    apply: (t, _s, f, p) => void t.tripped.add(machineOf(p, f, 'aerator')),
  },
  'air-line-off': {
    scenario: 'F2',
    what: 'The air line of one tank slips off; contactor and current look normal.',
    apply: (t, s, f, p) => void t.airLost.set(firstTank(p, f), Math.min(1, 0.97 * s)),
  },
  'diffuser-fouling': { scenario: 'F3', what: 'Diffusers clog: transfer falls, pressure creeps up.', apply: (t, s) => void (t.fouling = Math.min(0.95, 0.6 * s)) },
  degreaser: {
    scenario: 'F4',
    what: 'Five litres of alkaline degreaser with a biocide go down the pad in one wash.',
    apply: (t, s, f) => {
      t.poured.push(
        { stage: 'pad', species: SURFACTANT, gPerH: perHour(f, 450 * s) },
        { stage: 'pad', species: TOXICANT, gPerH: perHour(f, 62 * s) },
        { stage: 'pad', species: ALKALINITY, gPerH: perHour(f, 2.5 * s) },
        { stage: 'pad', species: COD, gPerH: perHour(f, 400 * s) },
      )
    },
  },
  bleach: {
    scenario: 'F5',
    what: 'Two litres of 12 % bleach reach the treatment unit.',
    apply: (t, s, f, p) => {
      t.poured.push({ stage: firstTank(p, f), species: OXIDANT, gPerH: perHour(f, 240 * s) }, { stage: firstTank(p, f), species: SALT, gPerH: perHour(f, 200 * s) })
    },
  },
  'dose-stuck': {
    scenario: 'F6',
    what: 'The relay of the acid pump welds shut and its run timer does not act.',
    apply: (t, _s, f, p) => {
      t.doseStuck.add(dosingOf(p, f))
      if (p.control.maxDoseRun) t.defeated.add(p.control.maxDoseRun)
    },
  },
  'alkalinity-loss': { scenario: 'F7', what: 'Nitrification in soft water uses up the alkalinity.', apply: (t, s) => void (t.alkalinityUse = 0.25 * s) },
  'no-washing': { scenario: 'B1', what: 'Nobody washes: holiday, or a yard gone quiet (four weeks of it is F8, starvation).', apply: (t) => void (t.noWash = true) },
  'ph-drift': {
    scenario: 'F9',
    what: 'The reference of the pH electrode is poisoned: the reading drifts down and the controller doses less.',
    apply: (t, s, f, p) => void t.probes.set(phOf(p, f), { offset: -0.6 * s }),
  },
  storm: { scenario: 'F10', what: 'A cloudburst of 25 mm/h over an open pad.', apply: (t, s) => void (t.stormMmPerH = 25 * s) },
  'transfer-airlock': {
    scenario: 'F11',
    what: 'The transfer pump runs on air: current a third down, water stays in the sump.',
    apply: (t, s) => void (t.airlock = Math.min(1, s)),
  },
  'make-up-stuck': { scenario: 'F11', what: 'The make-up valve sticks open.', apply: (t) => void (t.makeUpStuck = true) },
  'no-restart': {
    scenario: 'F12',
    what: 'Power blinks for 20 s; everything comes back but the blower.',
    apply: (t, _s, f, p) => {
      t.defeated.add('restart-after-power')
      if (p.nowMs - f.onsetMs < 20_000) t.mains = false
    },
  },
  'left-in-off': {
    scenario: 'F12',
    what: 'A selector is left in OFF after a visit.',
    apply: (t, _s, f, p) => void t.handOff.add(machineOf(p, f, 'aerator')),
  },
  'heavy-day': {
    scenario: 'B2',
    what: 'Far more vehicles than usual, with plenty of detergent.',
    apply: (t, s, f) => {
      t.rush = Math.max(t.rush, Math.min(1, 0.9 * s))
      t.poured.push({ stage: 'pad', species: SURFACTANT, gPerH: perHour(f, 20) * s })
    },
  },
  rush: { scenario: null, what: 'The pad is never empty.', apply: (t, s) => void (t.rush = Math.max(t.rush, Math.min(1, s))) },
  'fatty-load': {
    scenario: null,
    what: 'A load of fat and blood water: more food than the air can follow.',
    apply: (t, s, f) => {
      t.poured.push({ stage: 'pad', species: COD, gPerH: perHour(f, 1200 * s) }, { stage: 'pad', species: OIL, gPerH: perHour(f, 300 * s) })
    },
  },
  'cold-snap': { scenario: 'B3', what: 'The air turns bitterly cold within two days.', apply: (t, s) => void (t.airC = -14 * s) },
  'nightly-air-off': {
    scenario: 'B4',
    what: 'A timer stops the air for 15 minutes at 02:00 UTC each night.',
    apply: (t, _s, f, p) => {
      if (hourOf(p) >= 2 && hourOf(p) < 2.25) t.handOff.add(machineOf(p, f, 'aerator'))
    },
  },
  'tank-cleaning': {
    scenario: 'B5',
    what: 'A tank is drained and cleaned.',
    apply: (t, _s, f, p) => {
      const id = firstTank(p, f)
      const held = p.tanks.find((x) => x.id === id)
      if (held && held.water.litres > 0.035 * held.volumeL) t.leak.set(id, 120)
      for (const e of p.spec.site.equipment) if (e.kind === 'aerator' && e.serves.includes(id)) t.handOff.add(e.id)
    },
  },
  'link-out': { scenario: 'B6', what: 'The radio link is gone; the controller keeps what it can and sends it in a burst.', apply: (t) => void (t.linkDown = true) },
  'power-cut': { scenario: 'B7', what: 'The mains are off.', apply: (t) => void (t.mains = false) },
  'new-probe': { scenario: 'B8', what: 'A new pH electrode reads higher than the old one did.', apply: (t, s, f, p) => void t.probes.set(phOf(p, f), { offset: 0.35 * s }) },
  leak: { scenario: null, what: 'A tank loses water through its drain.', apply: (t, s, f) => void t.leak.set(f.at ?? 'finished', 0.25 * s) },
  'frozen-probe': {
    scenario: null,
    what: 'An instrument shows what it showed before.',
    apply: (t, _s, f, p) => void t.probes.set(f.at ?? `${firstTank(p, f)}.do`, { frozen: true }),
  },
  visit: {
    scenario: null,
    what: 'A technician resets what tripped and leaves everything in auto.',
    apply: (_t, _s, _f, p) => {
      for (const m of p.machines.values()) m.needsReset = false
    },
  },
} as const satisfies Record<string, Kind>
