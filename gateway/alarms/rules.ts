/**
 * Every kind of rule made ready at load: its condition (one file per kind in rules/), behind its gate, counted where it asks for n of m,
 * with its delays. A gate that is shut turns `violated` into `inside`: nothing is raised, and nothing that stands is cleared by closing time.
 */
import type { AlarmDef } from './alarm.ts'
import type { Delays } from './delay.ts'
import { factRule } from './fact-rule.ts'
import type { Condition, Rule, Timing } from './rule.ts'
import { counted } from './rules/counted.ts'
import { dayTotalCondition } from './rules/day-total.ts'
import { deviationCondition } from './rules/deviation.ts'
import { driftCondition } from './rules/drift.ts'
import { forecastCondition } from './rules/forecast.ts'
import { openAt, readyGate, type ReadyGate } from './rules/gate.ts'
import { allOfCondition, anyOfCondition } from './rules/joined.ts'
import { limitCondition } from './rules/limit.ts'
import { noAirRule } from './rules/no-air.ts'
import { noEffectCondition } from './rules/no-effect.ts'
import { noResponseCondition } from './rules/no-response.ts'
import { overRunRule } from './rules/over-run.ts'
import { perRunCondition } from './rules/per-run.ts'
import { rateCondition } from './rules/rate.ts'
import { reading, type Find, type Normality, type OpenAt, type Place, type ReadyCondition, type ReadyRule, type Verdict } from './rules/ready.ts'
import { stateCondition } from './rules/state.ts'
import { stuckCondition } from './rules/stuck.ts'
import { minutesLeft, waterLeft } from './rules/water-left.ts'

export { minutesLeft, openAt, type ReadyRule }

const ALWAYS: Normality = { calm: () => true, teaches: () => true }
const NO_DELAY: Delays = { onMs: 0, offMs: 0 }

/** Makes a rule ready, or gives null when a signal it needs is none of the site's. `silent` and `blind` are judged by the tick. */
export function readyRule(def: Pick<AlarmDef, 'rule'>, find: Find, isOpen: OpenAt, normality: Normality = ALWAYS): ReadyRule | null {
  const { rule } = def
  if (rule.kind === 'silent' || rule.kind === 'blind')
    return { reads: [], unit: 'min', limit: rule.afterMs / 60_000, judge: () => 'unknown', restsOn: () => null, value: () => null, delays: () => NO_DELAY }
  if (rule.kind === 'fact') return factRule(rule)
  const gate = readyGate(rule.when, find, isOpen)
  if (!gate) return null
  const place: Place = { find, isOpen, learns: gate.open, ...normality }
  const ready = timed(rule, place)
  if (!ready) return null
  const behind = rule.when ? gated(ready, gate) : ready
  return alike('nOfM' in rule && rule.nOfM ? counted(behind, rule.nOfM) : behind)
}

/** All rules in one form, whatever their kind: they are asked millions of times a second, and objects of one form are asked twice as fast. */
function alike(r: ReadyRule): ReadyRule {
  const { reads, unit, take, judge, restsOn, value, delays, learned } = r
  return {
    reads,
    unit,
    take,
    judge,
    restsOn,
    value,
    delays,
    learned,
    get limit() {
      return r.limit
    },
  }
}

function timed(rule: Exclude<Rule, { kind: 'silent' | 'blind' | 'fact' }>, place: Place): ReadyRule | null {
  switch (rule.kind) {
    case 'no-air':
      return noAirRule(rule, place)
    case 'over-run':
      return overRunRule(rule, place)
    case 'water-left':
      return delayed(waterLeft(rule, place), rule)
    default:
      return delayed(readyCondition(rule, place), rule)
  }
}

function delayed(c: ReadyCondition | null, t: Timing): ReadyRule | null {
  if (!c) return null
  const delays: Delays = { onMs: t.onDelayMs, offMs: t.offDelayMs }
  return {
    ...c,
    get limit() {
      return c.limit
    },
    delays: () => delays,
  }
}

function readyCondition(c: Condition, place: Place): ReadyCondition | null {
  switch (c.kind) {
    case 'limit':
      return limitCondition(c, place)
    case 'state':
      return stateCondition(c, place)
    case 'rate':
      return rateCondition(c, place)
    case 'deviation':
      return deviationCondition(c, place)
    case 'stuck':
      return stuckCondition(c, place)
    case 'no-effect':
      return noEffectCondition(c, place)
    case 'no-response':
      return noResponseCondition(c, place)
    case 'per-run':
      return perRunCondition(c, place)
    case 'day-total':
      return dayTotalCondition(c, place)
    case 'drift':
      return driftCondition(c, place)
    case 'forecast':
      return forecastCondition(c, place)
    case 'all-of':
    case 'any-of': {
      const parts = c.of.map((x) => readyCondition(x, place))
      const ready = parts.filter((p) => p !== null)
      if (ready.length < parts.length || ready.length === 0) return null
      return c.kind === 'all-of' ? allOfCondition(c, ready) : anyOfCondition(c, ready)
    }
  }
}

function gated(rule: ReadyRule, gate: ReadyGate): ReadyRule {
  const own = new Set(rule.reads)
  const { take } = rule
  const judge = (atMs: number): Verdict => {
    const v = rule.judge(atMs)
    if (v === 'unknown' || v === 'inside' || (v === 'cleared' && !gate.both)) return v
    return gate.open(atMs) ? v : 'inside'
  }
  return {
    ...rule,
    reads: reading(...rule.reads, ...gate.reads),
    get limit() {
      return rule.limit
    },
    ...(take && { take: (m, atMs) => own.has(m) && take(m, atMs) }),
    judge,
  }
}
