/**
 * How soon an alarm can know. A delay or a count of samples that the data cannot show is refused with a sentence; what can be shown is told
 * beforehand: the report that was just missed, the delay, the link.
 */
import { QUANTITIES } from '../site/quantity.ts'
import type { Signal, Site } from '../site/site.ts'
import { computedSignals } from './computed.ts'
import { spell } from './draft.ts'
import { nOfMFault } from './n-of-m.ts'
import type { Condition, Rule } from './rule.ts'
import { signalOfRule } from './rule-signals.ts'
import { LINK_MS } from './signal-memory.ts'

/** Readings a span must hold before one of them may be a spike. */
const LEAST_IN_SPAN = 9

/** `asked`: the delays a person wrote; those of a default are made from the signal's own intervals. null: nothing is wrong. */
export function delayFault(site: Site, rule: Rule, asked: { readonly onDelayMs?: number; readonly offDelayMs?: number }): string | null {
  if (rule.kind === 'silent') {
    const often = Math.min(...site.signals.map((s) => s.reportEveryMs))
    return rule.afterMs < 3 * often ? `onDelay ${spell(rule.afterMs)} found: shorter than three reports (${spell(3 * often)}), every late report would raise it` : null
  }
  if (rule.kind === 'blind') return null
  const counted = 'nOfM' in rule && rule.nOfM ? nOfMFault(rule.nOfM) : null
  if (counted !== null) return `nOfM ${counted}`
  const signal = measured(site, signalOfRule(rule))
  if (!signal) return null
  const wanted = spanFault(signal, rule as Condition)
  if (wanted !== null) return wanted
  if (QUANTITIES[signal.quantity].kind === 'state') return null
  for (const [name, ms] of [
    ['onDelay', asked.onDelayMs],
    ['offDelay', asked.offDelayMs],
  ] as const) {
    if (ms === undefined || ms === 0 || ms >= 2 * signal.sampleEveryMs) continue
    return `${name} ${spell(ms)} found: ${signal.id} gives a value every ${spell(signal.sampleEveryMs)}, so a delay below ${spell(2 * signal.sampleEveryMs)} cannot be told from none: write 0s or at least ${spell(2 * signal.sampleEveryMs)}, or count samples (nOfM)`
  }
  return null
}

/**
 * What the data of this site cannot show of a default, in all its parts; null: nothing. Its limit may be fine: the loop reports too seldom for it, and
 * the alarm would never speak, which must not go unseen.
 */
export function defaultFault(site: Site, rule: Rule): string | null {
  const own = delayFault(site, rule, 'onDelayMs' in rule && rule.kind !== 'fact' ? { onDelayMs: rule.onDelayMs, offDelayMs: rule.offDelayMs } : {})
  if (own !== null || !('of' in rule)) return own
  for (const part of partsOf(rule)) {
    const signal = measured(site, 'signal' in part ? part.signal : null)
    const fault = signal ? spanFault(signal, part) : null
    if (fault !== null) return fault
  }
  return null
}

const partsOf = (c: Condition): readonly Condition[] => ('of' in c ? c.of.flatMap((x) => partsOf(x)) : [c])

function spanFault(signal: Signal, c: Condition): string | null {
  if ((c.kind === 'limit' || c.kind === 'deviation') && c.medianOverMs !== undefined && c.medianOverMs < 2 * signal.sampleEveryMs)
    return `medianOver ${spell(c.medianOverMs)} found: ${signal.id} gives a value every ${spell(signal.sampleEveryMs)}, and a middle needs three of them: at least ${spell(2 * signal.sampleEveryMs)}`
  if (c.kind !== 'rate') return null
  const least = LEAST_IN_SPAN * signal.sampleEveryMs
  return c.spanMs < least
    ? `span ${spell(c.spanMs)} found: ${signal.id} gives a value every ${spell(signal.sampleEveryMs)}, and a rate needs ${LEAST_IN_SPAN} of them: at least ${spell(least)}`
    : null
}

const measured = (site: Site, id: string | null): Signal | undefined => site.signals.find((s) => s.id === id)

/** No delay, no count and no deadband on a measured value: one that hovers about its limit raises at every crossing. null: fine. */
export function chatterWarning(site: Site, rule: Rule): string | null {
  if (!('deadband' in rule) || rule.deadband !== 0 || rule.onDelayMs !== 0 || rule.nOfM) return null
  const signal = measured(site, signalOfRule(rule))
  return signal && QUANTITIES[signal.quantity].kind === 'analogue'
    ? `no delay and no deadband on a measured value: it will chatter; give a deadband of at least ${2 * signal.resolution} or a delay`
    : null
}

/** Longest time from the fact to the alarm: the report it has just missed, the delay, the link. */
export const detectionMs = (signal: Pick<Signal, 'reportEveryMs'>, onDelayMs: number): number => signal.reportEveryMs + onDelayMs + LINK_MS

/**
 * Longest time from the fact to the alarm for a rule of this site, ms; null: it depends on how the plant is used (doses, runs, days), not on
 * time alone, or its signal is none of the site's.
 */
export function expectedDetectionMs(site: Site, rule: Rule): number | null {
  if (rule.kind === 'fact') return null
  if (rule.kind === 'silent') return rule.afterMs + LINK_MS
  const report = reportMs(site, signalOfRule(rule))
  if (report === null) return null
  if (rule.kind === 'blind') return 3 * report + LINK_MS + rule.afterMs
  if (rule.kind === 'over-run') return report + Math.max(rule.floorMs, rule.unlearnedMs) + LINK_MS
  const own = rule.kind === 'no-air' || rule.kind === 'water-left' ? 0 : conditionMs(rule)
  const more = rule.nOfM ? (rule.nOfM.n - 1) * (measured(site, signalOfRule(rule))?.sampleEveryMs ?? report) : 0
  return own === null ? null : report + own + more + rule.onDelayMs + LINK_MS
}

/** What the condition itself takes, on top of report, delay and link. */
function conditionMs(c: Condition): number | null {
  switch (c.kind) {
    case 'limit':
    case 'deviation':
      // The middle of so long has moved once half of it has.
      return (c.medianOverMs ?? 0) / 2
    case 'state':
      return 0
    case 'rate':
      return c.spanMs
    case 'stuck':
      return c.through ? null : c.forMs
    case 'no-effect':
      return c.flow ? c.withinMs : 2 * c.withinMs
    case 'all-of':
    case 'any-of': {
      const each = c.of.map((x) => conditionMs(x))
      return each.some((ms) => ms === null) ? null : Math.max(...each.filter((ms) => ms !== null))
    }
    default:
      return null
  }
}

function reportMs(site: Site, id: string | null): number | null {
  if (id === null) return null
  return measured(site, id)?.reportEveryMs ?? computedSignals(site)(id)?.reportEveryMs ?? null
}
