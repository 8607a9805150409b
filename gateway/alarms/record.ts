/**
 * The rationalisation record of an alarm: everything a person needs to say why it exists, when it speaks, what to do, and who answers for
 * it. What can be told from the definition, the site and its log is worked out here when somebody asks, so that a thousand loops do not
 * hold it twice. Fields follow the attribute list of ISA-18.2 (its clause on rationalisation, from memory).
 */
import { protectionNamed } from '../site/protections.ts'
import type { Site } from '../site/site.ts'
import type { AlarmDef } from './alarm.ts'
import { expectedDetectionMs } from './detection-delay.ts'
import { priorityOf } from './priority.ts'
import { saidRule } from './said-rule.ts'
import { shelfMostMs } from './shelf-bound.ts'

/** One alarm with its record; texts are whole sentences or short phrases, times minutes. */
export interface AlarmRecord {
  readonly id: string
  readonly site: string
  /** Name of the stage; null: the loop as a whole. */
  readonly stage: string | null
  readonly what: string
  readonly kind: string
  readonly priority: AlarmDef['priority']
  /** "from severity and time", or the reason a person gave. */
  readonly priorityBecause: string
  readonly severity: AlarmDef['severity']
  readonly class: AlarmDef['class']
  readonly cause: string
  readonly consequence: string
  readonly action: readonly string[]
  readonly confirm: string
  readonly respondWithinMin: number
  /** When it is raised and when it clears, in words with figures and units. */
  readonly raises: string
  readonly basis: string
  readonly latching: boolean
  /** null: may not be shelved. */
  readonly shelveMostMin: number | null
  /** When it is held back by design; never null, "never" is an answer. */
  readonly suppressed: string
  /** From the fact to the alarm at worst: the report just missed, the delay, the link. null: not told in minutes. */
  readonly detectionMin: number | null
  /** Of the time to respond, what is left for a person at worst. */
  readonly leftMin: number | null
  /** Protection in the yard that should have acted, and whether it is there; null: none is expected. */
  readonly protection: { readonly id: string; readonly what: string; readonly fitted: 'yes' | 'no' | 'unknown'; readonly provedOn: string | null } | null
  readonly owner: string
  readonly reviewedOn: string | null
  readonly reviewBy: string | null
  readonly version: number
}

/** `provedOn`: newest proof of a protection by its id, from site file and site log; the site file alone unless given. */
export function recordOf(site: Site, def: AlarmDef, provedOn?: (protection: string) => string | null): AlarmRecord {
  const key = def.id.slice(site.id.length + 1)
  const derived = priorityOf(def.severity, def.respondWithinMin)
  const change = site.alarmOverrides[key]
  const line = def.protection === null ? null : protectionNamed(site, def.protection)
  const said = saidRule(site, def.rule)
  const ms = expectedDetectionMs(site, def.rule)
  const detection = ms === null ? null : Math.ceil(ms / 60_000)
  const most = shelfMostMs(def)
  return {
    id: def.id,
    site: site.id,
    stage: site.stages.find((s) => s.id === def.stage)?.name ?? null,
    what: def.what,
    kind: def.rule.kind,
    priority: def.priority,
    priorityBecause:
      def.priority === derived
        ? `${def.severity}, ${def.respondWithinMin} min`
        : def.priority === 'alert'
          ? 'shown, asks nobody to act now'
          : `the table would say ${derived}; ${change ? `this site: ${change.why}` : 'as the alarm it makes blind'}`,
    severity: def.severity,
    class: def.class,
    cause: def.cause,
    consequence: def.consequence,
    action: def.action,
    confirm: def.confirm,
    respondWithinMin: def.respondWithinMin,
    raises: `${said.raises.slice(0, 1).toUpperCase()}${said.raises.slice(1)}`.replace(/^PH/, 'pH'),
    basis: def.basis,
    latching: def.latching,
    shelveMostMin: most === null ? null : most / 60_000,
    suppressed: said.suppressed,
    detectionMin: detection,
    // Being blind or silent begins once the time of another alarm is over.
    leftMin: detection === null || def.rule.kind === 'blind' || def.rule.kind === 'silent' ? null : Math.max(0, Math.round(def.respondWithinMin - detection)),
    protection: line && { id: line.id, what: line.what, fitted: line.fitted, provedOn: line.fitted === 'yes' ? (provedOn?.(line.id) ?? line.provedOn) : null },
    owner: def.owner,
    reviewedOn: def.reviewedOn,
    reviewBy: def.reviewBy,
    version: def.version,
  }
}
