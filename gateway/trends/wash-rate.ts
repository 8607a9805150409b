/**
 * What a cubic metre of washing takes of paper, nutrient, acid ...: all that was used over all that was washed, with how surely it is
 * known and how much single cubic metres differ.
 *
 * Days without both figures, or with one below zero (a refill, a re-based counter), are left out. When much is used on days without
 * washing, washing does not drive the use and no rate is given.
 * source  Cochran 1977, Sampling Techniques, 6.10: the ratio of totals is the best estimate when the spread grows with the volume
 * cost    O(n) time, O(1) memory
 */
import { type NotObservable, notObservable } from '../process/range.ts'
import { isFigure } from './points.ts'

export interface WashDay {
  readonly washedM3: number | null
  /** In the unit the stock is counted in. */
  readonly used: number | null
}

export interface WashRate {
  readonly perM3: number
  /** Standard error of it. */
  readonly error: number
  /** Variance of the use of one cubic metre. */
  readonly variancePerM3: number
  readonly washDays: number
}

export const LEAST_WASH_DAYS = 5
const MOST_IDLE_SHARE = 0.1

export function washRate(days: readonly WashDay[], leastWashDays = LEAST_WASH_DAYS): WashRate | NotObservable {
  let washed = 0
  let used = 0
  let idle = 0
  const wash: { readonly m3: number; readonly used: number }[] = []
  for (const d of days) {
    if (!isFigure(d.washedM3) || !isFigure(d.used) || d.washedM3 < 0 || d.used < 0) continue
    if (d.washedM3 === 0) idle += d.used
    else {
      washed += d.washedM3
      used += d.used
      wash.push({ m3: d.washedM3, used: d.used })
    }
  }
  if (wash.length < Math.max(2, leastWashDays)) return notObservable(`only ${wash.length} days with washing have both figures and ${Math.max(2, leastWashDays)} are needed`)
  if (idle > MOST_IDLE_SHARE * (idle + used)) return notObservable(`${Math.round((100 * idle) / (idle + used))} % was used on days without washing: washing does not drive the use`)
  if (used === 0) return notObservable('nothing was used while washing: check what counts the use')
  const perM3 = used / washed
  const variancePerM3 = wash.reduce((sum, d) => sum + (d.used - perM3 * d.m3) ** 2 / d.m3, 0) / (wash.length - 1)
  return { perM3, error: Math.sqrt(variancePerM3 / washed), variancePerM3, washDays: wash.length }
}
