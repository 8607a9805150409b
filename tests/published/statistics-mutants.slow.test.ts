/**
 * Planted mistakes: one figure or sign of the trend statistics changed in a copy of the source, and the published checks run on the
 * copy. Each must be found by a check named beside it, so that the checks are known to hold the code and not the other way round.
 */
import { afterAll, expect, test } from 'vitest'
import { planting } from './planted.ts'

const planted = planting({
  source: ['gateway/trends', 'gateway/process/range.ts', 'gateway/process/line.ts'],
  subjects: ['statistics'],
  besides: ['statistics-data.json'],
  // Mean runs take a second each and are needed for no planted mistake.
  leftOut: (id) => id.includes('ARL'),
})
afterAll(() => planted.remove())
const failing = (file: string, from: string, to: string): Promise<readonly string[]> => planted.failing(`gateway/trends/${file}`, from, to)

test('nothing changed, nothing found', async () => {
  expect(await failing('points.ts', 'export const DAY_MS = 86_400_000', 'export const DAY_MS = 86_400_000')).toEqual([])
})

test.each<[string, string, string, string]>([
  ['ewma.ts', 'p.lambda * (value - was.average)', '1.01 * p.lambda * (value - was.average)', 'ST-EWR01'],
  ['ewma.ts', 'p.lambda / (2 - p.lambda)', 'p.lambda / (2.01 - p.lambda)', 'ST-EWU'],
  ['ewma.ts', 'p.target - half', 'p.target + half', 'ST-EWL'],
  ['cusum.ts', 'was.high, off - p.slack', 'was.high, off - 1.02 * p.slack', 'ST-CUR05h'],
  ['cusum.ts', '-off - p.slack', '-off + p.slack', 'ST-CUR02l'],
  ['cusum.ts', 'Math.max(0, before + by)', 'Math.max(0, 0.99 * before + by)', 'ST-CUR15h'],
  ['cusum.ts', 's.high.sum > p.limit', 's.high.sum > 1.2 * p.limit', 'ST-CUS'],
  ['individuals.ts', 'MEAN_RANGE_OF_TWO = 1.128', 'MEAN_RANGE_OF_TWO = 1.129', 'ST-I3'],
  ['individuals.ts', 'ranges / neighbours', 'ranges / n', 'ST-I2'],
  ['smooth.ts', '(was.atMs - p.atMs) / plan.timeConstantMs', '(was.atMs - p.atMs) / (1.01 * plan.timeConstantMs)', 'ST-SM2'],
  ['theil-sen.ts', '(n * (n - 1) * (2 * n + 5) - tieTerm(xs) - tieTerm(ys)) / 18', '(n * (n - 1) * (2 * n + 5) - tieTerm(xs) - tieTerm(ys)) / 17', 'ST-TS-NI-low'],
  ['theil-sen.ts', '- tieTerm(xs) - tieTerm(ys)', '- tieTerm(xs)', 'ST-TS-SU-high'],
  ['theil-sen.ts', '(1 + s.level) / 2', 's.level', 'ST-TS-NI-high'],
  ['theil-sen.ts', '(pairs - reach) / 2 - 1)', '(pairs - reach) / 2)', 'ST-TS-SO-low'],
  ['theil-sen.ts', 'of((pairs - 1) / 2)', 'of(pairs / 2)', 'ST-MK12'],
  ['theil-sen.ts', 'slope * median(xs)', 'slope * (xs[0] as number)', 'ST-TS-NI-intercept'],
  ['ties.ts', 't * (t - 1) * (2 * t + 5)', 't * (t - 1) * (2 * t + 6)', 'ST-MK2'],
  ['ties.ts', '(from + 1 + i) / 2', 'from + 1', 'ST-P5'],
  ['mann-kendall.ts', 's - Math.sign(s)', 's', 'ST-MK10'],
  ['mann-kendall.ts', '(n * (n - 1) * (2 * n + 5) - tieTerm(values)) / 18', '(n * (n - 1) * (2 * n + 5)) / 18', 'ST-MK16'],
  ['mann-kendall.ts', '<= (values[j] as number)', '< (values[j] as number)', 'ST-MK1'],
  ['mann-kendall.ts', '(pairs - ties) * pairs', 'pairs * pairs', 'ST-MK-NI-tauB'],
  ['pettitt.ts', 't * (n + 1)', 't * n', 'ST-P1'],
  ['pettitt.ts', '(-6 * k * k)', '(-5.99 * k * k)', 'ST-P3'],
  ['pettitt.ts', 'n ** 3 + n ** 2', 'n ** 3', 'ST-P6'],
  ['change-point.ts', 'left / (n - 2)', 'left / (n - 1)', 'ST-CP-largestF'],
  ['change-point.ts', 'criterion(left, 4)', 'criterion(left, 3)', 'ST-CP-criterionWith'],
  ['change-point.ts', 'Math.sqrt(inflation * Math.max(floor, p.squares / p.n))', '1.2 * Math.sqrt(inflation * Math.max(floor, p.squares / p.n))', 'ST-CP-latest'],
  ['change-point.ts', 'sd(second) / sd(first)', 'sd(first) / sd(second)', 'ST-CP-earliest'],
  ['break-interval.ts', '(phi + 2)) / (phi + 1)', '(phi + 2)) / (phi + 1.05)', 'ST-BI-90l'],
  ['break-interval.ts', '- x / 8 -', '- x / 7 -', 'ST-CP-latest'],
  ['break-interval.ts', '(2 * phi + 1) ** 2', '(2 * phi + 1.01) ** 2', 'ST-BI-90'],
  ['order.ts', 'MAD_TO_SD = 1.4826022185056018', 'MAD_TO_SD = 1.483', 'ST-R-sd'],
  ['order.ts', '(work.length - 1) * share', 'work.length * share', 'ST-R-q25'],
  ['moments.ts', '/ (n - 1)) }', '/ n) }', 'ST-R-deviation'],
  ['normal.ts', '(2 / Math.sqrt(Math.PI)) * Math.exp(-x * x) * sum', '(2.0001 / Math.sqrt(Math.PI)) * Math.exp(-x * x) * sum', 'ST-N-2'],
  ['normal.ts', 'f = k / 2 / (x + f)', 'f = k / 2.01 / (x + f)', 'ST-N-8'],
  ['normal.ts', '(z * (z2 + 1)) / 4', '(z * (z2 + 1)) / 4.1', 'ST-T-10'],
])('planted in %s: %s becomes %s', async (file, from, to, id) => {
  expect(await failing(file, from, to)).toContain(id)
})
