/** More of the cause is more of the effect (or less of it), wherever physics leaves no doubt: over the whole valid range, by chance. */
import fc from 'fast-check'
import { expect, test } from 'vitest'
import { unionisedShare } from '../../gateway/process/ammonia.ts'
import { alkalinityMgPerL, bufferMgPerLPerPh, phClosed, phOpen } from '../../gateway/process/carbonate.ts'
import { levelOfPressureMm, waterDensityKgPerM3 } from '../../gateway/process/density.ts'
import { afterDose, PRODUCTS, type ProductName } from '../../gateway/process/dose.ts'
import { nernstMvPerPh } from '../../gateway/process/electrode.ts'
import { dwellH, hydraulicKw, nozzlePressureShare, slugShares } from '../../gateway/process/hydraulics.ts'
import { deratingShare, loadShare, loadShareBent, unbalancePct } from '../../gateway/process/motor.ts'
import { airLossClocks } from '../../gateway/process/oxygen-left.ts'
import { salinityFromConductivity, stationPressureAtm, vapourPressureAtm } from '../../gateway/process/oxygen.ts'
import { contactCt, logCredit, ozoneHalfLifeMin, ozoneLeft } from '../../gateway/process/ozone.ts'
import { saltCycles } from '../../gateway/process/salt.ts'
import { sulphideGasShare } from '../../gateway/process/sulphide.ts'
import { doAfterMgPerL, fieldShare, kLaAt20, minutesToDo, pressureAtDepthAtm } from '../../gateway/process/transfer.ts'
import { uptakeAt20 } from '../../gateway/process/uptake.ts'
import { real, seen } from './noise.ts'

/** [what, function, from, to, 1 rises / -1 falls]; strictly, for two points a thousandth of the span apart or more. */
const curves: readonly (readonly [string, (x: number) => number, number, number, 1 | -1])[] = [
  ['vapour pressure rises with warmth', vapourPressureAtm, 0, 40, 1],
  ['air pressure falls with height', stationPressureAtm, -500, 5500, -1],
  ['salinity rises with conductivity', salinityFromConductivity, 0, 60_000, 1],
  ['pressure rises with depth', (m) => pressureAtDepthAtm(m), 0, 15, 1],
  ['water thins from 4 degrees on', waterDensityKgPerM3, 4, 100, -1],
  ['water thickens up to 3.9 degrees', waterDensityKgPerM3, 0, 3.9, 1],
  ['the same pressure is a higher level in warmer water', (t) => levelOfPressureMm(100, t), 5, 60, 1],
  ['the Nernst slope rises with warmth', nernstMvPerPh, 0, 100, 1],
  ['un-ionised ammonia rises with pH', (ph) => unionisedShare(ph, 20), 4, 12, 1],
  ['un-ionised ammonia rises with warmth', (t) => unionisedShare(8, t), 0, 50, 1],
  ['sulphide gas falls with pH', (ph) => sulphideGasShare(ph, 20), 3, 11, -1],
  ['alkalinity rises with pH', (ph) => alkalinityMgPerL(ph, 2, 20), 2.1, 12.4, 1],
  ['alkalinity rises with carbonate above the pH of pure carbonic water', (c) => alkalinityMgPerL(7, c, 20), 0, 20, 1],
  ['more carbon dioxide in a closed water is a lower pH', (c) => phClosed(100, c, 20), 1, 20, -1],
  ['more alkalinity under air is a higher pH', (a) => phOpen(a, 20), 1, 1000, 1],
  ['more carbon dioxide in the air is a lower pH', (p) => phOpen(100, 20, p), 1e-5, 0.2, -1],
  ['a wider water buffers more', (c) => bufferMgPerLPerPh(6.5, c, 20), 0.1, 20, 1],
  ['ozone lives shorter in warmth', ozoneHalfLifeMin, 15, 35, -1],
  ['ozone left falls with time', (min) => ozoneLeft(2, 0.05, min), 0, 300, -1],
  ['dose times time rises with contact', (min) => contactCt({ doseMgPerL: 2, decayPerMin: 0.05, contactMin: min, skipMin: 0, baffle: 0.5 }), 0.1, 200, 1],
  ['credit rises with warmth', (t) => logCredit('virus', 1, t), 0.5, 25, 1],
  ['transfer carried to 20 degrees falls with the warmth it was measured at', (t) => kLaAt20(6, t), 0, 40, -1],
  ['uptake carried to 20 degrees falls with the warmth it was measured at', (t) => uptakeAt20(10, t), 10, 30, -1],
  ['a field share falls with the oxygen held', (d) => fieldShare({ alpha: 0.5, beta: 0.95, saturationMgPerL: 9, doMgPerL: d, temperatureCel: 20 }), 0, 8, -1],
  ['a field share rises with alpha', (a) => fieldShare({ alpha: a, beta: 0.95, saturationMgPerL: 9, doMgPerL: 2, temperatureCel: 20 }), 0.1, 1.1, 1],
  ['oxygen after an hour falls with uptake', (u) => doAfterMgPerL(8, 1, { kLaPerH: 6, saturationMgPerL: 9, uptakeMgPerLPerH: u }), 0, 45, -1],
  ['oxygen after an hour rises with transfer', (k) => doAfterMgPerL(2, 1, { kLaPerH: k, saturationMgPerL: 9, uptakeMgPerLPerH: 5 }), 1, 12, 1],
  ['time to no oxygen falls with uptake', (u) => minutesToDo(8, 1, { kLaPerH: 0.1, saturationMgPerL: 9, uptakeMgPerLPerH: u }), 2, 60, -1],
  ['dwell falls with flow', (f) => dwellH([1000], f), 0.1, 100, -1],
  ['power rises with pressure', (p) => hydraulicKw(20, p), 0, 300, 1],
  ['a wider nozzle costs pressure', nozzlePressureShare, 0.2, 5, -1],
  ['load rises with current', (a) => loadShare(a, { ratedA: 20, idleA: 8 }), 8, 25, 1],
  ['load by the other formula rises with current', (a) => loadShareBent(a, { ratedA: 20, idleA: 8 }), 8, 25, 1],
  ['unbalance rises as one line falls away', (v) => Number(unbalancePct(460, 460, v)), 300, 459, -1],
  ['cycles rise with evaporation', (e) => saltCycles({ evaporation: e, carryOff: 10, blowdown: 5 }), 0, 500, 1],
  ['cycles fall with carry-off', (c) => saltCycles({ evaporation: 50, carryOff: c, blowdown: 5 }), 0.1, 500, -1],
]

test.each(curves)('%s', (_what, of, from, to, sign) => {
  fc.assert(
    fc.property(real(0, 1), real(0.001, 1), (a, gap) => {
      const x0 = from + a * (1 - gap) * (to - from)
      const x1 = x0 + gap * (to - from)
      return sign * (of(Math.min(to, x1)) - of(x0)) > 0
    }),
  )
})

test('more of an acid is a lower pH and more of a base a higher one, in every water', () => {
  const one = (Object.keys(PRODUCTS) as ProductName[]).filter((p) => p !== 'bicarbonate')
  fc.assert(
    fc.property(
      fc.record({ ph: real(6, 9), alkalinityMgPerL: real(30, 400), temperatureCel: real(2, 40) }),
      fc.constantFrom(...one),
      real(0, 20),
      real(0.1, 20),
      (w, product, dose, more) => {
        const change = afterDose(w, { [product]: dose + more }).ph - afterDose(w, { [product]: dose }).ph
        return change * PRODUCTS[product].equivalents > 0
      },
    ),
  )
})

test('a motor may never carry more at a worse unbalance, and nothing above five per cent', () => {
  fc.assert(fc.property(real(0, 6), real(0, 6), (a, b) => deratingShare(Math.max(a, b)) <= deratingShare(Math.min(a, b))))
  expect(deratingShare(5.01)).toBe(0)
})

test('a slug only leaves: its sum falls with time, later tanks are reached later, and no share is below zero', () => {
  fc.assert(
    fc.property(fc.array(real(50, 5000), { minLength: 1, maxLength: 5 }), real(1, 50), real(0.1, 20), real(0.1, 20), (volumes, flow, hours, more) => {
      const sum = (h: number): number => slugShares(volumes, flow, h).reduce((a, b) => a + b, 0)
      return sum(hours + more) <= sum(hours) + 1e-12 && sum(hours) <= 1 + 1e-12 && slugShares(volumes, flow, hours).every((s) => s >= 0)
    }),
  )
})

test('more oxygen at the start is never less time, and warmer water never gives more of it before it smells or dies', () => {
  const uptake = { low: 4, best: 6, high: 9 }
  const clocks = (doMgPerL: number, temperatureCel: number) => seen(airLossClocks({ doMgPerL, saturationMgPerL: 9, temperatureCel, uptakeMgPerLPerH: uptake }))
  fc.assert(
    fc.property(real(0, 8), real(0, 1), real(2, 35), real(0.1, 5), (d, more, cel, warmer) => {
      const [here, fuller, hotter] = [clocks(d, cel), clocks(d + more, cel), clocks(d, cel + warmer)]
      return (
        fuller.toShortMin.low >= here.toShortMin.low &&
        fuller.toShortMin.best >= here.toShortMin.best &&
        hotter.toOdourH.best < here.toOdourH.best &&
        hotter.toHarmH.best < here.toHarmH.best &&
        [here.toShortMin, here.toOdourH, here.toHarmH].every((e) => e.low <= e.best && e.best <= e.high)
      )
    }),
  )
})
