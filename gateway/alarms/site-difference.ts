/** What a change of a site file means for the loop: signals, alarms and vitals that come, go or are others than before. */
import type { Signal, Site } from '../site/site.ts'
import { vitalsOf } from '../vitals/catalogue.ts'
import type { AlarmDef } from './alarm.ts'
import { definitionsOf, type FieldValue, type Layers } from './changes.ts'
import { figuresOf } from './changes-proposal.ts'
import type { AlarmFault } from './overrides.ts'
import { same } from './same.ts'

export interface Named {
  readonly id: string
  readonly name: string
}

export interface AlarmMoved extends Named {
  readonly unit: string
  readonly moved: readonly { readonly field: string; readonly was: FieldValue | null; readonly is: FieldValue | null }[]
}

export interface SiteDifference {
  readonly signals: { readonly added: readonly Named[]; readonly gone: readonly Named[]; readonly changed: readonly (Named & { readonly what: readonly string[] })[] }
  readonly alarms: { readonly added: readonly Named[]; readonly gone: readonly Named[]; readonly changed: readonly AlarmMoved[] }
  readonly vitals: { readonly unlocked: readonly Named[]; readonly lost: readonly Named[] }
  /** Changes of alarms in the file that cannot be taken: the default would be in force instead. */
  readonly alarmFaults: readonly AlarmFault[]
  readonly warnings: readonly string[]
}

/** `was` null: a new loop. `layers`: what the page changes of its alarms, which wins over the file. */
export function siteDifference(was: Site | null, is: Site, layers: Layers): SiteDifference {
  const before = was && definitionsOf(was, layers)
  const then = definitionsOf(is, layers)
  return {
    signals: signalsBetween(was?.signals ?? [], is.signals),
    alarms: alarmsBetween(before?.defs ?? [], then.defs, is),
    vitals: vitalsBetween(was, is),
    alarmFaults: then.faults,
    warnings: [...then.lost.filter((l) => !before?.lost.includes(l)), ...then.warnings.filter((w) => !before?.warnings.includes(w))],
  }
}

const SIGNAL_FIELDS = {
  name: 'name',
  quantity: 'what it measures',
  unit: 'unit',
  at: 'where it belongs',
  sampleEveryMs: 'sampled every',
  reportEveryMs: 'reported every',
  range: 'range',
  resolution: 'resolution',
  digits: 'digits',
  checks: 'quality tests',
  counter: 'counter',
} as const satisfies Partial<Record<keyof Signal, string>>

function signalsBetween(was: readonly Signal[], is: readonly Signal[]): SiteDifference['signals'] {
  const before = new Map(was.map((s) => [s.id, s]))
  const after = new Map(is.map((s) => [s.id, s]))
  const named = (s: Signal): Named => ({ id: s.id, name: s.name })
  return {
    added: is.filter((s) => !before.has(s.id)).map(named),
    gone: was.filter((s) => !after.has(s.id)).map(named),
    changed: is.flatMap((s) => {
      const old = before.get(s.id)
      const what = old ? Object.entries(SIGNAL_FIELDS).flatMap(([f, word]) => (same(old[f as keyof Signal], s[f as keyof Signal]) ? [] : [word])) : []
      return what.length === 0 ? [] : [{ ...named(s), what }]
    }),
  }
}

function alarmsBetween(was: readonly AlarmDef[], is: readonly AlarmDef[], site: Site): SiteDifference['alarms'] {
  const before = new Map(was.map((d) => [d.id, d]))
  const after = new Set(is.map((d) => d.id))
  const named = (d: AlarmDef): Named => ({ id: d.id, name: d.what })
  return {
    added: is.filter((d) => !before.has(d.id)).map(named),
    gone: was.filter((d) => !after.has(d.id)).map(named),
    changed: is.flatMap((d) => {
      const old = before.get(d.id)
      const moved = old ? movedOf(old, d) : []
      return moved.length === 0 ? [] : [{ ...named(d), unit: unitOf(d, site), moved }]
    }),
  }
}

function movedOf(was: AlarmDef, is: AlarmDef): AlarmMoved['moved'] {
  const facts = (d: AlarmDef): Readonly<Record<string, FieldValue | null>> => ({
    ...figuresOf(d.rule),
    priority: d.priority,
    respondWithinMin: d.respondWithinMin,
    what: d.what,
    cause: d.cause,
    consequence: d.consequence,
    action: d.action,
    owner: d.owner,
  })
  const [a, b] = [facts(was), facts(is)]
  const moved = Object.keys(a).flatMap((field) => (same(a[field], b[field]) ? [] : [{ field, was: a[field] ?? null, is: b[field] ?? null }]))
  // A rule that differs in something no field speaks of is still another rule.
  return moved.length === 0 && !same(was.rule, is.rule) ? [{ field: 'rule', was: null, is: null }] : moved
}

const unitOf = ({ rule }: AlarmDef, site: Site): string => ('signal' in rule ? (site.signals.find((s) => s.id === rule.signal)?.unit ?? '') : '')

function vitalsBetween(was: Site | null, is: Site): SiteDifference['vitals'] {
  const told = (site: Site | null): Map<string, string> => new Map((site ? vitalsOf(site) : []).filter((v) => v.unobservable === null).map((v) => [v.id, v.name]))
  const [before, after] = [told(was), told(is)]
  const only = (a: ReadonlyMap<string, string>, b: ReadonlyMap<string, string>): Named[] => [...a].flatMap(([id, name]) => (b.has(id) ? [] : [{ id, name }]))
  return { unlocked: only(after, before), lost: only(before, after) }
}
