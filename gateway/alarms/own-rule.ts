/** An alarm a site file defines itself: its rule, checked against the signals of the site, with the words a person wrote. */
import type { AlarmOverride, Site } from '../site/site.ts'
import { computedSignals } from './computed.ts'
import { delayFault } from './detection-delay.ts'
import type { Draft } from './draft.ts'
import type { Rule } from './rule.ts'
import { readRule } from './rule-schema.ts'
import { signalOfRule, signalsOfRule } from './rule-signals.ts'
import { recordOf } from './unwritten.ts'

/** The rule as written, or what is wrong with it in one sentence. */
export function ownRule(site: Site, change: AlarmOverride): Rule | string {
  const rule = readRule(change.rule)
  if (typeof rule === 'string') return rule
  const computed = computedSignals(site)
  const missing = signalsOfRule(rule).find((id) => !site.signals.some((s) => s.id === id) && computed(id) === null)
  if (missing !== undefined) return `rule: "${missing}" is neither a signal of this site nor a vital it can tell; npm run sites check prints the names`
  return delayFault(site, rule, 'onDelayMs' in rule ? rule : {}) ?? rule
}

/** What it is called and what to do about it; without all that an alarm must say it is an alert and calls nobody. */
export function ownDraft(site: Site, key: string, change: AlarmOverride, rule: Rule): Draft {
  const id = signalOfRule(rule)
  const incomplete = change.cause === undefined || change.consequence === undefined || change.action === undefined || change.respondWithinMin === undefined
  return {
    key,
    stage: site.signals.find((s) => s.id === id)?.stage ?? null,
    rule,
    what: change.what ?? `${key}: its own rule`,
    ...recordOf(change, 'rule', 'Look at the trends of its signals.'),
    confirm: 'The condition is over.',
    ...(incomplete && { alert: true as const }),
  }
}
