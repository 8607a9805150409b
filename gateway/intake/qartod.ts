/**
 * Flags of the quality tests: what they mean together, how they are kept, and what they make of a reading's quality.
 *
 * Flags: 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing. Source of tests and flags: IOOS QARTOD manuals (pH 2019, wind),
 * as their reference code prints them. The tests never change a value, only what is said about it.
 */
import type { QcFlag, Quality, QualitySub } from '../site/reading.ts'
import { longer } from './qartod-compare.ts'

export const TESTS = ['gross', 'spike', 'rate', 'flat', 'attenuated', 'multivariate', 'neighbour'] as const
export type TestName = (typeof TESTS)[number]

/**
 * The flags of one reading, four bits a test in the order of TESTS, as one whole number below 2^28 that can be kept as such
 *. Four zero bits: the test is not asked of this signal. The codes rise with precedence, see CODE.
 */
export type TestFlags = number

/** Precedence from low to high: missing, not evaluated, pass, suspect, fail. */
const BY_CODE = [null, 9, 2, 1, 3, 4] as const
const CODE: Readonly<Record<QcFlag, number>> = { 9: 1, 2: 2, 1: 3, 3: 4, 4: 5 }
const SHIFT: Readonly<Record<TestName, number>> = { gross: 0, spike: 4, rate: 8, flat: 12, attenuated: 16, multivariate: 20, neighbour: 24 }

/** `tests` with the flag of one test set. */
export function withFlag(tests: TestFlags, name: TestName, flag: QcFlag): TestFlags {
  const shift = SHIFT[name]
  return (tests & ~(15 << shift)) | (CODE[flag] << shift)
}

/** The flag of one test, or null when it is not asked of this signal. */
export const flagOf = (tests: TestFlags, name: TestName): QcFlag | null => BY_CODE[(tests >> SHIFT[name]) & 15] ?? null

/** Highest precedence among the tests from `first` on; no test at all: 2. */
function worst(tests: TestFlags, first: number): QcFlag {
  let code = 0
  for (let rest = tests >> (4 * first); rest !== 0; rest >>= 4) if ((rest & 15) > code) code = rest & 15
  return BY_CODE[code] ?? 2
}

/** The one flag of a reading. */
export const summary = (tests: TestFlags): QcFlag => worst(tests, 0)

/** Several flags of one reading as one; none at all: 2. */
export function aggregate(flags: readonly QcFlag[]): QcFlag {
  let code = 0
  for (const f of flags) if (CODE[f] > code) code = CODE[f]
  return BY_CODE[code] ?? 2
}

export interface Worth {
  readonly quality: Quality
  readonly sub: QualitySub
  readonly qc: QcFlag
}

const GOOD: Worth = { quality: 'good', sub: 'ok', qc: 1 }
const UNTESTED: Worth = { quality: 'good', sub: 'ok', qc: 2 }
const MISSING: Worth = { quality: 'bad', sub: 'missing', qc: 9 }
const NO_SENSOR: Worth = { quality: 'bad', sub: 'sensor_failure', qc: 4 }
const UNUSUAL: Worth = { quality: 'uncertain', sub: 'eu_exceeded', qc: 3 }
const SUSPECT: Worth = { quality: 'uncertain', sub: 'qc_suspect', qc: 3 }
const FAILED: Worth = { quality: 'uncertain', sub: 'qc_suspect', qc: 4 }

/**
 * What the flags make of a reading's quality. Only a value outside the sensor's range is bad and so holds an alarm. Spike,
 * rate, flat line, attenuated, multivariate and neighbour are shown, at most as uncertain, whatever their flag: a stuck acid pump
 * fails the rate test and dead water lies flat, and neither may silence its own alarm (common practice, no source).
 */
export function worthOf(tests: TestFlags): Worth {
  const gross = flagOf(tests, 'gross')
  if (gross === 9) return MISSING
  if (gross === 4) return NO_SENSOR
  const rest = worst(tests, 1)
  if (rest === 4) return FAILED
  if (rest === 3) return SUSPECT
  if (gross === 3) return UNUSUAL
  return gross === 1 || rest === 1 ? GOOD : UNTESTED
}

/**
 * Gap, asked by the clock and not by a reading: 9 when the newest reading is older than `limitMs`, or there is none; else
 * 1. The manuals differ (pH prints 4, wind 9); 9 because nothing was measured that could be wrong.
 */
export const timing = (nowMs: number, newestMs: number | null, limitMs: number): 1 | 9 => (newestMs === null || longer(nowMs - newestMs, limitMs) ? 9 : 1)
