/** One judgement a test: the figures of a single reading in, its flag out. Both the series form and the live form ask these. */
import type { QcFlag } from '../site/reading.ts'
import { above, below, longer, outside } from './qartod-compare.ts'
import type { AttenuatedSpec, CompanySpec, GrossSpec, RateSpec, SpikeSpec } from './qartod-spec.ts'
import type { Summary } from './qartod-spans.ts'
import { deviation } from './qartod-spans.ts'

export function grossFlag(x: number | null, spec: GrossSpec): QcFlag {
  if (x === null) return 9
  if (outside(x, spec.sensor)) return 4
  return spec.user !== null && outside(x, spec.user) ? 3 : 1
}

const graded = (x: number, suspect: number | null, fail: number | null): 1 | 3 | 4 => (fail !== null && above(x, fail) ? 4 : suspect !== null && above(x, suspect) ? 3 : 1)

/** of the reading in the middle. */
export function spikeFlag(before: number, x: number, after: number, spec: SpikeSpec): 1 | 3 | 4 {
  if (spec.method === 'average') return graded(Math.abs(x - (before + after) / 2), spec.suspect, spec.fail)
  const up = x - before
  const down = x - after
  return up * down > 0 ? graded(Math.min(Math.abs(up), Math.abs(down)), spec.suspect, spec.fail) : 1
}

/** How far a signal moved from its last reading, and its standard deviation before that; null: not known. */
export interface Movement {
  readonly atMs: number
  readonly by: number
  readonly sd: number | null
}

/** `by` in the unit of the signal over `overMs` > 0. */
export function rateFlag(by: number, overMs: number, sd: number | null, spec: RateSpec): 1 | 2 | 3 | 4 {
  const flag = graded((by - spec.slack) / (Math.max(overMs, spec.leastMs ?? 0) / 1000), spec.suspectPerS, spec.failPerS)
  if (flag !== 1 || spec.deviations === null) return flag
  if (sd === null) return spec.suspectPerS === null && spec.failPerS === null ? 2 : 1
  return above(by - spec.slack, spec.deviations * sd) ? 3 : 1
}

/** over the readings the summary stands for. */
export function attenuatedFlag(s: Summary, spec: AttenuatedSpec): 1 | 2 | 3 | 4 {
  const variation = spec.method === 'sd' ? deviation(s, spec.minSamples) : s.n === 0 || s.n < spec.minSamples ? null : s.max - s.min
  if (variation === null) return 2
  return below(variation, spec.fail) ? 4 : below(variation, spec.suspect) ? 3 : 1
}

/**
 * suspect when one signal moved and the other did not. Not evaluated when a movement or a deviation is unknown, or
 * the two lie more than `apartMs` from each other.
 */
export function companyFlag(own: Movement | null, other: Movement | null, spec: CompanySpec, apartMs: number): 1 | 2 | 3 {
  if (own === null || other === null || own.sd === null || other.sd === null || longer(Math.abs(own.atMs - other.atMs), apartMs)) return 2
  return above(own.by, spec.own * own.sd) && below(other.by, spec.other * other.sd) ? 3 : 1
}
