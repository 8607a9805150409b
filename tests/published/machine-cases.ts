/** Unit factors, tanks, pumps, motors, water density, filter paper, make-up. Inputs in the units of print are carried to ours and back. */
import { levelOfPressureMm, pressureOfLevelMbar, waterDensityKgPerM3 } from '../../gateway/process/density.ts'
import { celFromFahrenheit, HORSEPOWER_W, INCH_MM, INCH_WATER_PA, loadKgPerD, POUND_KG, PSI_PA, US_GALLON_L } from '../../gateway/process/factors.ts'
import { paperLeft, paperPerM3, rollDays, solidsG } from '../../gateway/process/filter.ts'
import { affinity, dwellH, hydraulicKw, shaftKw } from '../../gateway/process/hydraulics.ts'
import { amperesOfShaft, loadShare, loadShareBent, threePhaseKw, unbalancePct } from '../../gateway/process/motor.ts'
import { lockedRotorRatio } from '../../gateway/process/motor-table.ts'
import { lossFromConductivity, makeUpOfLoss, restingConductivity, saltCycles } from '../../gateway/process/salt.ts'
import { volumeOfLevelL } from '../../gateway/process/tank-level.ts'
import { join, type Ours, told } from './table.ts'

const n = (s: string | undefined): number => Number(s)

const BAR_PER_PSI = PSI_PA / 1e5
const MBAR_PER_PSI = PSI_PA / 100
const hpOf = (gpm: number, psi: number): number => (hydraulicKw(gpm * US_GALLON_L, psi * BAR_PER_PSI) * 1000) / HORSEPOWER_W

/** Tank 90 in across on a cone 45 in high; straight part long enough for every level asked. */
const CONE = { diameterMm: 90 * INCH_MM, heightMm: 60 * INCH_MM, coneMm: 45 * INCH_MM }
const gallons = (levelIn: number, bottomIn = 0): number => volumeOfLevelL(CONE, levelIn * INCH_MM, bottomIn * INCH_MM) / US_GALLON_L
const LEVELS_IN = [15, 22.5, 45, 60, 100, 104]
const cubicInches = (gal: number): number => gal * 231

function daysLeft(): number {
  const same = (best: number) => ({ low: best, best, high: best })
  // 1.6 ft a day, as paper per water times water per day.
  const days = rollDays({ left: paperLeft(300, 220), perM3: same(0.4), expectedM3PerD: same(4) })
  if ('because' in days) throw new Error(days.because)
  return days.best
}

const LOSS = { evaporation: 120, carryOff: 60, blowdown: 20 }
function lossTold(): typeof LOSS {
  const loss = lossFromConductivity(200, 20, 400, 1000)
  if ('because' in loss) throw new Error(loss.because)
  return loss
}

const ours: Ours = [
  [/^UN-1$/, () => US_GALLON_L / 1000],
  [/^UN-2$/, () => PSI_PA],
  [/^UN-3$/, () => HORSEPOWER_W],
  [/^UN-4$/, () => INCH_WATER_PA],
  [/^UN-5$/, () => pressureOfLevelMbar(INCH_MM, celFromFahrenheit(60)) / MBAR_PER_PSI],
  [/^UN-6$/, () => 1000 / HORSEPOWER_W],
  [/^UN-7$/, () => 1000 / US_GALLON_L],
  [/^UN-8$/, () => celFromFahrenheit(212)],
  [/^UN-9$/, () => loadKgPerD(1000 * US_GALLON_L, 1) / POUND_KG],
  [/^HY-1$/, () => 1 / hpOf(1, 1)],
  [/^HY-2$/, () => hpOf(6, 3500)],
  [/^HY-3$/, () => (shaftKw(hydraulicKw(6 * US_GALLON_L, 3500 * BAR_PER_PSI), 0.85) * 1000) / HORSEPOWER_W],
  [/^HY-4$/, () => hydraulicKw(6 * US_GALLON_L, 3500 * BAR_PER_PSI)],
  [/^HY-5$/, () => dwellH([2000 * US_GALLON_L], 6 * US_GALLON_L)],
  [
    /^HY-6$/,
    () =>
      dwellH(
        [600, 2000, 2000].map((g) => g * US_GALLON_L),
        6 * US_GALLON_L,
      ),
  ],
  [/^HY-7$/, () => affinity(0.8).head],
  [/^HY-8$/, () => affinity(0.8).power],
  [/^HY-9$/, () => levelOfPressureMm(2 * MBAR_PER_PSI, 20) / INCH_MM],
  [/^HY-10$/, () => levelOfPressureMm(2 * MBAR_PER_PSI, 40) / INCH_MM],
  [/^HY-11$/, () => pressureOfLevelMbar(60 * INCH_MM, 20) / MBAR_PER_PSI],
  [/^TK-([1-6])$/, (_, [i]) => gallons(LEVELS_IN[n(i) - 1] ?? Number.NaN)],
  [/^TK-7$/, () => cubicInches(gallons(45))],
  [/^TK-8$/, () => gallons(22.5) / gallons(45)],
  [/^TK-9$/, () => gallons(22.5, 6)],
  [/^EL-1$/, () => threePhaseKw(460, 21, 0.85)],
  [/^EL-2$/, () => amperesOfShaft(15, 460, 0.91, 0.85)],
  [/^EL-3$/, () => told(unbalancePct(462, 463, 455))],
  [/^EL-4$/, () => told(unbalancePct(460, 467, 450))],
  [/^EL-5$/, () => told(unbalancePct(480, 476, 472))],
  [/^EL-6$/, () => 100 * loadShare(100, { ratedA: 120, idleA: 35 })],
  [/^EL-7$/, () => 100 * loadShareBent(16.5, { ratedA: 24, idleA: 9.3 })],
  [/^EL-8$/, () => told(lockedRotorRatio(10))],
  [/^EL-9$/, () => told(lockedRotorRatio(100))],
  [/^EL-10$/, () => told(lockedRotorRatio(15))],
  [/^RH-(\d+)$/, (_, [t]) => waterDensityKgPerM3(n(t))],
  [/^FL-1$/, daysLeft],
  // 4 ft of paper on 2500 gal, per 1000 gal as the text has it.
  [/^FL-2$/, () => paperPerM3(4, (2500 * US_GALLON_L) / 1000) * US_GALLON_L],
  [/^FL-3$/, () => solidsG(5000 * US_GALLON_L, 300)],
  [/^SC-1$/, () => saltCycles(LOSS)],
  [/^SC-2$/, () => restingConductivity(400, LOSS)],
  [/^SC-3$/, () => restingConductivity(400, LOSS, 40_000)],
  [/^SC-4$/, () => lossTold().evaporation],
  [/^SC-5$/, () => lossTold().carryOff],
  [/^WL-1$/, () => makeUpOfLoss(1000, 0.2)],
]

export const machineCases = join('machine-values.json', ours)
