/** A rule in words: when it raises and clears, and when it is held back by design. */
import type { Site } from '../site/site.ts'
import type { Rule } from './alarm.ts'
import { spell } from './draft.ts'
import type { Gate } from './rule.ts'
import { figure, namesOf, saidCondition, type Names } from './said-condition.ts'

export interface SaidRule {
  readonly raises: string
  readonly suppressed: string
}

/** Holds for every alarm. */
const ALWAYS = 'Late and bad readings neither raise nor clear it; the state of the loop (commissioning, resting, planned work, a visit, out of contract) may hold it back.'

export function saidRule(site: Site, rule: Rule): SaidRule {
  const n = namesOf(site)
  switch (rule.kind) {
    case 'no-air': {
      const proof =
        rule.proof !== null && rule.proofLow !== null ? `${n.name(rule.proof)} below ${figure(rule.proofLow, n.unit(rule.proof))}` : `${n.name(rule.run ?? rule.equipment)} stopped`
      const fast = rule.oxygen === null ? '' : `, for ${spell(rule.fastOnDelayMs)} once oxygen is below ${rule.doFastBelow} mg/L`
      return {
        raises: `${proof} for ${spell(rule.onDelayMs)}${fast}; clears after ${spell(rule.offDelayMs)} of air`,
        suppressed: `Never by an air-off test or by washing. ${ALWAYS}`,
      }
    }
    case 'water-left':
      return {
        raises: `less than ${rule.belowMin} min of washing left for ${spell(rule.onDelayMs)}: what stands above ${rule.emptyPct} % of ${rule.volumeL} L, at ${rule.lanceLPerMin} L/min; clears at ${rule.belowMin + rule.deadbandMin} min`,
        suppressed: `Raises nothing while the yard is closed, but for the hour before it opens. ${ALWAYS}`,
      }
    case 'over-run':
      return {
        raises: `${n.name(rule.run)} without a break for ${rule.factor} times its longest normal pulse, at least ${spell(rule.floorMs)}; for ${spell(rule.unlearnedMs)} until its pulses are known`,
        suppressed: [...held(rule.when, n), ALWAYS].join(' '),
      }
    case 'fact':
      return { raises: 'told by what Loopkeeper keeps of visits and of machines after a visit or a power cut; clears when that says so', suppressed: ALWAYS }
    case 'silent':
      return { raises: `nothing heard of the loop for ${spell(rule.afterMs)}; clears with the next message`, suppressed: ALWAYS }
    case 'blind':
      return {
        raises: `nothing usable of ${n.name(rule.signal)} for ${spell(rule.afterMs)} while the loop reports; clears with the next usable value`,
        suppressed: `Raises nothing while the whole loop is silent. ${ALWAYS}`,
      }
    default: {
      const counted = rule.nOfM ? `, in ${rule.nOfM.n} of ${rule.nOfM.m} values` : ''
      const on = rule.onDelayMs > 0 ? ` for ${spell(rule.onDelayMs)}` : ''
      return {
        raises: `${saidCondition(rule, n)}${counted}${on}; ${clears(rule, n)}`,
        suppressed: [...held(rule.when, n), ALWAYS].join(' '),
      }
    }
  }
}

function clears(rule: Exclude<Rule, { kind: 'silent' | 'blind' | 'fact' | 'no-air' | 'water-left' | 'over-run' }>, n: Names): string {
  const off = rule.offDelayMs > 0 ? spell(rule.offDelayMs) : null
  if (rule.kind !== 'limit') return off === null ? 'clears when that no longer holds' : `clears once that has not held for ${off}`
  const at = rule.side === 'high' ? rule.limit - rule.deadband : rule.limit + rule.deadband
  return `clears ${rule.side === 'high' ? 'at or below' : 'at or above'} ${figure(at, n.unit(rule.signal))}${off === null ? '' : ` for ${off}`}`
}

function held(when: Gate | undefined, n: Names): readonly string[] {
  if (!when) return []
  const out: string[] = []
  if (when.open) out.push('Raises nothing while the yard is closed.')
  if (when.signal !== undefined) out.push(`Raises only while ${n.works(when.signal)}${when.signalForMs ? `, not in the first ${spell(when.signalForMs)}` : ''}.`)
  if (when.idle !== undefined)
    out.push(`Raises nothing while ${n.works(when.idle)}${when.idleForMs ? `, nor for ${spell(when.idleForMs)} after` : ''}; what goes on for 4 h is taken for stuck.`)
  if (when.after) out.push(`Raises only while ${n.works(when.after.signal)} or within ${spell(when.after.withinMs)} of it.`)
  if (when.value)
    out.push(`Raises only while ${n.name(when.value.signal)} is ${when.value.side === 'high' ? 'above' : 'below'} ${figure(when.value.limit, n.unit(when.value.signal))}.`)
  return out
}
