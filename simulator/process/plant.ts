/**
 * The whole loop, stepped. `step` advances by a fixed ten seconds: weather, washing, the panel's own controls, water, biology and
 * chemistry of every tank, machines. The truth is all there and readable (state.ts); what a controller would see of it is instruments.ts.
 */
import { within } from '../../gateway/site/site.ts'
import { renewMainsWater } from './build.ts'
import { stepControl } from './control.ts'
import { advance, paperLeftM } from './filter.ts'
import { stepMains } from './machines.ts'
import { carrierOxygen, redox, stepOzone, TRACE_G } from './ozone.ts'
import { add, ALKALINITY, type Bath, conc, CORE, DEBRIS, FLOC, move, NITRIFIERS, OXIDANT, PARTICLE_N, put, SALT, SULFIDE } from './species.ts'
import { type Plant, runs, tankOf } from './state.ts'
import { stepTank, type Tank } from './tank.ts'
import { stepWater } from './water.ts'

export const STEP_MS = 10_000

/** Ten seconds. `dtS` may be shorter in tests of convergence. */
export function step(p: Plant, dtS = STEP_MS / 1000): void {
  const { spec, water, troubles: t, flows: f, control: c } = p
  const dtH = dtS / 3600
  const minute = p.nowMs % 60_000 < dtS * 1000
  if (minute) everyMinute(p)
  const yard = p.wash(p.nowMs, t.rush)
  p.yard.onPad = yard.onPad && !t.noWash
  p.yard.trigger = yard.trigger && !t.noWash
  p.yard.dirt = yard.dirt
  stepMains(p.mains, t.mains, t.phaseLost, p.next, dtS)
  p.uptimeS = t.mains ? p.uptimeS + dtS : 0

  stepControl(c, p, dtS)

  // What the machines do with what the panel wants.
  const air = p.sky.airC + t.airC
  f.airC = air
  f.humidity = p.sky.humidity
  f.rainMmPerH = p.sky.rainMmPerH + t.stormMmPerH
  f.dirtier = yard.dirt
  f.hotC = t.hotC
  f.crestBlocked = t.crestBlocked
  stepWater(water, f, p.mainsWater, spec.facts.dirt, p.book, dtS, p.moved)
  p.meters.makeUpL += p.moved.madeUp
  p.meters.washL += p.moved.washed
  p.washedAgoS = p.moved.washed > 0 ? 0 : p.washedAgoS + dtS
  for (const [stage, litresPerMin] of t.leak) lose(p, stage, (litresPerMin * dtS) / 60)
  for (const d of t.poured) add(bathOf(p, d.stage), d.species, d.gPerH * dtH, p.book)
  mixDose(p, dtS)
  if (t.hose.size > 0 || t.seeded.size > 0 || t.ozoneReturn > 0) foreign(p, dtS)

  const surround = spec.facts.indoorC === null ? 0.65 * air + 0.35 * p.sky.groundC : Math.max(spec.facts.indoorC, 0.5 * air + 0.5 * p.sky.groundC)
  const bio = water.bio
  const a = p.around
  a.fouling = t.fouling
  a.alkalinityUse = t.alkalinityUse
  a.celsius = surround + 2
  for (let i = 0; i < bio.length; i++) {
    a.acidity = i === 0 || minute
    stepTank(bio[i] as Tank, a, dtH)
  }
  a.fouling = 0
  a.alkalinityUse = 0
  a.acidity = minute
  a.celsius = surround
  stepTank(water.finished, a, dtH)
  a.celsius = p.sky.groundC
  if (water.sump) stepTank(water.sump, a, dtH)
  a.celsius = Math.max(1, air)
  stepTank(water.pad, a, dtH)

  ozonate(p, dtH)
  for (let i = 0; i < bio.length; i++) fade(p, bio[i] as Tank, dtH)
  if (water.sump) fade(p, water.sump, dtH)
  fade(p, water.pad, dtH)
  electrodes(p, dtS)
  advance(water.paper, runs(p, 'filter-drive'))
  p.nowMs += dtS * 1000
}

/** Somebody at the yard puts in a new roll when the old one is at its end. */
function changeRoll(p: Plant): void {
  const sheet = p.water.paper
  if (!p.troubles.rollHeld && paperLeftM(sheet) < 1 && within(p.spec.site.staffed, p.spec.site.zone, p.nowMs, true)) sheet.usedM = 0
}

/** The generator feeds the finished water; with the return valve open its injector, which sits in the return, feeds the first aerated tank. */
function ozonate(p: Plant, dtH: number): void {
  const { finished, bio } = p.water
  const first = bio[0] as Tank
  const g = p.control.ozone ? p.spec.facts.ozoneGPerH : 0
  const into = p.troubles.ozoneReturn > 0 ? first : finished
  carrierOxygen(into.water, g, into.saturated, dtH)
  if (into === first && g > 0) add(first.water, OXIDANT, g * dtH, p.book)
  stepOzone(finished.water, into === finished ? g : 0, finished.celsius, 0, dtH, p.book, p.biology.nitrogen.living)
}

/** Oxidant carried into a tank is eaten there. */
function fade(p: Plant, t: Tank, dtH: number): void {
  if ((t.water.m[OXIDANT] as number) >= TRACE_G) stepOzone(t.water, 0, t.celsius, (t.culture.active / t.water.litres) * 1000, dtH, p.book, p.biology.nitrogen.living)
}

function everyMinute(p: Plant): void {
  const sky = p.look(p.nowMs)
  p.sky.airC = sky.airC
  p.sky.rainMmPerH = sky.rainMmPerH
  p.sky.groundC = sky.groundC
  p.sky.humidity = sky.humidity
  if (!(p.nowMs - p.openCheckedMs < 600_000 && p.nowMs >= p.openCheckedMs)) {
    p.openCheckedMs = p.nowMs
    p.openNow = within(p.spec.site.open, p.spec.site.zone, p.nowMs, true)
    renewMainsWater(p)
    changeRoll(p)
  }
}

function bathOf(p: Plant, id: string): Bath {
  return (tankOf(p, id) ?? p.water.pad).water
}

function lose(p: Plant, stage: string, litres: number): void {
  const w = bathOf(p, stage)
  const share = Math.min(1, litres / Math.max(1e-9, w.litres))
  for (let k = 0; k < w.m.length; k++) {
    const g = (w.m[k] as number) * share
    w.m[k] = (w.m[k] as number) - g
    p.book.went[k] = (p.book.went[k] as number) + g
  }
  p.book.outL.leak += w.litres * share
  w.litres -= w.litres * share
}

/** What comes by other ways than the loop's own: a hose, an open return valve, culture poured in. */
function foreign(p: Plant, dtS: number): void {
  const { troubles: t, book: b } = p
  for (const [id, litresPerMin] of t.hose) {
    const tank = tankOf(p, id) ?? p.water.pad
    const l = put(tank.water, (litresPerMin * dtS) / 60, p.mainsWater, b)
    b.inL.makeUp += l
    p.meters.makeUpL += l
    // So strong a flow lifts what has settled in this tank and in those it passes: living flakes and the slime between them.
    const from = p.water.bio.indexOf(tank)
    for (let i = from; from >= 0 && i < p.water.bio.length; i++) scour(p.water.bio[i] as Tank, t.torn * (dtS / 3600))
  }
  if (t.ozoneReturn > 0) move(p.water.finished.water, (p.water.bio[0] as Tank).water, (t.ozoneReturn * dtS) / 60)
  for (const [id, gPerH] of t.seeded) {
    const tank = tankOf(p, id)
    if (!tank) continue
    const g = gPerH * (dtS / 3600)
    tank.culture.active += g
    b.grownG += g
    b.grownN += g * p.biology.nitrogen.living
  }
}

/** A share of the culture goes afloat. Nitrogen in the store is the reference biology's alone and goes along. */
function scour(t: Tank, share: number): void {
  const c = t.culture
  const m = t.water.m
  m[FLOC] = (m[FLOC] as number) + c.active * share
  m[DEBRIS] = (m[DEBRIS] as number) + c.store * share
  if (m.length > CORE) {
    m[NITRIFIERS] = (m[NITRIFIERS] as number) + c.nitrifiers * share
    m[PARTICLE_N] = (m[PARTICLE_N] as number) + c.storeN * share
    c.nitrifiers -= c.nitrifiers * share
    c.storeN -= c.storeN * share
  }
  c.active -= c.active * share
  c.store -= c.store * share
}

/** Dosed liquid waits in a pocket by the injection point and mixes in with a time constant of a minute. */
function mixDose(p: Plant, dtS: number): void {
  if (p.pocket.alkMol === 0 && p.pocket.saltG === 0) return
  const share = 1 - Math.exp(-dtS / 60)
  const m = (p.water.bio[0] as Tank).water.m
  const alk = Math.abs(p.pocket.alkMol) < 1e-9 ? p.pocket.alkMol : p.pocket.alkMol * share
  const salt = Math.abs(p.pocket.saltG) < 1e-9 ? p.pocket.saltG : p.pocket.saltG * share
  m[ALKALINITY] = (m[ALKALINITY] as number) + alk
  m[SALT] = (m[SALT] as number) + salt
  p.pocket.alkMol -= alk
  p.pocket.saltG -= salt
}

/** Redox electrodes creep: half an hour in a bio tank, minutes where ozone is strong. */
function electrodes(p: Plant, dtS: number): void {
  const slow = 1 - Math.exp(-dtS / 1500)
  const quick = 1 - Math.exp(-dtS / 240)
  for (const t of p.tanks) {
    if (t.kind === 'sump') continue
    const w = t.water
    t.redox += (redox(t.oxygen, conc(w, SULFIDE), conc(w, OXIDANT), t.ph) - t.redox) * (t.kind === 'finished' ? quick : slow)
  }
}
