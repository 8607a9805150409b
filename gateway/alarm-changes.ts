/**
 * Alarms as they are defined now: default, site file, changes of the page, in that order. Takes a change, writes it down, and only
 * then brings it into force; follows site files that have changed. One thing after the other, so that two people cannot change one
 * alarm past each other: who saves must name the state of the alarm they saw (`mark`).
 */
import { definitionsOf, layersOf, type Definitions, type Layer } from './alarms/changes.ts'
import { inForceOf, propose, proposeUndo, type Proposal } from './alarms/changes-proposal.ts'
import type { AlarmJournal } from './alarms/journal.ts'
import type { AlarmKeeper } from './alarms/keeper.ts'
import type { Follow } from './alarms/keeper-follow.ts'
import type { AlarmFault } from './alarms/overrides.ts'
import type { ChangeStore } from './change-store.ts'
import type { Clock } from './clock.ts'
import type { Changeable, ChangeResult, ChangesPort, Saving } from './port.ts'
import type { SiteFault } from './site/site-file.ts'
import type { Site } from './site/site.ts'

export interface AlarmChanges extends ChangesPort {
  /** Alarms of a site as they are to be. */
  definitions(site: Site): Definitions
  /** Sites whose file has changed: their alarms are defined anew. Never rejects. */
  followSites(sites: ReadonlyMap<string, Site>): Promise<void>
  /** Changes of site files that are not taken. */
  faults(): readonly SiteFault[]
  troubles(): readonly string[]
}

export interface ChangesParts {
  readonly store: ChangeStore
  readonly clock: Clock
  readonly sites: () => ReadonlyMap<string, Site>
  readonly layers: Map<string, Layer>
  readonly keeper: () => Pick<AlarmKeeper, 'follow' | 'alarmsOf'>
  readonly raisedUnder: AlarmJournal['raisedUnder']
  readonly alarmFault: (site: string, fault: AlarmFault) => SiteFault
  /** The alarms of these sites are defined anew. */
  readonly onDefined: (sites: Iterable<string>) => void
}

/** What was changed in the page, newest of each alarm. */
export const loadLayers = async (store: ChangeStore): Promise<Map<string, Layer>> => layersOf(await store.newest())

export function createAlarmChanges(parts: ChangesParts): AlarmChanges {
  const { store, layers, clock } = parts
  const lost = new Map<string, readonly string[]>()
  const untaken = new Map<string, readonly AlarmFault[]>()
  /** Sites as their alarms are defined now. */
  let defined = parts.sites()
  let behind: string | null = null
  let line: Promise<unknown> = Promise.resolve()
  const inTurn = <T>(work: () => Promise<T>): Promise<T> => {
    const mine = line.then(work)
    line = mine.catch(() => undefined)
    return mine
  }

  const definitions = (site: Site): Definitions => {
    // Only the changes of this site: a fleet may have many.
    const own = new Map([...layers].filter(([alarm]) => alarm.startsWith(`${site.id}/`)))
    const d = definitionsOf(site, own)
    if (d.lost.length > 0) lost.set(site.id, d.lost)
    else lost.delete(site.id)
    if (d.faults.length > 0) untaken.set(site.id, d.faults)
    else untaken.delete(site.id)
    return d
  }

  const siteOf = (alarm: string): Site | undefined => parts.sites().get(alarm.slice(0, Math.max(0, alarm.indexOf('/'))))

  function changeable(alarm: string): Changeable | null {
    const site = siteOf(alarm)
    const found = site && inForceOf(site, layers, alarm)
    if (!site || !found) return null
    const { why: _, ...file } = site.alarmOverrides[alarm.slice(site.id.length + 1)] ?? { why: '' }
    const layer = layers.get(alarm)
    return { def: found.def, now: found.now, mark: `${layer?.id ?? 0}.${markOf(JSON.stringify(found.now))}`, page: layer?.after ?? {}, file }
  }

  async function apply(sites: ReadonlyMap<string, Site>, goneNote?: (alarm: string) => string): Promise<void> {
    const follow: Follow = parts.keeper().follow
    await follow(
      [...sites.values()].flatMap((s) => definitions(s).defs),
      sites,
      goneNote,
    )
    parts.onDefined(sites.keys())
  }

  async function save(alarm: string, by: string, p: Proposal, saving: Omit<Saving, 'mark'>, undoes: number | null): Promise<ChangeResult> {
    const refuse = (message: string): ChangeResult => ({ ok: false, code: 'not-changed', message })
    if (!p.ok) return refuse(p.message)
    const site = siteOf(alarm)
    if (!site) return { ok: false, code: 'unknown-alarm', message: `No alarm "${alarm}".` }
    const reason = saving.reason.trim()
    if (reason === '') return refuse('reason "" found: say why, in a sentence that whoever is called at night will understand')
    const approver = saving.approver?.trim() || null
    if (p.needsApprover && approver === null)
      return refuse(`approver none found: "${p.def.what}" is of high priority or protects people, so a second person must agree; give their name`)
    if (approver !== null && plain(approver) === plain(by)) return refuse(`approver ${JSON.stringify(approver)} found: that is you; a second person must agree`)
    const layer = layers.get(alarm)
    const change = await store.append({
      alarm,
      site: site.id,
      atMs: clock.nowMs(),
      by,
      approver,
      reason,
      before: layer?.after ?? {},
      after: p.after,
      moved: p.moved,
      undoes,
    })
    layers.set(alarm, change)
    try {
      await apply(new Map([[site.id, site]]), () => `switched off in the page by ${by}, change ${change.id}: ${reason}`)
    } catch (e) {
      behind = `Change ${change.id} of ${alarm} is written down and not in force yet: ${e instanceof Error ? e.message : String(e)}. It is tried again by itself.`
    }
    return { ok: true, change }
  }

  return {
    definitions,
    changeable,
    preview: (alarm, fields) => {
      const site = siteOf(alarm)
      return site ? propose(site, layers, alarm, fields) : { ok: false, message: `no alarm "${alarm}"` }
    },
    change: (alarm, fields, by, saving) =>
      inTurn(async (): Promise<ChangeResult> => {
        const site = siteOf(alarm)
        const now = changeable(alarm)
        if (!site || !now) return { ok: false, code: 'unknown-alarm', message: `No alarm "${alarm}" is defined here.` }
        if (saving.mark !== now.mark) {
          const layer = layers.get(alarm)
          const who = layer ? `newest change: ${layer.id} by ${layer.by}, "${layer.reason}"` : 'its site file has changed'
          return {
            ok: false,
            code: 'stale-version',
            message: `The alarm is not what it was when you looked (${who}). Nothing was saved: look at what is in force now, and change that.`,
          }
        }
        return save(alarm, by, propose(site, layers, alarm, fields), saving, null)
      }),
    undo: (id, by, saving) =>
      inTurn(async (): Promise<ChangeResult> => {
        const change = await store.byId(id)
        if (!change) return { ok: false, code: 'unknown-change', message: `No change has the number ${id}.` }
        const site = siteOf(change.alarm)
        if (!site) return { ok: false, code: 'unknown-alarm', message: `Change ${id} is of "${change.alarm}": no such loop is watched now.` }
        return save(change.alarm, by, proposeUndo(site, layers, change), saving, id)
      }),
    list: (q) => store.list(q),
    async raisedUnder(alarm) {
      const view = parts
        .keeper()
        .alarmsOf(alarm.slice(0, alarm.indexOf('/')))
        .find((v) => v.def.id === alarm)
      return view?.occurrence ? parts.raisedUnder(alarm, view.occurrence) : null
    },
    followSites: (sites) =>
      inTurn(async () => {
        const changed = new Map([...sites].filter(([id, s]) => defined.get(id) !== s))
        if (changed.size === 0 && behind === null) return
        try {
          await apply(behind === null ? changed : sites)
          defined = sites
          behind = null
        } catch (e) {
          behind = `Alarms of ${changed.size} changed site files are not defined anew yet: ${e instanceof Error ? e.message : String(e)}. It is tried again by itself.`
        }
      }),
    faults: () => [...untaken].flatMap(([site, faults]) => faults.map((f) => parts.alarmFault(site, f))),
    troubles: () => [...(behind === null ? [] : [behind]), ...[...lost.values()].flat()],
  }
}

const plain = (name: string): string => name.normalize('NFKC').trim().toLowerCase().replace(/\s+/g, ' ')

/** A short name for a text (FNV-1a, 32 bit: Fowler, Noll, Vo, RFC 9923). Two states of one alarm that share it would only miss a warning. */
function markOf(text: string): string {
  let h = 0x811c9dc5
  for (let i = 0; i < text.length; i++) h = Math.imul(h ^ text.charCodeAt(i), 0x01000193)
  return (h >>> 0).toString(36)
}
