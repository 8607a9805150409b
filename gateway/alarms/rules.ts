/** Every kind of rule made ready at load: its condition (one file per kind in rules/), put to work with gate, count and delays (rules/judged.ts). */
import type { AlarmDef } from './alarm.ts'
import { FactRule } from './fact-rule.ts'
import type { Condition } from './rule.ts'
import { dayTotalCondition } from './rules/day-total.ts'
import { deviationCondition } from './rules/deviation.ts'
import { driftCondition } from './rules/drift.ts'
import { forecastCondition } from './rules/forecast.ts'
import { createGates, openAt, type Gates } from './rules/gate.ts'
import { allOfCondition, anyOfCondition } from './rules/joined.ts'
import { judgedRule, TickedRule } from './rules/judged.ts'
import { limitCondition } from './rules/limit.ts'
import { noAirRule } from './rules/no-air.ts'
import { noEffectCondition } from './rules/no-effect.ts'
import { noResponseCondition } from './rules/no-response.ts'
import { overRunRule } from './rules/over-run.ts'
import { perRunCondition } from './rules/per-run.ts'
import { rateCondition } from './rules/rate.ts'
import type { Find, Normality, Place, ReadyCondition, ReadyRule } from './rules/ready.ts'
import { stateCondition } from './rules/state.ts'
import { stuckCondition } from './rules/stuck.ts'
import { minutesLeft, waterLeft } from './rules/water-left.ts'

export { createGates, minutesLeft, openAt, type ReadyRule }

const ALWAYS: Normality = { calm: () => true, teaches: () => true }

/** Makes a rule ready, or gives null when a signal it needs is none of the site's. `silent` and `blind` are judged by the tick. */
export function readyRule(def: Pick<AlarmDef, 'rule'>, find: Find, gates: Gates, normality: Normality = ALWAYS): ReadyRule | null {
  const { rule } = def
  if (rule.kind === 'silent' || rule.kind === 'blind') return new TickedRule(rule.afterMs)
  if (rule.kind === 'fact') return new FactRule(rule)
  const gate = gates.ready(rule.when, find)
  if (!gate) return null
  const place: Place = { find, isOpen: gates.isOpen, learns: gate.open, ...normality }
  const behind = rule.when ? gate : null
  const nOfM = 'nOfM' in rule ? (rule.nOfM ?? null) : null
  if (rule.kind === 'no-air' || rule.kind === 'over-run') {
    const own = rule.kind === 'no-air' ? noAirRule(rule, place) : overRunRule(rule, place)
    return own && judgedRule({ condition: own, delays: own, gate: behind, nOfM })
  }
  const condition = rule.kind === 'water-left' ? waterLeft(rule, place) : readyCondition(rule, place)
  return condition && judgedRule({ condition, delays: { onMs: rule.onDelayMs, offMs: rule.offDelayMs }, gate: behind, nOfM })
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
