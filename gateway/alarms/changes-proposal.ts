/**
 * A change of an alarm before it is saved: what was in force, what will be, how late the alarm may come by it, what to be careful
 * about; or why it cannot be. Taking a change back is a proposal like any other.
 */
import type { Site } from '../site/site.ts'
import type { AlarmDef, Priority, Rule } from './alarm.ts'
import { definitionsOf, type AlarmChange, type AlarmFields, type FieldName, type FieldValue, type Layers, type Moved } from './changes.ts'
import { expectedDetectionMs } from './detection-delay.ts'
import { same } from './same.ts'

/** What is in force of one alarm. */
export interface InForce {
  readonly off: boolean
  /** In the unit of the alarm; null: it has none, or it is off. */
  readonly limit: number | null
  readonly deadband: number | null
  readonly onDelayMs: number | null
  readonly offDelayMs: number | null
  readonly priority: Priority
  readonly cause: string
  readonly consequence: string
  readonly action: readonly string[]
  readonly respondWithinMin: number
  /** Longest time from the fact to the alarm, ms; null: it is off. */
  readonly detectionMs: number | null
}

export type Proposal =
  | {
      readonly ok: true
      readonly def: AlarmDef
      readonly was: InForce
      readonly is: InForce
      readonly moved: readonly Moved[]
      readonly after: AlarmFields
      readonly warnings: readonly string[]
      /** A second person must agree. */
      readonly needsApprover: boolean
    }
  | { readonly ok: false; readonly message: string }

const FIELDS: readonly FieldName[] = ['off', 'limit', 'deadband', 'onDelayMs', 'offDelayMs', 'priority', 'cause', 'consequence', 'action', 'respondWithinMin']
/** Words of the fields in sentences. */
const WORDS: Readonly<Record<FieldName, string>> = {
  off: 'on or off',
  limit: 'limit',
  deadband: 'deadband',
  onDelayMs: 'on-delay',
  offDelayMs: 'off-delay',
  priority: 'priority',
  cause: 'cause',
  consequence: 'consequence',
  action: 'what to do',
  respondWithinMin: 'time to respond',
}

/** An alarm as it is in force, also when it is off; null: there is none of this id. */
export function inForceOf(site: Site, layers: Layers, alarm: string): { readonly def: AlarmDef; readonly now: InForce } | null {
  const def = definitionsOf(site, layers).defs.find((d) => d.id === alarm)
  if (def) return { def, now: factsOf(site, def, false) }
  const key = alarm.slice(site.id.length + 1)
  const layer = layers.get(alarm)
  const file = site.alarmOverrides[key]
  // Switched off somewhere: what it would be is asked of the same site with it on.
  const on: Site = file ? { ...site, alarmOverrides: { ...site.alarmOverrides, [key]: { ...file, off: false } } } : site
  const asIfOn = layer ? new Map(layers).set(alarm, { ...layer, after: { ...layer.after, off: false } }) : layers
  const would = definitionsOf(on, asIfOn).defs.find((d) => d.id === alarm)
  return would ? { def: would, now: factsOf(site, would, true) } : null
}

/** What the page changes of `alarm` if `wanted` is laid over what it changes already. */
export function propose(site: Site, layers: Layers, alarm: string, wanted: AlarmFields): Proposal {
  return judgeChange(site, layers, alarm, { ...layers.get(alarm)?.after, ...wanted })
}

/** What the page changes if `change` is taken back. Only what nobody has changed again since can be. */
export function proposeUndo(site: Site, layers: Layers, change: AlarmChange): Proposal {
  const layer = layers.get(change.alarm)
  const after: { [F in FieldName]?: FieldValue } = { ...layer?.after }
  for (const f of FIELDS) {
    if (same(change.before[f], change.after[f])) continue
    if (!same(layer?.after[f], change.after[f]))
      return {
        ok: false,
        message: `${WORDS[f]} ${said(layer?.after[f])} found: it has been changed again since (change ${layer?.id ?? 0} by ${layer?.by ?? ''}). Take that one back first.`,
      }
    const back = change.before[f]
    if (back === undefined) delete after[f]
    else after[f] = back
  }
  return judgeChange(site, layers, change.alarm, after as AlarmFields)
}

function judgeChange(site: Site, layers: Layers, alarm: string, after: AlarmFields): Proposal {
  const was = inForceOf(site, layers, alarm)
  if (!was) return { ok: false, message: `"${alarm}" is no alarm of ${site.id}: default and site file make none of this name` }
  const layer = layers.get(alarm)
  const next = new Map(layers).set(alarm, { id: (layer?.id ?? 0) + 1, by: '', atMs: 0, reason: '', after })
  const before = definitionsOf(site, layers)
  const then = definitionsOf(site, next)
  const key = alarm.slice(site.id.length + 1)
  const lost = then.lost.find((l) => !before.lost.includes(l) && l.includes(` of ${alarm} `))
  if (lost !== undefined) return { ok: false, message: lost.replace(/^Change .*? is not in force: /, '').replace(/ Take it back, or change it\.$/, '') }
  const is = inForceOf(site, next, alarm)
  if (!is) return { ok: false, message: `${key} would not be an alarm any more` }
  const moved = FIELDS.flatMap((field): Moved[] => {
    const [a, b] = [was.now[field], is.now[field]]
    return same(a, b) ? [] : [{ field, was: a, is: b }]
  })
  if (moved.length === 0)
    return {
      ok: false,
      message: `nothing would change: ${
        FIELDS.filter((f) => after[f] !== undefined)
          .map((f) => `${WORDS[f]} is ${said(is.now[f])} already`)
          .join(', ') || 'no field is given'
      }`,
    }
  const thing = `alarms.${key}: `
  const own = then.warnings.filter((w) => !before.warnings.includes(w)).map((w) => (w.startsWith(thing) ? w.slice(thing.length) : w.replace(/^alarms\./, '')))
  const gone = before.defs.filter((d) => d.id !== alarm && !then.defs.some((x) => x.id === d.id)).map((d) => `"${d.what}" goes with it`)
  const came = then.defs.filter((d) => d.id !== alarm && !before.defs.some((x) => x.id === d.id)).map((d) => `"${d.what}" comes back with it`)
  return {
    ok: true,
    def: is.def,
    was: was.now,
    is: is.now,
    moved,
    after,
    warnings: [...own, ...gone, ...came, ...overFile(site, key, moved)],
    needsApprover: was.now.priority === 'high' || is.now.priority === 'high' || was.def.class === 'safety',
  }
}

/** A change made here on what the site file changes too. */
function overFile(site: Site, key: string, moved: readonly Moved[]): readonly string[] {
  const file = site.alarmOverrides[key]
  if (!file) return []
  const both = moved.map((m) => m.field).filter((f) => file[f] !== undefined)
  if (both.length === 0) return []
  return [
    `the site file changes this alarm too (${both.map((f) => `${WORDS[f]} ${said(file[f])}`).join(', ')}: ${file.why}): what is changed here wins, also when that file changes again`,
  ]
}

function factsOf(site: Site, def: AlarmDef, off: boolean): InForce {
  const figures = figuresOf(def.rule)
  return {
    off,
    ...figures,
    priority: def.priority,
    cause: def.cause,
    consequence: def.consequence,
    action: def.action,
    respondWithinMin: def.respondWithinMin,
    detectionMs: off ? null : expectedDetectionMs(site, def.rule),
  }
}

/** The figures of a rule under the names they are changed by, whatever they are called in the rule itself. */
export function figuresOf(rule: Rule): Pick<InForce, 'limit' | 'deadband' | 'onDelayMs' | 'offDelayMs'> {
  const figure = (...names: readonly string[]): number | null => {
    for (const [name, v] of Object.entries(rule)) if (names.includes(name) && typeof v === 'number') return v
    return null
  }
  return {
    limit: figure('limit', 'belowMin', 'proofLow'),
    deadband: figure('deadband', 'deadbandMin'),
    onDelayMs: figure('onDelayMs', 'afterMs'),
    offDelayMs: figure('offDelayMs'),
  }
}

/** A value as it stands in a sentence. */
function said(v: FieldValue | null | undefined): string {
  if (v === null || v === undefined) return 'none'
  if (typeof v === 'number') return String(v)
  return typeof v === 'boolean' ? (v ? 'off' : 'on') : JSON.stringify(v)
}
