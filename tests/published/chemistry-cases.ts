/** pH electrodes, alkalinity and doses, ammonia, sulphide, ozone. */
import { ammoniaPKa, unionisedShare } from '../../gateway/process/ammonia.ts'
import { alkalinityMgPerL, carbonateConstants, carbonateMmolPerL, phOpen } from '../../gateway/process/carbonate.ts'
import {
  afterDose,
  alkalinityPerMg,
  type Doses,
  molarMass,
  NITRIFICATION_ALKALINITY,
  NITRIFICATION_OXYGEN,
  nitrificationAlkalinity,
  PRODUCTS,
  SLUDGE_PER_MG_ALUM,
  type Water,
} from '../../gateway/process/dose.ts'
import { electrodeHealth, nernstMvPerPh, SLOPE_ACCEPTED_PCT, spanMv } from '../../gateway/process/electrode.ts'
import { loadKgPerD, POUND_KG, US_GALLON_L } from '../../gateway/process/factors.ts'
import { contactCt, logCredit, ozoneHalfLifeMin, ozoneLeft, ozoneMgPerM3, ratePerMin } from '../../gateway/process/ozone.ts'
import { sulphideGasShare, sulphidePK1 } from '../../gateway/process/sulphide.ts'
import { join, type Ours } from './table.ts'

const n = (s: string | undefined): number => Number(s)

function slopePct(neutralMv: number, acidMv: number): number {
  const h = electrodeHealth({ ph: 7.01, mv: neutralMv }, { ph: 4.01, mv: acidMv }, 25)
  if (h.kind === 'not-observable') throw new Error(h.because)
  return h.slopePct
}

const DOSED: readonly (readonly [Water, Doses])[] = [
  [{ ph: 7.5, alkalinityMgPerL: 100, temperatureCel: 20 }, { alum14: 30 }],
  [{ ph: 6.7, alkalinityMgPerL: 20, temperatureCel: 20 }, { alum14: 30 }],
  [
    { ph: 7.5, alkalinityMgPerL: 100, temperatureCel: 20 },
    { alum14: 50, sulphuricAcid: 20 },
  ],
  [{ ph: 8, alkalinityMgPerL: 20, temperatureCel: 20 }, { alum14: 50 }],
]
function dosed(row: number): Water {
  const [water, doses] = DOSED[row - 1] ?? []
  if (!water || !doses) throw new Error(`no dose ${row}`)
  return afterDose(water, doses)
}

const CONTACT = { doseMgPerL: 5, decayPerMin: 0.5, contactMin: 30, skipMin: 0.5, baffle: 0.3 }

/** Alkalinity of 1 mmol/L of carbonate itself, without what the water has at that pH. */
const ofCarbonate = (ph: number): number => alkalinityMgPerL(ph, 1, 25) - alkalinityMgPerL(ph, 0, 25)

const ours: Ours = [
  [/^PH-N(\d+)$/, (_, [t]) => nernstMvPerPh(n(t))],
  [/^PH-1$/, () => slopePct(-15, 160)],
  [/^PH-2$/, () => slopePct(15, 160)],
  [/^PH-([34])$/, (_, [i]) => spanMv(SLOPE_ACCEPTED_PCT[n(i) === 3 ? 0 : 1], 3, 25)],
  [/^CH-1$/, () => molarMass(PRODUCTS.alum14.atoms)],
  [/^CH-2$/, () => molarMass(PRODUCTS.alum18.atoms)],
  [/^CH-3$/, () => -alkalinityPerMg('alum14')],
  [/^CH-4$/, () => -alkalinityPerMg('alum18')],
  [/^CH-5$/, () => -alkalinityPerMg('aluminium')],
  [/^CH-6$/, () => SLUDGE_PER_MG_ALUM],
  [/^CH-7$/, () => -alkalinityPerMg('sulphuricAcid')],
  [/^CH-8$/, () => -alkalinityPerMg('hydrochloricAcid')],
  [/^CH-9$/, () => alkalinityPerMg('bicarbonate')],
  [/^CH-10$/, () => alkalinityPerMg('soda')],
  [/^CH-11$/, () => alkalinityPerMg('causticSoda')],
  [/^CH-12$/, () => alkalinityPerMg('lime')],
  [/^CH-13$/, () => NITRIFICATION_ALKALINITY],
  [/^CH-14$/, () => NITRIFICATION_OXYGEN],
  // 2.35 million US gallons a day at 30 mg/L, in pounds a day as the text has it.
  [/^CH-15$/, () => loadKgPerD((2.35e6 * US_GALLON_L) / 1000, 30) / POUND_KG],
  // The text multiplies with its rounded ratio, so it is handed in.
  [/^CH-16$/, () => nitrificationAlkalinity(588, 7.14)],
  [/^CB-1$/, () => carbonateConstants(25).pK1],
  [/^CB-2$/, () => carbonateConstants(25).pK2],
  [/^CB-3$/, () => carbonateConstants(25).pKH],
  [/^CB-4$/, () => carbonateConstants(25).pKw],
  [/^CB-K1-(\d+)$/, (_, [t]) => carbonateConstants(n(t)).pK1],
  [/^CB-K2-(\d+)$/, (_, [t]) => carbonateConstants(n(t)).pK2],
  [/^CB-D(\d)p$/, (_, [row]) => dosed(n(row)).ph],
  [/^CB-D(\d)a$/, (_, [row]) => dosed(n(row)).alkalinityMgPerL],
  [/^CB-5$/, () => carbonateMmolPerL(7, 100, 25) / 1000],
  [/^CB-6$/, () => phOpen(85, 20)],
  [/^CB-7$/, () => phOpen(50, 20)],
  [/^CB-X1$/, () => ofCarbonate(carbonateConstants(25).pK1)],
  [/^CB-X2$/, () => ofCarbonate(carbonateConstants(25).pK2)],
  [/^NH-(\d\d)$/, (_, [t]) => unionisedShare(7, n(t))],
  [/^NH-a$/, () => unionisedShare(8, 24)],
  [/^NH-b$/, () => unionisedShare(7.2, 6)],
  [/^NH-c$/, () => unionisedShare(7.2, 8)],
  [/^NH-T(\d+)-([\d.]+)$/, (_, [t, ph]) => 100 * unionisedShare(n(ph), n(t))],
  [/^NH-d$/, () => ammoniaPKa(25)],
  [/^HS-1$/, () => sulphidePK1(25)],
  [/^HS-([678])$/, (_, [ph]) => sulphideGasShare(n(ph), 25)],
  [/^OZ-1$/, () => contactCt(CONTACT)],
  [/^OZ-2$/, () => logCredit('giardia', contactCt(CONTACT), 20)],
  [/^OZ-3$/, () => logCredit('virus', contactCt(CONTACT), 20)],
  [/^OZ-4$/, () => logCredit('cryptosporidium', contactCt(CONTACT), 20)],
  [/^OZ-5$/, () => 1 / logCredit('cryptosporidium', 1, 20)],
  [/^OZ-6$/, () => 1 / logCredit('cryptosporidium', 1, 10)],
  [/^OZ-7$/, () => 3 / logCredit('giardia', 1, 10)],
  [/^OZ-8$/, () => 2 / logCredit('virus', 1, 10)],
  [/^OZ-9$/, () => ratePerMin(ozoneHalfLifeMin(20))],
  [/^OZ-10$/, () => ozoneLeft(2, ratePerMin(ozoneHalfLifeMin(20)), 60)],
  [/^OZ-11$/, () => ozoneMgPerM3(0.1)],
]

export const chemistryCases = join('chemistry-values.json', ours)
