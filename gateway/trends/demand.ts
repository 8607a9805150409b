/**
 * How much of something a day takes, by kind of day. Idle weeks break a plain average per calendar day, so the calendar says what
 * kind each day is (a weekday, a holiday, closed: any words the caller uses), and each kind has a mean and a spread of its own.
 * A kind seen fewer than three times is taken to be like all days together.
 *
 * Days without a figure, or with one below zero (a counter re-based), are left out and counted. Busy days that come in rows make sums
 * more uncertain than days that do not know of each other: `inflation` says how much.
 * source  common practice, no source
 * cost    O(n) time, O(kinds) memory
 */
import { type NotObservable, notObservable, within } from '../process/range.ts'
import { memoryInflation } from './memory.ts'
import { moments } from './moments.ts'
import { isFigure } from './points.ts'

export interface DayAmount {
  readonly kind: string
  /** m3 washed, hours run ... of that day. */
  readonly amount: number | null
}

export interface KindOfDay {
  readonly days: number
  readonly mean: number
  /** Between single days. */
  readonly variance: number
}

export interface Demand {
  readonly byKind: ReadonlyMap<string, KindOfDay>
  readonly all: KindOfDay
  readonly days: number
  readonly leftOut: number
  /** Variance of long sums over that of independent days, 1 or more. */
  readonly inflation: number
}

export const LEAST_DAYS = 14

/** days in order of time, the newest last. throws RangeError for `leastDays` outside 7 to 400 */
export function demandOf(days: readonly DayAmount[], leastDays = LEAST_DAYS): Demand | NotObservable {
  within('days at least', leastDays, 7, 400, 'd')
  const known = days.filter((d) => isFigure(d.amount) && d.amount >= 0)
  if (known.length < leastDays) return notObservable(`only ${known.length} days have a figure and ${leastDays} are needed`)
  const amounts = known.map((d) => d.amount as number)
  const kindOf = (of: readonly number[]): KindOfDay => {
    const m = moments(of)
    return { days: m.n, mean: m.mean, variance: of.length < 2 ? 0 : m.sd ** 2 }
  }
  const groups = new Map<string, number[]>()
  for (const d of known) groups.set(d.kind, [...(groups.get(d.kind) ?? []), d.amount as number])
  const byKind = new Map([...groups].filter(([, of]) => of.length >= 3).map(([kind, of]) => [kind, kindOf(of)]))
  const all = kindOf(amounts)
  // Each day against its own kind, in deviations; kinds that never vary say nothing about rows of busy days.
  const off = known.map((d) => {
    const k = byKind.get(d.kind) ?? all
    return k.variance > 0 ? ((d.amount as number) - k.mean) / Math.sqrt(k.variance) : Number.NaN
  })
  let varied = 0
  let pairs = 0
  let products = 0
  off.forEach((v, i) => {
    if (Number.isNaN(v)) return
    varied += 1
    const before = off[i - 1]
    if (before === undefined || Number.isNaN(before)) return
    pairs += 1
    products += v * before
  })
  const r = pairs > 2 ? products / pairs : 0
  // A mean taken from the same days takes some memory away with it: about 1 + 4 r parts of n.
  const inflation = pairs > 2 ? memoryInflation((r + 1 / varied) / Math.max(0.5, 1 - 4 / varied), varied) : 1
  return { byKind, all, days: known.length, leftOut: days.length - known.length, inflation }
}
