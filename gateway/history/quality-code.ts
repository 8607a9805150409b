/**
 * Quality, reason and QC flag of a reading as one small number below 1,024. The tables are part of the file format: add at
 * the end of a list only, never reorder.
 */
import type { QcFlag, Quality, QualitySub } from '../site/reading.ts'

const QUALITIES: readonly Quality[] = ['good', 'uncertain', 'bad']
const SUBS: readonly QualitySub[] = [
  'ok',
  'local_override',
  'maintenance_due',
  'qc_suspect',
  'last_usable',
  'substitute',
  'initial',
  'not_accurate',
  'eu_exceeded',
  'subnormal',
  'clock_suspect',
  'config_error',
  'not_connected',
  'device_failure',
  'sensor_failure',
  'comm_error',
  'no_comm',
  'out_of_service',
  'missing',
]
const FLAGS: readonly QcFlag[] = [1, 2, 3, 4, 9]

// 32 reasons leave room for thirteen more without a change of format.
const SUB_STEP = 8
const QUALITY_STEP = 32 * SUB_STEP

/** Codes are below this. */
export const CODES = 3 * QUALITY_STEP

const subIndex = new Map<string, number>(SUBS.map((s, i) => [s, i * SUB_STEP]))

/** The code, or -1 for a quality, reason or flag that is none. */
export function codeOf(quality: Quality, sub: QualitySub, qc: QcFlag): number {
  const q = quality === 'good' ? 0 : quality === 'uncertain' ? QUALITY_STEP : quality === 'bad' ? 2 * QUALITY_STEP : -1
  const s = sub === 'ok' ? 0 : (subIndex.get(sub) ?? -1)
  const f = qc === 9 ? 4 : qc >= 1 && qc <= 4 && Number.isInteger(qc) ? qc - 1 : -1
  return q < 0 || s < 0 || f < 0 ? -1 : q + s + f
}

/** 0 good, 1 uncertain, 2 bad: larger is worse. */
export const rankOf = (code: number): number => (code >= 2 * QUALITY_STEP ? 2 : code >= QUALITY_STEP ? 1 : 0)
export const qualityOfRank = (rank: number): Quality => QUALITIES[rank] ?? 'bad'
export const qualityOf = (code: number): Quality => qualityOfRank(rankOf(code))
export const subOf = (code: number): QualitySub => SUBS[(code % QUALITY_STEP) >> 3] ?? 'missing'
export const qcOf = (code: number): QcFlag => FLAGS[code % SUB_STEP] ?? 9

/** First code of bad quality: `code >= BAD` asks for it in one comparison. */
export const BAD = 2 * QUALITY_STEP
