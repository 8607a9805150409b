/**
 * The panel's own controls, local and simple as they are in the field: floats with a start and a stop level, a make-up valve, a
 * pH controller that doses in pulses and waits for mixing, timers for nutrient and ozone, and the local protections the
 * site file lists. Loopkeeper never touches any of it.
 */
import type { Site } from '../../gateway/site/site.ts'
import { type Machine, run } from './machines.ts'
import { able, type Control, type Plant, type Strength } from './state.ts'
import { ALKALINITY, CACO3, NITROGEN, SALT, add } from './species.ts'
import { protects } from './spec.ts'
import type { Tank } from './tank.ts'

/** 35 % sulfuric acid, 1.26 kg/L: 441 g/L x 1.0205 g CaCO3 per g (2 x 50.04 / 98.08). Density from memory. */
const ACID: Strength = { alk: (-441 * 1.0205) / CACO3, salt: 432, pulseS: 40 }
/** Alum solution, about 645 g/L as Al2(SO4)3.14H2O x 0.5052 (6 x 50.04 / 594.4). Strength is common practice, no source. */
const ALUM: Strength = { alk: (-645 * 0.5052) / CACO3, salt: 310, pulseS: 60 }
/** Sodium bicarbonate, 60 g/L x 0.5957 (50.04 / 84.01). */
const BICARBONATE: Strength = { alk: (60 * 0.5957) / CACO3, salt: 60, pulseS: 120 }
/** g N per litre of nutrient solution. Common practice, no source. */
const NUTRIENT_N = 100
/** Litres washed per pulse of the nutrient pump. */
const NUTRIENT_EVERY_L = 500
const MIX_WAIT_S = 600
const MAX_DOSE_RUN_S = 120

export function control(site: Site): Control {
  const doser = site.equipment.find((e) => e.kind === 'dosing' && (e.doses === 'acid' || e.doses === 'alum' || e.doses === 'bicarbonate'))
  return {
    transferOn: false,
    finishedFull: false,
    makeUpOpen: false,
    washerLocked: false,
    ozone: false,
    probePh: 7.6,
    doseLeftS: 0,
    doseWaitS: 0,
    doseRunS: 0,
    nutrientLeftS: 0,
    nutrientAtL: 0,
    doser: doser?.id ?? null,
    nutrient: site.equipment.find((e) => e.doses === 'nutrient')?.id ?? null,
    strength: doser?.doses === 'alum' ? ALUM : doser?.doses === 'bicarbonate' ? BICARBONATE : ACID,
    hasSumpStop: protects(site, 'sump-high-high'),
    hasDryStop: protects(site, 'finished-low-low'),
    maxDoseRun: site.protections.find((p) => p.present && /^(acid|alum)-max-run$/.test(p.id))?.id ?? null,
    restarts: site.protections.every((p) => p.id !== 'restart-after-power' || p.present),
  }
}

const pct = (t: Tank): number => (100 * t.water.litres) / t.volumeL
/** Bang-bang with two levels. */
const between = (was: boolean, value: number, on: number, off: number): boolean => (on > off ? (was ? value > off : value >= on) : was ? value < off : value <= on)

export function stepControl(c: Control, p: Plant, dtS: number): void {
  const { water, flows: f, troubles: t, spec } = p
  if (t.panelFrozen) return standStill(c, p, dtS)
  const finished = pct(water.finished)
  const makeUp = spec.facts.makeUp

  // Transfer: by the sump, or by the last bio tank where there is no sump; never into a full tank.
  const last = water.bio[water.bio.length - 1] as Tank
  c.finishedFull = between(c.finishedFull, finished, 93, 88)
  c.transferOn = water.sump ? between(c.transferOn, pct(water.sump), 55, 18) : between(c.transferOn, pct(last), 90, 80)
  const pumping = c.transferOn && !c.finishedFull && able(p, p.transfer)
  run(p.transfer, pumping, 0.84 * (1 - 0.35 * Math.min(1, t.airlock)), dtS)
  f.transfer = pumping ? p.transfer.flowLPerMin * (1 - t.airlock) : 0

  // Make-up: a valve that opens low and shuts high.
  c.makeUpOpen = between(c.makeUpOpen, finished, makeUp.startPct, makeUp.stopPct)
  f.makeUp = (c.makeUpOpen || t.makeUpStuck) && !t.makeUpShut && (t.mains || t.makeUpStuck) ? makeUp.flowLPerMin : 0

  // Washer: runs while a vehicle stands there; local floats stop it.
  const flooded = c.hasSumpStop && !t.defeated.has('sump-high-high') && water.sump !== null && pct(water.sump) > 95
  const dry = c.hasDryStop && !t.defeated.has('finished-low-low') ? finished < 8 : finished < 1
  c.washerLocked = c.washerLocked ? finished < 15 || (water.sump !== null && c.hasSumpStop && !t.defeated.has('sump-high-high') && pct(water.sump) > 80) : flooded || dry
  const washing = p.yard.onPad && !c.washerLocked && able(p, p.washer)
  run(p.washer, washing, p.yard.trigger ? 0.87 : 0.38, dtS)
  f.lance = washing && p.yard.trigger ? lanceOf(p) : 0
  const pad = spec.site.stages.find((s) => s.kind === 'pad')?.pad
  f.diverted = pad === undefined || pad === null || pad.cover === 'covered' || (pad.diverter === 'auto' && p.washedAgoS > 900) || (pad.diverter === 'manual' && !p.openNow)

  blowers(p, dtS)
  dosing(c, p, dtS)

  // Ozone: part of each hour while the yard is open or has washed in the last two hours; it rests otherwise.
  const wanted = t.ozoneForced || ((p.openNow || p.washedAgoS < 7200) && p.washedAgoS < 3 * 3600 && p.nowMs % 3_600_000 < 2_400_000)
  c.ozone = false
  for (const m of p.machines.values()) {
    if (m.kind === 'ozone') {
      const on = wanted && able(p, m)
      run(m, on, 0.8, dtS)
      c.ozone ||= on
    } else if (m.kind === 'filter-drive') run(m, false, 0.5, dtS)
    m.tripped = t.tripped.has(m.id)
  }
}

/** The program stands still: outputs stay as they were, while the washer, wired to its own switch, goes on. */
function standStill(c: Control, p: Plant, dtS: number): void {
  const { flows: f } = p
  const washing = p.yard.onPad && able(p, p.washer)
  run(p.washer, washing, p.yard.trigger ? 0.87 : 0.38, dtS)
  f.lance = washing && p.yard.trigger ? lanceOf(p) : 0
  if (!able(p, p.transfer)) f.transfer = 0
  for (const m of p.machines.values()) {
    if (m.kind === 'dosing' && m.on && m.id === c.doser) dose(c, p, m, dtS)
    else if (m.on && m !== p.washer) run(m, able(p, m), m.nameplateA > 0 ? m.currentA / m.nameplateA : 0, dtS)
  }
}

const lanceOf = (p: Plant): number => p.spec.site.stages.find((s) => s.kind === 'washer')?.lanceLPerMin ?? 23

function blowers(p: Plant, dtS: number): void {
  const { troubles: t } = p
  for (const tank of p.water.bio) tank.air = 0
  let any = false
  for (const e of p.spec.site.equipment) {
    if (e.kind !== 'aerator') continue
    any = true
    const m = p.machines.get(e.id) as Machine
    if (!t.mains && (!p.control.restarts || t.defeated.has('restart-after-power'))) m.needsReset = true
    const on = able(p, m) && !t.paused.has(m.id)
    run(m, on, 0.8 + 0.08 * t.fouling, dtS)
    if (on) for (const id of e.serves) for (const tank of p.water.bio) if (tank.id === id) tank.air = Math.max(0, 1 - (t.airLost.get(id) ?? 0))
  }
  if (!any) for (const tank of p.water.bio) tank.air = t.mains ? 1 : 0
}

function dosing(c: Control, p: Plant, dtS: number): void {
  const { troubles: t } = p
  const first = p.water.bio[0] as Tank
  const shown = t.probes.get(`${first.id}.ph`)
  // The controller believes its probe, drifted or not: lag 40 s.
  c.probePh += ((first.ph - 7) * (shown?.gain ?? 1) + 7 + (shown?.offset ?? 0) - c.probePh) * (1 - Math.exp(-dtS / 40))
  const m = c.doser === null ? null : (p.machines.get(c.doser) ?? null)
  if (m) {
    const upward = c.strength.alk > 0
    const wants = upward ? c.probePh < p.spec.facts.dosePh : c.probePh > p.spec.facts.dosePh
    if (c.doseWaitS > 0) c.doseWaitS -= dtS
    else if (c.doseLeftS <= 0 && wants && t.mains) {
      c.doseLeftS = c.strength.pulseS
      c.doseWaitS = MIX_WAIT_S
    }
    const stuck = t.doseStuck.has(m.id)
    c.doseLeftS -= dtS
    const guarded = c.maxDoseRun !== null && !t.defeated.has(c.maxDoseRun) && c.doseRunS >= MAX_DOSE_RUN_S
    const on = (c.doseLeftS > -dtS || stuck) && !guarded && able(p, m)
    c.doseRunS = on ? c.doseRunS + dtS : stuck ? c.doseRunS : 0
    if (on) dose(c, p, m, dtS)
    else run(m, false, 0.6, dtS)
  }
  const n = c.nutrient === null ? null : (p.machines.get(c.nutrient) ?? null)
  if (n) {
    if (p.book.washedL - c.nutrientAtL > NUTRIENT_EVERY_L) {
      c.nutrientAtL = p.book.washedL
      c.nutrientLeftS = 30
    }
    const litres = c.nutrientLeftS > 0 && able(p, n) && !t.nutrientOff ? pour(p, n, dtS) : (run(n, false, 0.6, dtS), 0)
    c.nutrientLeftS -= dtS
    if (litres > 0) add(first.water, NITROGEN, litres * NUTRIENT_N, p.book)
  }
}

/** Product into the pocket by the injection point. */
function dose(c: Control, p: Plant, m: Machine, dtS: number): void {
  const litres = pour(p, m, dtS)
  if (litres <= 0) return
  p.pocket.alkMol += c.strength.alk * litres
  p.pocket.saltG += c.strength.salt * litres
  p.book.came[ALKALINITY] = (p.book.came[ALKALINITY] as number) + c.strength.alk * litres
  p.book.came[SALT] = (p.book.came[SALT] as number) + c.strength.salt * litres
}

/** Runs a dosing pump; gives the litres it took out of its drum into the treatment unit. */
function pour(p: Plant, m: Machine, dtS: number): number {
  run(m, true, 0.6, dtS)
  const drum = p.drums.get(m.id)
  const litres = Math.min((m.flowLPerMin * dtS) / 60, drum?.leftL ?? Number.POSITIVE_INFINITY)
  if (drum) drum.leftL -= litres
  const first = p.water.bio[0] as Tank
  first.water.litres += litres
  p.book.inL.dosing += litres
  return litres
}
