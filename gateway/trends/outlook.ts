/**
 * What a forecast may say. A date alone is a promise nobody can keep: there is a median, and an interval that holds the true time
 * in four cases of five; or the reason why the data do not support one.
 *
 * Which one for what: pH (values before each dose) and levels, time-to-limit.ts; paper, nutrient, acid and whatever else goes
 * with washing, run-out.ts with a rate per m3; service hours, run-out.ts with hours a day.
 */
import type { NotObservable } from '../process/range.ts'

/** Chance that the interval holds the true time. */
export const OUTLOOK_LEVEL = 0.8

export interface Forecast {
  readonly kind: 'forecast'
  /** ms since 1970 UTC; `lowMs <= medianMs <= highMs`. One in ten comes before lowMs: the date to plan for. */
  readonly lowMs: number
  readonly medianMs: number
  /** Infinity: one in ten or more that it does not come in the time looked ahead. */
  readonly highMs: number
  /** Points or days it rests on. */
  readonly from: number
}

/** The limit is passed, the drum is empty, the hours are up. */
export interface Reached {
  readonly kind: 'reached'
}

/** More likely than not it does not come before `untilMs`, as far as was looked ahead. */
export interface Beyond {
  readonly kind: 'beyond'
  readonly untilMs: number
}

export type Outlook = Forecast | Reached | Beyond | NotObservable
