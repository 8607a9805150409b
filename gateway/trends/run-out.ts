/**
 * When is the drum empty, the roll used up, the service due? Day after coming day, what will have been taken by then is a sum with a
 * mean and a variance; the time at which the stock is as likely as not to be covered is the median, and the times at which the
 * chance is one and nine in ten bound the interval.
 *
 *     taken |          mean + /  /mean
 *           |          reach/  /      / mean - reach
 *      left |-------------/--/------/---
 *           |          /   /     /
 *           +---------low-median-high--- days to come
 *
 * The variance adds up: days differ, cubic metres differ (both shrink beside the sum), and what a kind of day or a cubic metre
 * takes is itself known only so well (this does not shrink). Busy days that come in rows add up to more than days that do not know of
 * each other, but over few days to less than in the long run: the sum is taken day by day, with what a day is off carrying over to the
 * next. Within a day the use is taken to be even.
 * sources  variance of a sum of a first-order autoregression (Box, Jenkins & Reinsel, Time Series Analysis); the rest common practice, no source
 * cost    O(coming days x kinds) time
 */
import { type NotObservable, notObservable, positive, within } from '../process/range.ts'
import type { Demand } from './demand.ts'
import { studentQuantile } from './normal.ts'
import { OUTLOOK_LEVEL, type Outlook } from './outlook.ts'
import type { WashRate } from './wash-rate.ts'

export interface Stock {
  /** Unit the use is counted in; null: nobody wrote down a refill, so nothing is known. */
  readonly left: number | null
  /** Standard error of it, 0 or more. */
  readonly error: number
}

/** A coming day, or what is left of today. */
export interface ComingDay {
  readonly fromMs: number
  readonly toMs: number
  readonly kind: string
  /** Part of the day's amount that falls into the span, 0-1. */
  readonly share: number
}

const ONE: WashRate = { perM3: 1, error: 0, variancePerM3: 0, washDays: 0 }

/**
 * demand  m3 a day with a rate; hours (or the stock itself) a day without
 * coming  ascending, without holes, 1 to 2,000
 * throws  RangeError for a stock or coming days outside their ranges
 */
export function runOut(stock: Stock, demand: Demand | NotObservable, rate: WashRate | NotObservable | null, coming: readonly ComingDay[]): Outlook {
  if (stock.left === null) return notObservable('how much is left is not known: write the next refill into the site log')
  within('coming days', coming.length, 1, 2000, 'd')
  positive('error of what is left', stock.error, '', true)
  if (stock.left <= 0) return { kind: 'reached' }
  if ('because' in demand) return demand
  const r = rate ?? ONE
  if ('because' in r) return r
  const sure = studentQuantile((1 + OUTLOOK_LEVEL) / 2, Math.max(3, demand.days / demand.inflation - 1))
  const ahead = walk(stock.left, stock.error, demand, r, coming)
  const at = (reach: number): number => crossing(ahead, reach, coming)
  const end = coming[coming.length - 1] as ComingDay
  if ((ahead.at(-1)?.taken ?? 0) === 0) return notObservable('nothing is expected to be taken in the time looked ahead')
  const medianMs = at(0)
  if (medianMs === Number.POSITIVE_INFINITY) return { kind: 'beyond', untilMs: end.toMs }
  return { kind: 'forecast', lowMs: Math.min(medianMs, at(sure)), medianMs, highMs: at(-sure), from: demand.days }
}

interface Ahead {
  /** Taken by the end of the day, mean. */
  readonly taken: number
  /** What is missing until the stock is covered, in standard deviations; falls through 0 at the median. */
  readonly missing: number
}

function walk(left: number, leftError: number, demand: Demand, r: WashRate, coming: readonly ComingDay[]): readonly Ahead[] {
  let m3 = 0
  let between = 0
  let carried = 0
  /** Correlation of one day with the next, of which the inflation is the long run. */
  const memory = (demand.inflation - 1) / (demand.inflation + 1)
  let endMs = Number.NEGATIVE_INFINITY
  const weight = new Map<string, number>()
  const out: Ahead[] = []
  for (const day of coming) {
    within('share of a day', day.share, 0, 1, '')
    if (!(day.toMs > day.fromMs && day.fromMs >= endMs)) throw new RangeError(`coming day ${day.fromMs} to ${day.toMs} does not follow ${endMs}: give them in order, each once`)
    endMs = day.toMs
    const seen = demand.byKind.get(day.kind)
    const kind = seen ?? demand.all
    const key = seen ? `kind ${day.kind}` : 'all'
    weight.set(key, (weight.get(key) ?? 0) + day.share)
    m3 += day.share * kind.mean
    // Busy days come in rows: what a day is off carries over to the next by `memory`, and fades over days on which nothing varies.
    const off = day.share * Math.sqrt(kind.variance)
    between += off * (off + 2 * carried)
    carried = memory * (carried + off)
    let shared = 0
    for (const [k, w] of weight) {
      const of = k === 'all' ? demand.all : (demand.byKind.get(k.slice(5)) ?? demand.all)
      shared += (w * w * of.variance) / of.days
    }
    const variance = r.perM3 ** 2 * (between + demand.inflation * shared) + r.variancePerM3 * m3 + (r.error * m3) ** 2 + leftError ** 2
    const lack = left - r.perM3 * m3
    // Without any spread the stock is covered or it is not.
    out.push({ taken: m3, missing: variance > 0 ? lack / Math.sqrt(variance) : lack * 1e12 })
  }
  return out
}

/** When what is missing falls to `reach` standard deviations; Infinity: not in the days looked ahead. */
function crossing(ahead: readonly Ahead[], reach: number, coming: readonly ComingDay[]): number {
  const i = ahead.findIndex((a) => a.missing <= reach)
  if (i < 0) return Number.POSITIVE_INFINITY
  const day = coming[i] as ComingDay
  const here = (ahead[i] as Ahead).missing
  const before = i === 0 ? null : (ahead[i - 1] as Ahead).missing
  const part = before === null || before === here ? 0.5 : (before - reach) / (before - here)
  return day.fromMs + part * (day.toMs - day.fromMs)
}
