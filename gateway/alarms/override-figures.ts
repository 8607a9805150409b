/** What `limit` and `deadband` of a site file mean for each kind of alarm whose figure is called otherwise; a sentence where it has none. */
import type { AlarmOverride } from '../site/site.ts'
import type { Rule } from './alarm.ts'

/** `rule` has its delays already. */
export function changeFigures(rule: Rule, c: AlarmOverride): Rule | string {
  const { limit, deadband } = c
  if (deadband !== undefined && !('deadband' in rule)) return `deadband ${deadband} found: an alarm of kind ${rule.kind} has none`
  switch (rule.kind) {
    case 'over-run':
      if (limit === undefined) return rule
      return limit > 1 ? { ...rule, factor: limit } : `limit ${limit} found: how many times its longest pulse one run may last, above 1, such as 3`
    case 'day-total':
      if (limit === undefined) return rule
      return limit > 1 ? { ...rule, factor: limit } : `limit ${limit} found: how many times the usual amount of a day, above 1, such as 2`
    case 'no-response':
      if (limit === undefined) return rule
      return limit > 0 && limit < 1 ? { ...rule, share: limit } : `limit ${limit} found: share of the usual answer, between 0 and 1, such as 0.3`
    case 'no-effect':
      if (limit === undefined) return rule
      if (limit <= 0) return `limit ${limit} found: ${rule.flow ? 'a flow' : 'a change of level in per cent'} above 0`
      return rule.flow ? { ...rule, flow: { ...rule.flow, low: limit } } : { ...rule, change: limit }
    case 'stuck': {
      if (limit === undefined) return rule
      if (rule.through === null) return { ...rule, change: limit }
      return Number.isInteger(limit) && limit >= 1
        ? { ...rule, through: { ...rule.through, times: limit } }
        : `limit ${limit} found: how often it may fail to move, a whole number such as 12`
    }
    case 'all-of':
    case 'any-of':
      if (limit === undefined) return rule
      return `limit ${limit} found: this alarm joins several conditions; its delays can be changed, or it can be switched off and a limit of your own be written`
    default:
      if (limit !== undefined && !('limit' in rule)) return `limit ${limit} found: an alarm of kind ${rule.kind} has none; only its delays can be changed`
      return { ...rule, ...(limit !== undefined && { limit }), ...(deadband !== undefined && { deadband }) }
  }
}
