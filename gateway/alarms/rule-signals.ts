/** Which signals a rule is about: the one it rests on, and all it reads. Measured ones and vitals alike. */
import type { Condition, Gate, Rule } from './rule.ts'

/** The signal whose silence blinds the rule and whose trend shows why it was raised; null: none in particular. */
export function signalOfRule(rule: Rule): string | null {
  switch (rule.kind) {
    case 'no-air':
      return rule.proof ?? rule.run
    case 'water-left':
      return rule.level
    case 'over-run':
      return rule.run
    case 'silent':
    case 'fact':
      return null
    case 'blind':
      return rule.signal
    default:
      return signalOfCondition(rule)
  }
}

function signalOfCondition(c: Condition): string | null {
  switch (c.kind) {
    case 'no-effect':
      return c.flow?.signal ?? c.source ?? c.target
    case 'all-of':
    case 'any-of': {
      const [first] = c.of
      return first ? signalOfCondition(first) : null
    }
    default:
      return c.signal
  }
}

/** Every signal it reads, its gate's too. */
export function signalsOfRule(rule: Rule): readonly string[] {
  const all: (string | null | undefined)[] = 'when' in rule ? [...ofGate(rule.when)] : []
  switch (rule.kind) {
    case 'no-air':
      all.push(rule.proof, rule.run, rule.oxygen)
      break
    case 'water-left':
      all.push(rule.level)
      break
    case 'over-run':
      all.push(rule.run)
      break
    case 'silent':
    case 'fact':
      break
    case 'blind':
      all.push(rule.signal)
      break
    default:
      all.push(...ofCondition(rule))
  }
  return [...new Set(all.filter((id) => typeof id === 'string'))]
}

const ofGate = (when: Gate | undefined): readonly (string | undefined)[] => [when?.signal, when?.idle, when?.after?.signal, when?.value?.signal]

function ofCondition(c: Condition): readonly (string | null | undefined)[] {
  switch (c.kind) {
    case 'deviation':
      return [c.signal, c.from.kind === 'signal' ? c.from.signal : null]
    case 'stuck':
      return [c.signal, c.through?.signal]
    case 'no-effect':
      return [c.run, c.flow?.signal, c.source, c.target, c.idle]
    case 'no-response':
    case 'per-run':
      return [c.run, c.signal]
    case 'day-total':
      return [c.signal, c.wash]
    case 'all-of':
    case 'any-of':
      return c.of.flatMap(ofCondition)
    default:
      return [c.signal]
  }
}
