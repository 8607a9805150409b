/**
 * Planted mistakes: a coefficient of the process arithmetic altered by one in the last digit that a printed figure can show (finer
 * digits move no check beyond its rounding), or a sign or term of a formula, in a copy of the source. Each must be found by the check
 * named beside it.
 */
import { afterAll, expect, test } from 'vitest'
import { planting } from './planted.ts'

const planted = planting({ source: ['gateway/process', 'gateway/site'], subjects: ['oxygen', 'chemistry', 'machine'] })
afterAll(() => planted.remove())
const failing = (file: string, from: string, to: string): Promise<readonly string[]> => planted.failing(`gateway/process/${file}`, from, to)

test('nothing changed, nothing found', async () => {
  expect(await failing('oxygen.ts', 'const lnFresh', 'const lnFresh')).toEqual([])
})

/** What is meant, file, as it stands, as planted, a check that finds it. */
test.each<[string, string, string, string, string]>([
  ['saturation', 'oxygen.ts', '139.34411', '139.34412', 'RV-APHA-0'],
  ['saturation', 'oxygen.ts', '1.575701e5', '1.575702e5', 'DO-T00'],
  ['saturation', 'oxygen.ts', '6.642308e7', '6.642309e7', 'DO-T00'],
  ['saturation', 'oxygen.ts', '1.2438e10', '1.2439e10', 'DO-T16'],
  ['saturation', 'oxygen.ts', '8.621949e11', '8.621948e11', 'RV-APHA-40'],
  ['saturation in salt water', 'oxygen.ts', '0.017674', '0.017684', 'DO-SAL05'],
  ['saturation in salt water', 'oxygen.ts', '10.754', '10.755', 'DO-REG-10-35-1'],
  ['saturation in salt water', 'oxygen.ts', '2140.7', '2141.7', 'RV-GSW35-0'],
  ['saturation at height', 'oxygen.ts', '0.000975', '0.000976', 'DO-REG-5-0-0.7'],
  ['saturation at height', 'oxygen.ts', '1.426e-5', '1.427e-5', 'DO-REG-35-0-0.6'],
  ['saturation at height', 'oxygen.ts', '6.436e-8', '6.437e-8', 'DO-REG-35-0-0.6'],
  ['vapour pressure', 'oxygen.ts', '3840.7', '3841.7', 'DO-P1'],
  ['salinity from conductivity', 'oxygen.ts', '5.572e-4', '5.582e-4', 'DO-SC'],
  ['transfer', 'transfer.ts', 'THETA_TRANSFER = 1.024', 'THETA_TRANSFER = 1.025', 'OT-6'],
  ['transfer', 'transfer.ts', '33.9 *', '34.9 *', 'OT-3'],
  ['transfer', 'transfer.ts', 'exitOxygenFraction / 0.21', 'exitOxygenFraction / 0.22', 'OT-2'],
  ['transfer', 'transfer.ts', '(c.beta * c.saturationMgPerL - c.doMgPerL)', '(c.saturationMgPerL - c.doMgPerL)', 'OT-5'],
  ['oxygen in time', 'transfer.ts', 'Math.exp(-b.kLaPerH * hours)', 'Math.exp(-b.kLaPerH * hours * 1.000001)', 'RV-ODE-3'],
  ['uptake', 'uptake.ts', '? 1.05 : 1.07', '? 1.06 : 1.07', 'OT-11'],
  ['uptake', 'uptake.ts', '? 1.05 : 1.07', '? 1.05 : 1.08', 'OT-12'],
  ['slope of a line', 'line.ts', 'left / (n - 2)', 'left / (n - 1)', 'ST-N3'],
  ['reach of a slope', 'line.ts', '1.96 + 2.372', '1.97 + 2.372', 'ST-T95-30'],
  ['reach of a slope', 'line.ts', '1.28155 +', '1.29155 +', 'ST-T80-20'],
  ['carbonate, first step', 'carbonate.ts', '356.3094', '356.3084', 'CB-1'],
  ['carbonate, first step', 'carbonate.ts', '0.06091964', '0.06092964', 'CB-1'],
  ['carbonate, first step', 'carbonate.ts', '21_834.37', '21_835.37', 'CB-1'],
  ['carbonate, first step', 'carbonate.ts', '126.8339', '126.8349', 'CB-1'],
  ['carbonate, first step', 'carbonate.ts', '1_684_915', '1_684_815', 'CB-1'],
  ['carbonate, second step', 'carbonate.ts', '107.8871', '107.8971', 'CB-2'],
  ['carbonate, second step', 'carbonate.ts', '0.03252849', '0.03253849', 'CB-2'],
  ['carbonate, second step', 'carbonate.ts', '38.92561', '38.92661', 'CB-2'],
  ['carbonate, gas', 'carbonate.ts', '108.3865', '108.3875', 'CB-3'],
  ['carbonate, gas', 'carbonate.ts', '40.45154', '40.45254', 'CB-3'],
  ['carbonate, water', 'carbonate.ts', '0.01706', '0.01716', 'CB-4'],
  ['carbonate, charge', 'carbonate.ts', 'k1 * h + 2 * k1k2) / (', 'k1 * h + k1k2) / (', 'CB-X2'],
  ['carbonate, equivalents', 'carbonate.ts', '50_043.5', '50_143.5', 'CB-X2'],
  ['dose', 'dose.ts', 'H: 1.008', 'H: 1.018', 'CH-1'],
  ['dose', 'dose.ts', 'S: 32.06', 'S: 32.16', 'CH-2'],
  ['dose', 'dose.ts', 'N: 14.007', 'N: 14.107', 'CH-13'],
  ['dose', 'dose.ts', 'Cl: 35.45', 'Cl: 35.46', 'CH-8'],
  ['dose', 'dose.ts', 'equivalents: -6', 'equivalents: -5', 'CB-D1a'],
  ['level to volume', 'tank-level.ts', 'width ** 2)) / 12 /', 'width ** 2)) / 12.01 /', 'TK-1'],
  ['level to volume', 'tank-level.ts', 'Math.max(0, levelMm - shape.coneMm)', 'levelMm', 'TK-4'],
  ['level from pressure', 'density.ts', '999.83952', '999.84952', 'RH-0'],
  ['level from pressure', 'density.ts', '16.952577', '16.953577', 'RH-20'],
  ['level from pressure', 'density.ts', '16.887236e-3', '16.887336e-3', 'RH-25'],
  ['motor', 'motor.ts', '1 - (n.ratedA', '1.001 - (n.ratedA', 'EL-6'],
  ['motor', 'motor.ts', '(a + b + c) / 3', '(a + b + c) / 3.01', 'EL-4'],
  ['motor', 'motor.ts', 'Math.abs(c - mean))) / mean', 'Math.abs(c - mean))) / c', 'EL-5'],
  ['motor', 'motor.ts', "(Math.sqrt(3) * positive('voltage', volts, 'V', true)", "(1.733 * positive('voltage', volts, 'V', true)", 'EL-1'],
  ['pump power', 'hydraulics.ts', "'bar', true)) / 600", "'bar', true)) / 601", 'HY-4'],
  ['ozone', 'ozone.ts', '1.038,', '1.039,', 'OZ-2'],
  ['ozone', 'ozone.ts', '1.0741', '1.0742', 'OZ-2'],
  ['ozone', 'ozone.ts', '1.0726', '1.0727', 'OZ-3'],
  ['ozone', 'ozone.ts', '0.0397', '0.0387', 'OZ-4'],
  ['ozone', 'ozone.ts', '* 47.998', '* 48.998', 'OZ-11'],
  ['electrode', 'electrode.ts', '8.314462618', '8.314562618', 'PH-N40'],
  ['electrode', 'electrode.ts', '96_485.33212', '96_495.33212', 'PH-N25'],
  ['electrode', 'electrode.ts', '(neutral.ph - other.ph)', '(7 - other.ph)', 'PH-1'],
  ['un-ionised ammonia', 'ammonia.ts', '=> 0.09018 +', '=> 0.09118 +', 'NH-a'],
  ['un-ionised ammonia', 'ammonia.ts', '2729.92 / (', '2728.92 / (', 'NH-d'],
  ['un-ionised ammonia, the slip of a public package', 'ammonia.ts', '2729.92 / (', '2727.92 / (', 'NH-24'],
  ['hydrogen sulphide', 'sulphide.ts', '0.02386 *', '0.02396 *', 'HS-1'],
  ['hydrogen sulphide', 'sulphide.ts', 'return -11.17 +', 'return -11.18 +', 'HS-7'],
  [
    'salt cycles',
    'salt.ts',
    'const leaves = l.carryOff + l.blowdown\n  return leaves === 0 ? Number.POSITIVE_INFINITY : fresh',
    'const leaves = l.carryOff\n  return leaves === 0 ? Number.POSITIVE_INFINITY : fresh',
    'SC-1',
  ],
  ['salt cycles', 'salt.ts', '(makeUp(l) * makeUpUSPerCm +', '(makeUpUSPerCm +', 'SC-2'],
  ['evaporation apart from carry-off', 'salt.ts', 'evaporation: makeUpFlow - leaves,', 'evaporation: makeUpFlow - leaves - blowdown,', 'SC-4'],
  ['units', 'factors.ts', '0.45359237\n', '0.45359238\n', 'UN-6'],
  ['units', 'factors.ts', '231 * 0.254', '232 * 0.254', 'UN-7'],
  ['units', 'factors.ts', '273.15', '273.16', 'DO-T00'],
])('planted in %s (%s): %s becomes %s', async (_what, file, from, to, id) => {
  expect(await failing(file, from, to)).toContain(id)
})
