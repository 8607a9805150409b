/** What is computed one way and undone the other comes back; every pair of inverse functions of the folder that has one. */
import fc from 'fast-check'
import { expect, test } from 'vitest'
import { fallOfDose } from '../../gateway/process/buffer.ts'
import { pressureOfLevelMbar, levelOfPressureMm } from '../../gateway/process/density.ts'
import { afterDose, alkalinityPerMg, doseForPh, PRODUCTS, type ProductName, tankDoseKg } from '../../gateway/process/dose.ts'
import { electrodeHealth, nernstMvPerPh, spanMv } from '../../gateway/process/electrode.ts'
import { amperesOfShaft, threePhaseKw } from '../../gateway/process/motor.ts'
import { contactCt, ozoneLeft, ratePerMin } from '../../gateway/process/ozone.ts'
import { makeUp, lossFromConductivity, restingConductivity, saltCycles } from '../../gateway/process/salt.ts'
import { levelOfVolumeMm, pctOfVolume, volumeOfLevelL, volumeOfPctL } from '../../gateway/process/tank-level.ts'
import { doAfterMgPerL, kLaAt, kLaFromTwoPoints, minutesToDo, supplyMgPerLPerH } from '../../gateway/process/transfer.ts'
import { real, seen } from './noise.ts'

const near = (a: number, b: number, share = 1e-9): boolean => Math.abs(a - b) <= share * Math.max(1, Math.abs(b))

const shape = fc.record({ diameterMm: real(200, 5000), heightMm: real(100, 5000), coneMm: fc.oneof(fc.constant(0), real(50, 2500)) })

test('pressure to level to volume to percent, and all the way back to the pressure, gas and warmth included', () => {
  fc.assert(
    fc.property(shape, real(0.01, 1.1), real(0, 40), real(0, 0.3), real(0, 1), (s, share, cel, gas, taper) => {
      const bottomMm = taper * s.diameterMm
      const mbar = pressureOfLevelMbar(share * (s.heightMm + s.coneMm), cel, gas)
      const volume = volumeOfLevelL(s, levelOfPressureMm(mbar, cel, gas), bottomMm)
      const pct = pctOfVolume(s, volume, bottomMm)
      const back = levelOfVolumeMm(s, volumeOfPctL(s, pct, bottomMm), bottomMm)
      // A cubic root near the tip of a cone costs figures: a thousandth of a millimetre of water is a ten-thousandth of a mbar.
      return Math.abs(pressureOfLevelMbar(back, cel, gas) - mbar) < 1e-4
    }),
  )
})

const water = fc.record({ ph: real(6.2, 8.8), alkalinityMgPerL: real(30, 400), temperatureCel: real(2, 40) })
const products = Object.keys(PRODUCTS) as ProductName[]

test('the dose read back from the pH it made is the dose that was given, for every product', () => {
  fc.assert(
    fc.property(water, fc.constantFrom(...products), real(0.02, 0.5), (w, product, share) => {
      // Up to half of the alkalinity, so that some is left to tell the dose by.
      const dose = (share * w.alkalinityMgPerL) / Math.abs(alkalinityPerMg(product))
      const after = afterDose(w, { [product]: dose })
      const up = PRODUCTS[product].equivalents > 0
      // Bicarbonate pulls every water towards 8.3, from above as well; and beyond 11 the inverse is not offered.
      fc.pre(after.ph > w.ph === up && Math.abs(after.ph - w.ph) >= 0.001 && after.ph <= 10.9)
      return near(doseForPh(w, product, after.ph), dose, 1e-5)
    }),
    { numRuns: 300 },
  )
})

test('an acid and the base of the same equivalents give the same water again', () => {
  fc.assert(
    fc.property(water, real(0.01, 0.6), (w, share) => {
      const acid = (share * w.alkalinityMgPerL) / -alkalinityPerMg('sulphuricAcid')
      const base = (share * w.alkalinityMgPerL) / alkalinityPerMg('causticSoda')
      const sour = afterDose(w, { sulphuricAcid: acid })
      fc.pre(sour.ph >= 4.6)
      const back = afterDose(sour, { causticSoda: base })
      return near(back.ph, w.ph, 1e-7) && near(back.alkalinityMgPerL, w.alkalinityMgPerL, 1e-9)
    }),
  )
})

test('the fall of pH a dose causes is the same as mg/L of CaCO3 and as mg/L of acid, and kg for a tank are mg/L times litres', () => {
  fc.assert(
    fc.property(water, real(0.01, 0.5), real(100, 50_000), (w, share, litres) => {
      const asCaco3 = share * w.alkalinityMgPerL
      const acid = asCaco3 / -alkalinityPerMg('sulphuricAcid')
      const fall = w.ph - afterDose(w, { sulphuricAcid: acid }).ph
      return near(fallOfDose(w.ph, w.alkalinityMgPerL, asCaco3, w.temperatureCel), fall, 1e-9) && near(tankDoseKg(asCaco3, litres, 'sulphuricAcid'), (acid * litres) / 1e6, 1e-9)
    }),
  )
})

test('an electrode built with a slope and an offset is told with that slope and that offset', () => {
  fc.assert(
    fc.property(real(60, 110), real(-50, 50), real(5, 40), real(6.6, 7.4), fc.constantFrom(4.01, 9.18, 10.01), (slopePct, offsetMv, cel, neutralPh, otherPh) => {
      const mv = (ph: number): number => offsetMv - Math.sign(ph - 7) * spanMv(slopePct, Math.abs(ph - 7), cel)
      const h = seen(electrodeHealth({ ph: neutralPh, mv: mv(neutralPh) }, { ph: otherPh, mv: mv(otherPh) }, cel))
      return near(h.slopePct, slopePct, 1e-9) && near(h.offsetMv, offsetMv, 1e-9) && near(spanMv(100, 1, cel), nernstMvPerPh(cel))
    }),
  )
})

test('evaporation and carry-off come back from the conductivities they lead to, and cycles are their quotient', () => {
  fc.assert(
    fc.property(real(1, 500), real(1, 200), real(0, 100), real(50, 1500), (evaporation, carryOff, blowdown, fresh) => {
      const loss = { evaporation, carryOff, blowdown }
      const loop = restingConductivity(fresh, loss)
      const back = seen(lossFromConductivity(makeUp(loss), blowdown, fresh, loop))
      return near(back.evaporation, evaporation, 1e-9) && near(back.carryOff, carryOff, 1e-9) && near(loop / fresh, saltCycles(loss), 1e-9)
    }),
  )
})

test('KLa read from two points of a rise is the KLa that made it, at any temperature it is carried to and back from', () => {
  fc.assert(
    fc.property(real(0.5, 30), real(0, 5), real(0, 40), real(0, 40), (kLaPerH, start, cel, other) => {
      const b = { kLaPerH, saturationMgPerL: 9, uptakeMgPerLPerH: 0 }
      const point = (hours: number) => ({ at: hours, value: doAfterMgPerL(start, hours, b) })
      const read = kLaFromTwoPoints(9, point(0.2 / kLaPerH), point(1.5 / kLaPerH))
      return near(read, kLaPerH, 1e-9) && near(kLaAt(kLaAt(read, cel, other), other, cel), kLaPerH, 1e-9)
    }),
  )
})

test('oxygen held where supply meets uptake stays there, and the time to any oxygen on the way leads to that oxygen', () => {
  fc.assert(
    fc.property(real(1, 20), real(0.1, 60), real(0.5, 8), real(0.05, 0.95), (kLaPerH, uptake, start, share) => {
      const b = { kLaPerH, saturationMgPerL: 9, uptakeMgPerLPerH: uptake }
      const rest = 9 - uptake / kLaPerH
      fc.pre(rest >= 0.1 && Math.abs(rest - start) > 0.01)
      const target = start + share * (rest - start)
      const minutes = minutesToDo(start, target, b)
      return (
        Number.isFinite(minutes) &&
        near(doAfterMgPerL(rest, 5, b), rest, 1e-9) &&
        near(supplyMgPerLPerH(kLaPerH, 9, rest), uptake, 1e-9) &&
        near(doAfterMgPerL(start, minutes / 60, b), target, 1e-6)
      )
    }),
  )
})

test('power to current and back, and dose times time from a half-life, close', () => {
  fc.assert(
    fc.property(real(0.5, 100), real(200, 600), real(0.6, 0.96), real(0.5, 0.95), (hp, volts, efficiency, factor) =>
      near((threePhaseKw(volts, amperesOfShaft(hp, volts, efficiency, factor), factor) * efficiency) / 0.745_699_871_582_270_2, hp, 1e-9),
    ),
  )
  fc.assert(
    fc.property(real(0.1, 5), real(1, 60), real(1, 120), (dose, halfLife, minutes) => {
      const decayPerMin = ratePerMin(halfLife)
      const ct = contactCt({ doseMgPerL: dose, decayPerMin, contactMin: minutes, skipMin: 0, baffle: 1 })
      // What is gone went by decay: start less left is rate times dose times time.
      return near(ct * decayPerMin, dose - ozoneLeft(dose, decayPerMin, minutes), 1e-9)
    }),
  )
  expect(near(1, 1 + 1e-8)).toBe(false)
})
