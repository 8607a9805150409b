/**
 * A site's own changes to its alarms: `<signal, equipment or "site">.<kind>` against what is to differ. What names nothing real,
 * or asks for the impossible, is told in a sentence and left out; the default then stays in force.
 */
import { QUANTITIES } from '../site/quantity.ts'
import type { AlarmOverride, Signal, Site } from '../site/site.ts'
import type { Priority, Rule } from './alarm.ts'
import { nearestNames } from './nearest-names.ts'
import { changeFigures } from './override-figures.ts'
import { chatterWarning, delayFault, detectionMs } from './detection-delay.ts'
import { ownDraft, ownRule } from './own-rule.ts'
import { spell, type Draft } from './draft.ts'
import { recordOf } from './unwritten.ts'

export interface Changed {
  readonly drafts: readonly (Draft & { readonly priority?: Priority })[]
  readonly faults: readonly AlarmFault[]
  readonly warnings: readonly string[]
}

/** A change of the site file that was not taken; the default stays in force. */
export interface AlarmFault {
  /** As the site file has it under `alarms:`. */
  readonly key: string
  readonly message: string
}

const LIMIT_KINDS = { low: 'low', 'low-low': 'low', high: 'high', 'high-high': 'high' } as const
type LimitKind = keyof typeof LIMIT_KINDS

/** Applies those changes of the site file whose key `concerns` accepts. */
export function applyOverrides(site: Site, defaults: readonly (Draft & { readonly priority?: Priority })[], concerns: (key: string) => boolean): Changed {
  const faults: AlarmFault[] = []
  const warnings: string[] = []
  const drafts = new Map<string, Draft & { readonly priority?: Priority }>(defaults.map((d) => [d.key, d]))
  for (const [key, change] of Object.entries(site.alarmOverrides)) {
    if (!concerns(key)) continue
    const own = change.rule === undefined ? null : ownRule(site, change)
    if (typeof own === 'string') {
      faults.push({ key, message: own })
      continue
    }
    const standard = drafts.get(key)
    const was = own ? (standard ? { ...standard, rule: own } : ownDraft(site, key, change, own)) : (standard ?? ownLimit(site, key, change, warnings))
    if (!was) {
      faults.push({ key, message: nothingReal(site, key, defaults, change) })
      continue
    }
    if (change.off === true) {
      drafts.delete(key)
      if (was.class === 'safety') warnings.push(`alarms.${key}: switched off although it protects people ("${change.why}"): make sure something else does`)
      continue
    }
    const rule = changeRule(was.rule, change)
    if (typeof rule === 'string') {
      faults.push({ key, message: rule })
      continue
    }
    const wrong = figureFault(site, rule, change) ?? delayFault(site, rule, change)
    if (wrong !== null) {
      faults.push({ key, message: wrong })
      continue
    }
    warnings.push(...cautionAbout(site, key, rule, change))
    drafts.set(key, {
      ...was,
      rule,
      ...(change.what !== undefined && { what: change.what }),
      ...(change.priority !== undefined && { priority: change.priority }),
      ...(change.cause !== undefined && { cause: change.cause }),
      ...(change.consequence !== undefined && { consequence: change.consequence }),
      ...(change.action !== undefined && { action: change.action }),
      ...(change.respondWithinMin !== undefined && { respondWithinMin: change.respondWithinMin }),
      ...(change.owner !== undefined && { owner: change.owner }),
      ...(change.reviewedOn !== undefined && { reviewedOn: change.reviewedOn }),
      basis: `This site: ${change.why}. Default: ${was.basis}`,
    })
  }
  warnings.push(...outOfOrder([...drafts.values()]))
  return { drafts: [...drafts.values()], faults, warnings }
}

/** A limit on a signal that has no default alarm of that kind. */
function ownLimit(site: Site, key: string, change: AlarmOverride, warnings: string[]): Draft | null {
  const at = splitKey(site, key)
  if (!at || change.limit === undefined || QUANTITIES[at.signal.quantity].kind !== 'analogue') return null
  const { signal, kind } = at
  const missing = (['cause', 'consequence', 'action', 'respondWithinMin'] as const).filter((f) => change[f] === undefined)
  if (missing.length > 0 && change.priority !== 'alert') {
    const names = missing.map((f) => (f === 'respondWithinMin' ? 'respondWithin' : f)).join(', ')
    warnings.push(`alarms.${key}: shown as an alert that calls nobody, because ${names} ${missing.length === 1 ? 'is' : 'are'} missing: an alarm must say what to do`)
  }
  const side = LIMIT_KINDS[kind]
  const two = 2 * signal.sampleEveryMs
  return {
    key,
    stage: signal.stage,
    rule: { kind: 'limit', signal: signal.id, side, limit: change.limit, deadband: change.deadband ?? 2 * signal.resolution, onDelayMs: two, offDelayMs: two },
    what: `${signal.name}: ${side === 'high' ? 'above' : 'below'} ${change.limit}${signal.unit === '%' ? ' %' : ''}`,
    ...recordOf(change, 'limit', 'Look at the trend of this signal.'),
    confirm: 'The value is back past its limit.',
    ...(missing.length > 0 && { alert: true as const }),
  }
}

function splitKey(site: Site, key: string): { readonly signal: Signal; readonly kind: LimitKind } | null {
  const dot = key.lastIndexOf('.')
  const kind = key.slice(dot + 1)
  const signal = site.signals.find((s) => s.id === key.slice(0, dot))
  return signal && Object.hasOwn(LIMIT_KINDS, kind) ? { signal, kind: kind as LimitKind } : null
}

function changeRule(rule: Rule, c: AlarmOverride): Rule | string {
  const delays = { ...(c.onDelayMs !== undefined && { onDelayMs: c.onDelayMs }), ...(c.offDelayMs !== undefined && { offDelayMs: c.offDelayMs }) }
  switch (rule.kind) {
    case 'limit':
      return { ...rule, ...delays, ...(c.limit !== undefined && { limit: c.limit }), ...(c.deadband !== undefined && { deadband: c.deadband }) }
    case 'water-left':
      return { ...rule, ...delays, ...(c.limit !== undefined && { belowMin: c.limit }), ...(c.deadband !== undefined && { deadbandMin: c.deadband }) }
    case 'no-air':
      if (c.deadband !== undefined) return `deadband ${c.deadband} found: the proof of air has a fixed deadband of 5 %`
      if (c.limit !== undefined && rule.proof === null) return `limit ${c.limit} found: this blower has no pressure or flow signal, so there is nothing to compare it with`
      return {
        ...rule,
        ...delays,
        ...(c.limit !== undefined && { proofLow: c.limit }),
        ...(c.onDelayMs !== undefined && { fastOnDelayMs: Math.min(rule.fastOnDelayMs, c.onDelayMs) }),
      }
    case 'state':
      if (c.limit !== undefined || c.deadband !== undefined) return 'limit or deadband found: this one is on or off, only its delays can be changed'
      return { ...rule, ...delays }
    case 'fact':
      if (c.limit !== undefined || c.deadband !== undefined) return 'limit or deadband found: this one is told or not, only its delays can be changed'
      return { ...rule, ...delays }
    case 'silent':
    case 'blind':
      if (c.limit !== undefined || c.deadband !== undefined || c.offDelayMs !== undefined) return 'only onDelay (how long) can be changed here'
      return { ...rule, ...(c.onDelayMs !== undefined && { afterMs: c.onDelayMs }) }
    case 'over-run':
      return changeFigures({ ...rule, ...(c.onDelayMs !== undefined && { unlearnedMs: c.onDelayMs }), ...(c.offDelayMs !== undefined && { offDelayMs: c.offDelayMs }) }, c)
    default:
      return changeFigures({ ...rule, ...delays }, c)
  }
}

/** Figures that could never do what was meant. */
function figureFault(site: Site, rule: Rule, c: AlarmOverride): string | null {
  if (c.respondWithinMin !== undefined && c.respondWithinMin <= 0) return 'respondWithin 0 found: a person needs some time to respond, such as "30min"'
  if (rule.kind === 'water-left' && rule.belowMin <= 0) return `limit ${rule.belowMin} found: minutes of washing left, such as 30`
  if (rule.kind !== 'limit') return null
  const signal = site.signals.find((s) => s.id === rule.signal)
  if (!signal) return null
  const [least, most] = signal.range
  if (rule.limit < least || rule.limit > most)
    return `limit ${rule.limit} found: ${signal.id} reports ${least} to ${most} ${signal.unit}, so it would never be passed; give one inside`
  if (rule.deadband > (most - least) / 2) return `deadband ${rule.deadband} found: more than half of what ${signal.id} can report, so it would hardly ever clear`
  return null
}

/** On one side the inner limit is reached first, and low lies below high. */
function outOfOrder(drafts: readonly Draft[]): readonly string[] {
  const crossed = drafts.flatMap((low) => {
    if (low.rule.kind !== 'limit' || !low.key.endsWith('.low')) return []
    const highKey = low.key.replace(/low$/, 'high')
    const high = drafts.find((d) => d.key === highKey)?.rule
    if (high?.kind !== 'limit' || high.signal !== low.rule.signal || low.rule.limit < high.limit) return []
    return [`alarms.${low.key}: its limit (${low.rule.limit}) is not below that of ${highKey} (${high.limit}): one of them always stands; swap them or change one`]
  })
  const outside = drafts.flatMap((outer) => {
    if (outer.rule.kind !== 'limit' || !/\.(low-low|high-high)$/.test(outer.key)) return []
    const innerKey = outer.key.replace(/\.(low)-low$|\.(high)-high$/, '.$1$2')
    const inner = drafts.find((d) => d.key === innerKey)?.rule
    if (inner?.kind !== 'limit') return []
    const wrong = outer.rule.side === 'high' ? outer.rule.limit <= inner.limit : outer.rule.limit >= inner.limit
    return wrong ? [`alarms.${outer.key}: its limit (${outer.rule.limit}) is not beyond that of ${innerKey} (${inner.limit}): swap them or change one`] : []
  })
  return [...crossed, ...outside]
}

/** What is allowed and still worth a sentence. */
function cautionAbout(site: Site, key: string, rule: Rule, c: AlarmOverride): readonly string[] {
  const chatters = chatterWarning(site, rule)
  const out = chatters === null ? [] : [`alarms.${key}: ${chatters}`]
  if (rule.kind !== 'limit') return out
  const signal = site.signals.find((s) => s.id === rule.signal)
  if (!signal) return out
  if (c.onDelayMs !== undefined && c.onDelayMs < 2 * signal.reportEveryMs) {
    out.push(`alarms.${key}: ${signal.id} reports every ${spell(signal.reportEveryMs)}, so expect it up to ${spell(detectionMs(signal, c.onDelayMs))} after the fact`)
  }
  return out
}

function nothingReal(site: Site, key: string, defaults: readonly Draft[], change: AlarmOverride): string {
  const at = splitKey(site, key)
  if (at) {
    if (QUANTITIES[at.signal.quantity].kind !== 'analogue') return `${at.signal.id} is no measured value, a limit makes no sense on it`
    return `no default of that kind for ${at.signal.id}; give a limit to make one${change.off === true ? ' (there is nothing to switch off)' : ''}`
  }
  const stem = key.slice(0, key.indexOf('.') < 0 ? key.length : key.indexOf('.'))
  const keys = defaults.map((d) => d.key)
  const inside = keys.filter((k) => k.startsWith(`${key}.`))
  const beside = keys.filter((k) => k.startsWith(`${stem}.`))
  const near = inside.length > 0 ? inside : beside.length > 0 ? nearestNames(key, beside, 6, 1) : nearestNames(key, keys)
  const hint = near.length > 0 ? `; here there are ${near.slice(0, 6).join(', ')}` : '; npm run sites check prints the names of this site'
  return `names no alarm, signal or machine of this site${hint}`
}
