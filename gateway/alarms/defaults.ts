/**
 * The alarms a loop gets from what it is: its stages, machines and signals; then the changes its site file asks for. Every
 * definition carries cause, consequence, action, how to confirm and time to respond, or it is no alarm.
 */
import type { Site } from '../site/site.ts'
import { acidityAlarms } from './defaults-acidity.ts'
import { airAlarms } from './defaults-air.ts'
import { BLIND, blindAlarms } from './defaults-blind.ts'
import { gasAlarms } from './defaults-gas.ts'
import { biologyAlarms } from './defaults-biology.ts'
import { dosingAlarms } from './defaults-dosing.ts'
import { machineAlarms } from './defaults-machines.ts'
import { makeUpAlarms } from './defaults-make-up.ts'
import { panelAlarms } from './defaults-panel.ts'
import { redoxAlarms, redoxWarnings } from './defaults-redox.ts'
import { linkAlarms } from './defaults-link.ts'
import { supplyAlarms } from './defaults-supply.ts'
import { waterAlarms } from './defaults-water.ts'
import type { AlarmDef, Priority } from './alarm.ts'
import type { Draft } from './draft.ts'
import { visitAlarms } from './defaults-visit.ts'
import { defaultFault } from './detection-delay.ts'
import { applyOverrides, type AlarmFault } from './overrides.ts'
import { priorityOf } from './priority.ts'
import { perPlan } from './site-plan.ts'
import { monthsLater } from '../outlook/local-date.ts'

/** Role, where the site file names nobody. */
const OWNER = 'operations'
/** A set of alarms is gone through once a year (common practice, no source). */
const REVIEW_MONTHS = 12

export interface SiteAlarms {
  readonly defs: readonly AlarmDef[]
  /** Changes of the site file that were not taken. */
  readonly faults: readonly AlarmFault[]
  readonly warnings: readonly string[]
}

/** The default alarms of a site with the changes its file asks for. Sites that are built and reported alike share every word and figure of theirs. */
export function defaultAlarms(site: Site): SiteAlarms {
  const { defs, ...said } = alarmsOfPlan(site)
  return { ...said, defs: defs.map((d): AlarmDef => ({ ...d, id: `${site.id}/${d.id}`, site: site.id })) }
}

const alarmsOfPlan = perPlan(makeAlarms)

/** Ids are those within the site. */
function makeAlarms(site: Site): SiteAlarms {
  const defaults: readonly Draft[] = [
    ...gasAlarms(site),
    ...airAlarms(site),
    ...acidityAlarms(site),
    ...dosingAlarms(site),
    ...redoxAlarms(site),
    ...biologyAlarms(site),
    ...waterAlarms(site),
    ...makeUpAlarms(site),
    ...machineAlarms(site),
    ...supplyAlarms(site),
    ...panelAlarms(site),
    ...visitAlarms(site),
    ...linkAlarms(),
  ]
  const changed = applyOverrides(site, defaults, (key) => !key.endsWith(BLIND))
  const watched = changed.drafts.map((d) => ({ ...d, priority: priorityIn(d) }))
  // Made from what the site file left in force: where an alarm is off, being blind for it is nobody's business.
  const blind = applyOverrides(site, blindAlarms(site, watched), (key) => key.endsWith(BLIND))
  const defs = [...watched, ...blind.drafts].map((d): AlarmDef => {
    const { key, alert: _, ...rest } = d
    return { ...rest, ...answeredBy(site, d), confirm: confirmOf(d), id: key, site: '', priority: priorityIn(d), version: 1 }
  })
  // A change that cannot be told has been refused with its own sentence by now.
  const refused = new Set(changed.faults.map((f) => f.key))
  const unseen = watched.flatMap((d): readonly AlarmFault[] => {
    const fault = refused.has(d.key) ? null : defaultFault(site, d.rule)
    return fault === null ? [] : [{ key: d.key, message: `the default cannot be told by what this loop sends: ${fault}; give it figures of its own here, or switch it off` }]
  })
  return { defs, faults: [...changed.faults, ...blind.faults, ...unseen], warnings: [...changed.warnings, ...blind.warnings, ...redoxWarnings(site)] }
}

const priorityIn = (d: Draft & { readonly priority?: Priority }): Priority => (d.alert === true ? 'alert' : (d.priority ?? priorityOf(d.severity, d.respondWithinMin)))

/** Who answers for it, when it was gone through, and when next. */
function answeredBy(site: Site, d: Draft): Pick<AlarmDef, 'protection' | 'owner' | 'reviewedOn' | 'reviewBy'> {
  const reviewedOn = d.reviewedOn ?? site.alarmReview?.reviewedOn ?? null
  return {
    protection: d.protection ?? null,
    owner: d.owner ?? site.alarmReview?.owner ?? OWNER,
    reviewedOn,
    reviewBy: reviewedOn === null ? null : monthsLater(reviewedOn, site.alarmReview?.everyMonths ?? REVIEW_MONTHS),
  }
}

/** `{clear}` in a draft stands for the figure at which the alarm lets go, also when the site file moved it. */
function confirmOf({ confirm, rule }: Draft): string {
  if (rule.kind !== 'limit') return confirm
  const clear = rule.side === 'high' ? rule.limit - rule.deadband : rule.limit + rule.deadband
  return confirm.replace('{clear}', String(Number(clear.toPrecision(10))))
}
