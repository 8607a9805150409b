/**
 * Changes of alarms made in the page, as records that are only ever added. What is in force is laid in this order: default, over it the
 * site file, over it the newest change of the page. A record holds all fields the page then changes of its alarm, before and
 * after, so that the last one alone says what is in force, and each one can be taken back by a further record.
 */
import type { AlarmOverride, Site } from '../site/site.ts'
import { defaultAlarms, type SiteAlarms } from './defaults.ts'

/** What can be changed of an alarm in the page; what is absent stays as default and site file have it. */
/** What the page may change; what an alarm watches at all stays with the site file. */
export type AlarmFields = Omit<AlarmOverride, 'why' | 'rule' | 'what' | 'owner' | 'reviewedOn'>
export type FieldName = keyof AlarmFields
export type FieldValue = number | string | boolean | readonly string[]

/** One figure or text in force, before and after. null: it has none. */
export interface Moved {
  readonly field: FieldName
  readonly was: FieldValue | null
  readonly is: FieldValue | null
}

export interface AlarmChange {
  /** Counts up over all alarms. */
  readonly id: number
  readonly alarm: string
  readonly site: string
  readonly atMs: number
  readonly by: string
  readonly approver: string | null
  readonly reason: string
  /** Everything the page changes of this alarm, before and after this record. */
  readonly before: AlarmFields
  readonly after: AlarmFields
  /** What came of it, as it was in force before and after. */
  readonly moved: readonly Moved[]
  /** The record this one takes back. */
  readonly undoes: number | null
}

/** What the page changes of one alarm now. */
export type Layer = Pick<AlarmChange, 'id' | 'by' | 'atMs' | 'reason' | 'after'>
/** By alarm id. */
export type Layers = ReadonlyMap<string, Layer>

/** Newest record of each alarm. */
export function layersOf(changes: Iterable<Layer & Pick<AlarmChange, 'alarm'>>): Map<string, Layer> {
  const layers = new Map<string, Layer>()
  for (const c of changes) if ((layers.get(c.alarm)?.id ?? 0) < c.id) layers.set(c.alarm, c)
  return layers
}

/** The site with what the page changes laid over what its file changes. */
export function overlay(site: Site, layers: Layers): Site {
  const alarmOverrides: Record<string, AlarmOverride> = { ...site.alarmOverrides }
  let any = false
  for (const [alarm, layer] of layers) {
    if (!alarm.startsWith(`${site.id}/`) || Object.keys(layer.after).length === 0) continue
    any = true
    const key = alarm.slice(site.id.length + 1)
    const file = site.alarmOverrides[key]
    const why = `changed in the page by ${layer.by}, change ${layer.id}: ${layer.reason}`
    alarmOverrides[key] = { ...file, ...layer.after, why: file ? `${file.why}; ${why}` : why }
  }
  return any ? { ...site, alarmOverrides } : site
}

export interface Definitions extends SiteAlarms {
  /** Changes of the page that are not in force any more, because the site is not what it was. */
  readonly lost: readonly string[]
}

/** The alarms of a site as default, site file and page have them. A change that no longer fits is left out and told; the rest holds. */
export function definitionsOf(site: Site, layers: Layers): Definitions {
  const lost: string[] = []
  let fitting = layers
  for (;;) {
    const alarms = defaultAlarms(overlay(site, fitting))
    const misfits = alarms.faults.filter((f) => Object.keys(fitting.get(`${site.id}/${f.key}`)?.after ?? {}).length > 0)
    if (misfits.length === 0) return { ...alarms, lost }
    fitting = new Map([...fitting].filter(([alarm]) => !misfits.some((f) => alarm === `${site.id}/${f.key}`)))
    for (const f of misfits) lost.push(`Change ${layers.get(`${site.id}/${f.key}`)?.id ?? ''} of ${site.id}/${f.key} is not in force: ${f.message}. Take it back, or change it.`)
  }
}
