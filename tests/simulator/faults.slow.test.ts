/**
 * Every fault of the scenario library leaves the trace people of the trade know it by, on the reference loop. Sizes and times there are common
 * practice or arithmetic on the same loop; kill rates are ours.
 */
import { expect, test } from 'vitest'
import { strength, type Fault } from '../../simulator/faults/fault.ts'
import { KINDS } from '../../simulator/faults/kinds.ts'
import { activity } from '../../simulator/process/balance.ts'
import { carbonAt, hydrogen } from '../../simulator/process/chemistry.ts'
import { rot } from '../../simulator/process/side-reactions.ts'
import { ALKALINITY, bath, CACO3, CARBON, conc, SALT, SULFIDE } from '../../simulator/process/species.ts'
import type { Plant } from '../../simulator/process/state.ts'
import { truthOf } from '../../simulator/truth.ts'
import { hoursLater, referenceFacts, runUntil, settledReference } from './reference-loop.ts'

const MIN = 60_000
const HOUR = 60 * MIN

/** The reference loop from `hour` on, with one fault from that moment. */
function struck(kind: keyof typeof KINDS, hour: number, over: Partial<Fault> = {}, facts: Partial<typeof referenceFacts> = {}): { p: Plant; on: (minutes: number) => void } {
  const p = settledReference(hour, facts)
  const fault: Fault = { id: kind, kind, site: 'reference-loop', onsetMs: p.nowMs, endMs: null, ...over }
  return {
    p,
    on: (minutes) =>
      void runUntil(p, p.nowMs + minutes * MIN, (t, plant) => {
        const s = strength(fault, plant.nowMs)
        if (s > 0) KINDS[kind].apply(t, s, fault, plant)
      }),
  }
}

const tu = (p: Plant) => {
  const t = p.water.bio[0]
  if (!t) throw new Error('no treatment unit')
  return t
}
const bio1 = (p: Plant) => {
  const t = p.water.bio[1]
  if (!t) throw new Error('no bio tank')
  return t
}
const pressure = (p: Plant): number => {
  const signal = { ...p.spec.site.signals[0], id: 'blower.pressure', quantity: 'pressure' as const } as Parameters<typeof truthOf>[1]
  return truthOf(p.spec.site, signal)?.(p) ?? Number.NaN
}

test('F1: the blower trips at night; oxygen goes, redox falls by about 150 mV within three hours, the culture lives on, sulfide comes after half a day', () => {
  const { p, on } = struck('blower-trip', 21.67)
  const before = { redox: tu(p).redox }
  on(1)
  expect(p.machines.get('blower')?.on).toBe(false)
  expect(pressure(p)).toBe(0)
  on(180)
  expect(tu(p).oxygen).toBeLessThan(0.3)
  expect(before.redox - tu(p).redox).toBeGreaterThan(0.75 * 150)
  expect(before.redox - tu(p).redox).toBeLessThan(1.25 * 150)
  on(180)
  expect(conc(tu(p).water, SULFIDE)).toBeLessThan(0.1)
  on(12 * 60)
  expect(conc(tu(p).water, SULFIDE)).toBeGreaterThan(0.5)
  expect(activity(p)).toBeGreaterThan(0.9)
})

test('F1: where an acid controller holds pH 7.4 it sags by 0.2 to 0.4 in six hours without air, as the carbon dioxide of eight mg/L of oxygen makes it', () => {
  // Dosing on breathed-out CO2 by day would use up the alkalinity: a carbonate water of pH 7.4 is set up as it stands at onset.
  const { p, on } = struck('blower-trip', 21.67)
  const m = tu(p).water.m
  const k = tu(p).k
  m[CARBON] = carbonAt(7.4, (m[ALKALINITY] ?? 0) / tu(p).water.litres, k) * tu(p).water.litres
  on(0.5)
  const before = tu(p).ph
  on(6 * 60)
  expect(before - tu(p).ph).toBeGreaterThan(0.15)
  expect(before - tu(p).ph).toBeLessThan(0.5)
})

test('F1: it smells 8 h after the oxygen is gone at 25 C and 16 h after at 15 C, twice as long for ten degrees less', () => {
  const smells = (celsius: number): number => {
    const water = bath()
    water.litres = 2300
    let h = 0
    while (conc(water, SULFIDE) < 0.45 && h < 48) {
      h += 1 / 360
      rot(water, h, 4000, celsius, 1 / 360)
    }
    return h
  }
  expect(smells(25)).toBeGreaterThan(6)
  expect(smells(25)).toBeLessThan(10)
  expect(smells(15) / smells(25)).toBeCloseTo(2, 1)
})

test('F1: after three days without air the culture is down to about nine tenths, not dead', () => {
  const { p, on } = struck('blower-trip', 21.67)
  on(72 * 60)
  expect(activity(p)).toBeGreaterThan(0.85)
  expect(activity(p)).toBeLessThan(0.95)
})

test('F2: the air line slips off in a wash; oxygen of that tank is gone in 20 min, pressure falls by 40 to 70 %, contact and current look normal', () => {
  const { p, on } = struck('air-line-off', 12)
  const before = { mbar: pressure(p), amps: p.machines.get('blower')?.currentA ?? 0, next: bio1(p).air }
  on(20)
  expect(tu(p).oxygen).toBeLessThan(1)
  expect(pressure(p) / before.mbar).toBeLessThan(0.6)
  expect(pressure(p) / before.mbar).toBeGreaterThan(0.3)
  expect(p.machines.get('blower')?.currentA).toBeCloseTo(before.amps, 6)
  expect(bio1(p).air).toBe(before.next)
})

test('F3: diffusers clog over 60 days; pressure creeps up, loaded oxygen falls under 3, idle oxygen hardly moves', () => {
  const clean = settledReference(13)
  const loaded = tu(clean).oxygen
  const { p, on } = struck('diffuser-fouling', 13, { rampMs: 60 * 24 * HOUR, size: 1 })
  const before = pressure(p)
  // The ramp stands at two thirds: 40 of 60 days.
  const late = struck('diffuser-fouling', 13, { size: 0.67 })
  late.on(60)
  expect(tu(late.p).oxygen).toBeLessThan(3)
  expect(loaded - tu(late.p).oxygen).toBeGreaterThan(1.3)
  expect(pressure(late.p)).toBeGreaterThan(before * 1.05)
  const idle = struck('diffuser-fouling', 3, { size: 0.67 })
  const rested = tu(idle.p).oxygen
  idle.on(120)
  expect(rested - tu(idle.p).oxygen).toBeLessThan(1)
  on(10)
  expect(pressure(p)).toBeGreaterThan(before)
})

test('F4: degreaser; oxygen first falls below 2 though the blower runs, then rises as the culture dies to about a fifth within 4 h, and the next tank is handed the food', () => {
  const { p, on } = struck('degreaser', 9, { endMs: settledReference(9).nowMs + 15 * MIN })
  const ph = tu(p).ph
  const next = bio1(p).uptake
  on(30)
  expect(tu(p).oxygen).toBeLessThan(2)
  expect(tu(p).ph - ph).toBeGreaterThan(0.5)
  expect(tu(p).ph - ph).toBeLessThan(1.5)
  on(210)
  expect(activity(p)).toBeLessThan(0.25)
  expect(activity(p)).toBeGreaterThan(0.15)
  expect(tu(p).oxygen).toBeGreaterThan(6.3)
  expect(bio1(p).uptake).toBeGreaterThan(2 * next)
})

test('F4: fed on, a culture struck by degreaser is sound again (0.8 of before) in 5 to 14 days', () => {
  const { p, on } = struck('degreaser', 9, { endMs: settledReference(9).nowMs + 15 * MIN })
  on(5 * 24 * 60)
  expect(activity(p)).toBeLessThan(0.8)
  on(9 * 24 * 60)
  expect(activity(p)).toBeGreaterThan(0.8)
})

test('F5: bleach; redox rises by 150 to 300 mV, and within 2 h the culture is down to 0.1 to 0.3', () => {
  const { p, on } = struck('bleach', 10.33, { endMs: settledReference(10.33).nowMs + 10 * MIN })
  const before = tu(p).redox
  on(25)
  expect(tu(p).redox - before).toBeGreaterThan(150)
  expect(tu(p).redox - before).toBeLessThan(375)
  on(95)
  expect(activity(p)).toBeGreaterThan(0.1)
  expect(activity(p)).toBeLessThan(0.3)
})

test('F6: the acid relay sticks; pH 6.5 within 4 to 10 min, 5 within 10 to 16, more than half the culture gone within two hours, half a litre from the drum per quarter hour', () => {
  const { p, on } = struck('dose-stuck', 2.17)
  const drum = p.drums.get('acid')?.leftL ?? 0
  let minutes = 0
  let at65 = 0
  let at5 = 0
  while (minutes < 30) {
    on(0.5)
    minutes += 0.5
    if (at65 === 0 && tu(p).ph < 6.5) at65 = minutes
    if (at5 === 0 && tu(p).ph < 5) at5 = minutes
  }
  expect(at65).toBeGreaterThanOrEqual(0.75 * 5)
  expect(at65).toBeLessThanOrEqual(1.25 * 8)
  expect(at5).toBeGreaterThanOrEqual(0.75 * 13)
  expect(at5).toBeLessThanOrEqual(1.25 * 13)
  expect(drum - (p.drums.get('acid')?.leftL ?? 0)).toBeCloseTo(1, 1)
  on(90)
  expect(activity(p)).toBeLessThan(0.4)
})

test('F6: where the run timer acts, the same stuck relay is stopped after two minutes and pH hardly moves', () => {
  const p = settledReference(2.17)
  const before = tu(p).ph
  const guarded = { ...p.control, maxDoseRun: 'acid-max-run' }
  Object.assign(p.control, guarded)
  runUntil(p, hoursLater(p, 1), (t) => void t.doseStuck.add('acid'))
  expect(p.control.doseRunS).toBe(120)
  expect(before - tu(p).ph).toBeLessThan(0.6)
  expect(activity(p)).toBeGreaterThan(0.98)
})

test('F7: alkalinity runs out in soft water; idle pH slides by 0.6 in three weeks, is below 6.5 after 18 to 21 days and then stops: so do the nitrifiers', () => {
  const { p, on } = struck('alkalinity-loss', 6, {}, { carryOff: 0.1, mist: 0.05 })
  const first = tu(p).ph
  on(11 * 24 * 60)
  expect(tu(p).ph).toBeLessThan(first - 0.45)
  expect(tu(p).ph).toBeGreaterThan(6.5)
  let day = 11
  while (tu(p).ph >= 6.5 && day < 40) {
    on(12 * 60)
    day += 0.5
  }
  expect(day).toBeGreaterThanOrEqual(16)
  expect(day).toBeLessThanOrEqual(23)
  on(5 * 24 * 60)
  expect(tu(p).ph).toBeGreaterThan(5.8)
})

test('F7: one pulse of the acid pump from pH 7.0 takes 0.12 at alkalinity 85, 0.24 at 40 and 0.43 at 20: the less is left, the further it moves', () => {
  const drop = (alkalinity: number): number => {
    const { p, on } = struck('nutrient-off', 4)
    const t = tu(p)
    const litres = t.water.litres
    const alk = alkalinity / 1000 / CACO3
    t.water.m[ALKALINITY] = alk * litres
    t.water.m[CARBON] = carbonAt(7, alk, t.k) * litres
    // The panel's own pulse, 40 s of 2 L/h, mixed in at once: bubbles would strip what the dose sets free.
    p.pocket.alkMol = 0
    t.h = hydrogen((t.water.m[CARBON] ?? 0) / litres, alk + (p.control.strength.alk * ((p.control.strength.pulseS / 60) * 0.03333)) / litres, t.k, 1e-7)
    on(0)
    return 7 + Math.log10(t.h)
  }
  expect(drop(85)).toBeGreaterThan(0.09)
  expect(drop(85)).toBeLessThan(0.15)
  expect(drop(40)).toBeGreaterThan(0.18)
  expect(drop(40)).toBeLessThan(0.3)
  expect(drop(20)).toBeGreaterThan(0.32)
  expect(drop(20)).toBeLessThan(0.54)
})

test('F8: idle for four weeks, uptake halves in the first week and the culture counts as damaged (below 0.7) between day 10 and 14', () => {
  const { p, on } = struck('no-washing', 6)
  const first = tu(p).uptake
  on(7 * 24 * 60)
  expect(tu(p).uptake / first).toBeGreaterThan(0.4)
  expect(tu(p).uptake / first).toBeLessThan(0.6)
  let day = 7
  while (activity(p) >= 0.7 && day < 30) {
    on(24 * 60)
    day++
  }
  expect(day).toBeGreaterThanOrEqual(10)
  expect(day).toBeLessThanOrEqual(14)
})

test('F9: the reference of the electrode drifts; the reading falls, the controller doses less, true pH stays up', () => {
  const spoiled = struck('ph-drift', 0, { size: 1 }, { dosePh: 7.7 })
  const sound = settledReference(0, { dosePh: 7.7 })
  const dosed = (p: Plant): number => p.drums.get('acid')?.leftL ?? 0
  const before = [dosed(spoiled.p), dosed(sound)]
  spoiled.on(3 * 24 * 60)
  runUntil(sound, sound.nowMs + 72 * HOUR)
  const used = [(before[0] ?? 0) - dosed(spoiled.p), (before[1] ?? 0) - dosed(sound)]
  expect(used[0]).toBeLessThan((used[1] ?? 0) * 0.3)
  expect(tu(spoiled.p).ph).toBeGreaterThan(tu(sound).ph + 0.15)
})

test('F10: a cloudburst on the open pad; transfer runs without washing, the finished tank fills and stops it, then the sump fills, then water leaves the pad: a release; salt is thinned', () => {
  const { p, on } = struck('storm', 18)
  const salt = conc(tu(p).water, SALT)
  on(60)
  expect(p.transfer.on).toBe(true)
  expect(p.book.inL.rain).toBeGreaterThan(1200)
  on(180)
  expect(p.control.finishedFull).toBe(true)
  expect(p.transfer.on).toBe(false)
  expect((p.water.sump?.water.litres ?? 0) / 1100).toBeGreaterThan(0.9)
  on(120)
  expect(p.book.outL.overflow).toBeGreaterThan(0)
  expect(conc(tu(p).water, SALT) / salt).toBeLessThan(0.9)
})

test('F11: the transfer pump draws air; it runs at two thirds of its current, the sump fills and the finished tank runs down until washing stops after about 4 h', () => {
  const { p, on } = struck('transfer-airlock', 8.5)
  const level = p.water.finished.water.litres
  on(90)
  expect(p.transfer.on).toBe(true)
  expect(p.transfer.currentA / p.transfer.nameplateA / 0.84).toBeCloseTo(0.65, 2)
  expect(p.water.sump?.water.litres).toBeGreaterThan(1050)
  expect(level - p.water.finished.water.litres).toBeGreaterThan(250)
  let hours = 1.5
  while (!p.control.washerLocked && hours < 8) {
    on(5)
    hours += 1 / 12
  }
  expect(hours).toBeGreaterThan(3)
  expect(hours).toBeLessThan(5)
})

test('F11: a stuck make-up valve fills the finished tank and runs it over in 3 to 6 h', () => {
  const { p, on } = struck('make-up-stuck', 16)
  on(180)
  expect(p.book.outL.overflow).toBe(0)
  on(180)
  expect(p.book.outL.overflow).toBeGreaterThan(100)
})

test('F12: power blinks for 20 s; everything returns but the blower, until somebody resets it', () => {
  const { p, on } = struck('no-restart', 3)
  on(1)
  expect(p.mains.present).toBe(true)
  expect(p.uptimeS).toBeLessThan(60)
  expect(p.machines.get('blower')?.on).toBe(false)
  on(90)
  expect(tu(p).oxygen).toBeLessThan(1)
  runUntil(p, p.nowMs + MIN, (_, plant) => KINDS.visit.apply(p.troubles, 1, { id: 'v', kind: 'visit', site: 'reference-loop', onsetMs: 0, endMs: null }, plant))
  expect(p.machines.get('blower')?.on).toBe(true)
})

test('B1: nobody washes for nine days; oxygen stays high, uptake halves, and the first day back still finds most of the culture', () => {
  const { p, on } = struck('no-washing', 16)
  const washed = p.book.washedL
  on(9 * 24 * 60)
  expect(p.book.washedL).toBe(washed)
  expect(activity(p)).toBeGreaterThan(0.7)
})

test('B2: a heavy day raises uptake and foam, and oxygen is back within three hours of its end', () => {
  const p = settledReference(16)
  const fault: Fault = { id: 'h', kind: 'heavy-day', site: 'reference-loop', onsetMs: p.nowMs, endMs: p.nowMs + 3 * HOUR }
  const idle = tu(p).oxygen
  const arrange = (t: Plant['troubles'], plant: Plant): void => {
    const s = strength(fault, plant.nowMs)
    if (s > 0) KINDS['heavy-day'].apply(t, s, fault, plant)
  }
  let most = 0
  while (p.nowMs < fault.onsetMs + 3 * HOUR) {
    runUntil(p, p.nowMs + MIN, arrange)
    most = Math.max(most, tu(p).uptake)
  }
  expect(most).toBeGreaterThan(35)
  runUntil(p, p.nowMs + 3 * HOUR, arrange)
  expect(idle - tu(p).oxygen).toBeLessThan(1)
})

test('B4 and B7: a short stop of the air or the mains dips oxygen and all is back in ten minutes', () => {
  const { p, on } = struck('power-cut', 3, { endMs: settledReference(3).nowMs + 6 * MIN })
  const before = tu(p).oxygen
  on(6)
  expect(before - tu(p).oxygen).toBeGreaterThan(0.4)
  expect(p.mains.phases[0]).toBe(0)
  on(10)
  expect(p.machines.get('blower')?.on).toBe(true)
  expect(before - tu(p).oxygen).toBeLessThan(0.3)
})

test('B5: a tank under cleaning is empty, its probe shows what air shows, and it fills again', () => {
  const { p, on } = struck('tank-cleaning', 3, { endMs: settledReference(3).nowMs + 180 * MIN })
  on(60)
  expect(tu(p).water.litres / tu(p).volumeL).toBeLessThan(0.05)
  expect(tu(p).oxygen).toBeCloseTo(tu(p).saturated, 6)
  on(12 * 60)
  expect(tu(p).water.litres / tu(p).volumeL).toBeGreaterThan(0.9)
  expect(activity(p)).toBeGreaterThan(0.9)
})

test('a fault grows from nothing to its size and ends when it is put right', () => {
  const f: Fault = { id: 'x', kind: 'storm', site: 's', onsetMs: 1000, endMs: 5000, size: 2, rampMs: 2000 }
  expect([999, 1000, 2000, 3000, 4999, 5000].map((t) => strength(f, t))).toEqual([0, 0, 1, 2, 2, 0])
})

test('every scenario of the library has its kind, and each kind says what happens', () => {
  const found = new Set(Object.values(KINDS).map((k) => k.scenario))
  for (const id of ['F1', 'F2', 'F3', 'F4', 'F5', 'F6', 'F7', 'F8', 'F9', 'F10', 'F11', 'F12', 'B1', 'B2', 'B3', 'B4', 'B5', 'B6', 'B7', 'B8']) expect(found, id).toContain(id)
  for (const k of Object.values(KINDS)) expect(k.what.length).toBeGreaterThan(15)
})
