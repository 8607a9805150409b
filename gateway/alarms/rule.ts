/**
 * When the condition of an alarm holds: structured data, never a formula. Times are event time of live readings. `signal` may name
 * a measured signal of the site or one of its vitals (`treatment.do.saturation`), unless a line says otherwise.
 *
 * A condition is judged violated, cleared, or neither (inside its deadband); a rule is a condition with its delays. What a rule learns
 * (a median, a longest pulse, a usual response) is bounded, survives a restart, and until there is enough of it the rule says nothing.
 */
import type { NOfM } from './n-of-m.ts'

type Side = 'high' | 'low'

/** What every timed rule may have besides its condition. */
export interface Timing {
  /** Violated without a break for this long: raised, at first sample + delay. */
  readonly onDelayMs: number
  readonly offDelayMs: number
  /** Counted in samples of the signal the rule rests on, instead of or before the delays; `m` and `clearM` up to 30. */
  readonly nOfM?: NOfM
  readonly when?: Gate
}

/**
 * While it is open the rule may raise, and learns. While it is shut nothing is raised; a standing alarm still clears by its value,
 * unless `both`. All that is given must hold. A gate that cannot be read is open: doubt must not silence.
 */
export interface Gate {
  /** The yard is open. */
  readonly open?: true
  /** This state signal reads 1; with `signalForMs` for at least that long (a motor that has started up). */
  readonly signal?: string
  readonly signalForMs?: number
  /** This is at rest: a state that reads 0, a counter that does not rise; with `idleForMs` for at least that long (three hours since the last wash, six hours dry). */
  readonly idle?: string
  readonly idleForMs?: number
  /** This is at work, or was within the last `withinMs` (rain in the last six hours, thirty minutes after a wash). */
  readonly after?: { readonly signal: string; readonly withinMs: number }
  /** This value is beyond the figure: oxygen below 0.5 mg/L. */
  readonly value?: { readonly signal: string; readonly side: Side; readonly limit: number }
  /** While shut the value says nothing either way: what stands is not cleared by it (the current of a pump at rest). */
  readonly both?: true
}

/** A value beyond a limit. `end`: a vital is judged by the low or the high end of its interval, so that only what is sure raises. */
export interface LimitCondition {
  readonly kind: 'limit'
  readonly signal: string
  readonly side: Side
  readonly limit: number
  readonly deadband: number
  readonly end?: 'low' | 'high'
  /** Judged by the median of its readings over this long: bubbles, wipers. */
  readonly medianOverMs?: number
}

/** A contact, a float, a trip bit. */
export interface StateCondition {
  readonly kind: 'state'
  readonly signal: string
  readonly value: 0 | 1
}

/**
 * Change over a span, in the unit of the signal per `perMs`; `limit` is positive for `high` (rises faster) and negative for `low` (falls
 * faster). Middle of the newest third of the span less middle of the oldest third: no single spike, nor a step of the resolution, is a rate.
 */
export interface RateCondition {
  readonly kind: 'rate'
  readonly signal: string
  readonly side: Side
  readonly limit: number
  readonly deadband: number
  readonly spanMs: number
  readonly perMs: number
}

export type Reference =
  /** A target, a nameplate current. */
  | { readonly kind: 'value'; readonly value: number }
  | { readonly kind: 'signal'; readonly signal: string }
  /** The loop's own median of the last `spanMs`, from when `leastMs` of it have been seen; it learns while the gate is open and the condition is not violated. */
  | { readonly kind: 'median'; readonly spanMs: number; readonly leastMs: number }

/** Distance from a reference: a difference (`high`: limit > 0, `low`: limit < 0), or a ratio (`high`: limit > 1, `low`: limit < 1). The deadband is in the same measure. */
export interface DeviationCondition {
  readonly kind: 'deviation'
  readonly signal: string
  readonly from: Reference
  readonly as: 'difference' | 'ratio'
  readonly side: Side
  readonly limit: number
  readonly deadband: number
  /** Only if it got from within half the limit to beyond it in no more than this: a step and not a drift. */
  readonly withinMs?: number
  readonly medianOverMs?: number
}

/**
 * A value that does not move by `change` though it must: through `times` events in a row that move it (`through`: a wash, a dose, at
 * work for at least `forMs`, watched until `settleMs` after its end; air off with `value` 0), or for `forMs` on end without `through`. Never judged while it stands
 * at or beyond one of its physical ends: at most `restsLow` (oxygen 0, tank empty), at least `restsHigh` (tank full).
 */
export interface StuckCondition {
  readonly kind: 'stuck'
  readonly signal: string
  readonly change: number
  readonly forMs: number
  readonly through: { readonly signal: string; readonly value?: 0 | 1; readonly settleMs: number; readonly times: number } | null
  readonly restsLow: number | null
  readonly restsHigh: number | null
}

/**
 * A pump runs and moves nothing: for `withinMs` on end its flow is below `flow.low`; or, without flow, its source does not fall and its target
 * does not rise by `change`. Levels are judged only while `idle` (washing) is at rest; while it is at work only what moves the wrong way counts.
 */
export interface NoEffectCondition {
  readonly kind: 'no-effect'
  readonly run: string
  readonly flow: { readonly signal: string; readonly low: number } | null
  readonly source: string | null
  readonly target: string | null
  readonly change: number
  readonly withinMs: number
  readonly idle: string | null
}

/**
 * The last `doses` doses together moved `signal` by less than `share` of what this loop's doses usually do, minute of dosing for minute.
 * The answer to a dose is what the signal has moved from the last reading before it to `settleMs` after its end.
 */
export interface NoResponseCondition {
  readonly kind: 'no-response'
  readonly run: string
  readonly signal: string
  readonly side: 'down' | 'up'
  readonly doses: number
  readonly settleMs: number
  readonly share: number
}

/** The greatest or least value within each run of `run` (at least `leastRunMs`) is beyond the own median of earlier runs by `limit`, `times` runs in a row. */
export interface PerRunCondition {
  readonly kind: 'per-run'
  readonly run: string
  readonly signal: string
  readonly take: 'max' | 'min'
  readonly side: Side
  /** `high`: > 0, `low`: < 0, in the unit of the signal. */
  readonly limit: number
  readonly deadband: number
  readonly times: number
  readonly leastRunMs: number
}

/**
 * In the last 24 h `signal` (time at work of a state in min, what a counter counted) comes to more than `factor` times what this loop usually needs for
 * as much of `wash`, and to at least `least`, whatever was washed.
 */
export interface DayTotalCondition {
  readonly kind: 'day-total'
  readonly signal: string
  readonly wash: string
  readonly factor: number
  readonly least: number
}

/** A robust line through the last `spanMs` moves faster than `perDay` (`high`: > 0, `low`: < 0) with the near end of its 95 % interval. */
export interface DriftCondition {
  readonly kind: 'drift'
  readonly signal: string
  readonly side: Side
  readonly perDay: number
  readonly deadband: number
  readonly spanMs: number
}

/** At the robust slope of the last `spanMs` the value meets `limit` in less than `belowMs`, counted with the early end of its interval. `side` high: it rises to it. */
export interface ForecastCondition {
  readonly kind: 'forecast'
  readonly signal: string
  readonly side: Side
  readonly limit: number
  readonly spanMs: number
  readonly belowMs: number
  readonly deadbandMs: number
}

/** Each was violated at some time within the last `withinMs`. Clears when one is clear and has been for that long. */
export interface AllOfCondition {
  readonly kind: 'all-of'
  readonly of: readonly Condition[]
  readonly withinMs: number
}

/** One of them at least. What cannot be judged is left out, as long as one can. */
export interface AnyOfCondition {
  readonly kind: 'any-of'
  readonly of: readonly Condition[]
}

/** What can be judged at any moment, and so be joined by all-of and any-of. */
export type Condition =
  | LimitCondition
  | StateCondition
  | RateCondition
  | DeviationCondition
  | StuckCondition
  | NoEffectCondition
  | NoResponseCondition
  | PerRunCondition
  | DayTotalCondition
  | DriftCondition
  | ForecastCondition
  | AllOfCondition
  | AnyOfCondition

/** The machine should give air and its proof says it does not: pressure or flow below `proofLow` first, run contact 0 second. */
interface NoAirRule extends Timing {
  readonly kind: 'no-air'
  readonly equipment: string
  readonly run: string | null
  readonly proof: string | null
  readonly proofLow: number | null
  /** Oxygen signal of the tank served; below `doFastBelow` the on-delay is `fastOnDelayMs`. */
  readonly oxygen: string | null
  readonly doFastBelow: number
  readonly fastOnDelayMs: number
}

/** Minutes of washing left in the finished-water tank at the lance's use, in open hours and in the hour before. */
interface WaterLeftRule extends Timing {
  readonly kind: 'water-left'
  readonly level: string
  readonly volumeL: number
  readonly lanceLPerMin: number
  readonly emptyPct: number
  readonly belowMin: number
  readonly deadbandMin: number
}

/**
 * One run without a break lasts longer than `factor` times the longest normal pulse of this controller, and than `floorMs`; longer than
 * `unlearnedMs` until ten pulses have been seen. Its time is its delay, so it is raised at start + limit without another reading.
 */
interface OverRunRule {
  readonly kind: 'over-run'
  /** State signal of the machine. */
  readonly run: string
  readonly factor: number
  readonly floorMs: number
  readonly unlearnedMs: number
  readonly offDelayMs: number
  readonly when?: Gate
}

type TimedCondition<C extends Condition> = C extends Condition ? C & Timing : never

export type Rule =
  | TimedCondition<Condition>
  | NoAirRule
  | WaterLeftRule
  | OverRunRule
  /** Nothing heard of the whole site for this long (server time). */
  | { readonly kind: 'silent'; readonly afterMs: number }
  /** The instrument several alarms of one signal depend on has given nothing usable for this long, while the site reports. */
  | { readonly kind: 'blind'; readonly signal: string; readonly afterMs: number }
  /** A condition told from outside the readings (fact-rule.ts). */
  | { readonly kind: 'fact'; readonly onDelayMs: number; readonly offDelayMs: number }

export type RuleKind = Rule['kind']
export type RuleOf<K extends RuleKind> = Extract<Rule, { readonly kind: K }>
export type ConditionOf<K extends Condition['kind']> = Extract<Condition, { readonly kind: K }>
