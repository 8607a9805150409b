/** The register of local protections with their newest proof, from site file and site log, and what of it is due. */
import type { LogEntry } from '../log/entry.ts'
import { noonOf } from '../outlook/local-date.ts'
import { standing } from '../outlook/stored.ts'
import { type ProtectionLine, protectionsOf } from '../site/protections.ts'
import type { Site } from '../site/site.ts'
import { dateIn, type DueItem, every, inSentence } from './item.ts'

export interface Proof extends ProtectionLine {
  /** When it was last shown to work; null: never, or not written down. A date of the site file counts as noon. */
  readonly provedMs: number | null
  /** Who wrote that into the site log; null: it stands in the site file. */
  readonly provedBy: string | null
  readonly dueMs: number | null
}

/** A proof in the log of a protection the site file calls absent shows that it is there after all. */
export function proofsOf(site: Site, log: readonly LogEntry[]): readonly Proof[] {
  const proved = standing(log, 'interlock-proved')
  return protectionsOf(site).map((p): Proof => {
    const entry = proved.findLast((e) => e.about === p.id || (e.about === undefined && e.item === p.id))
    const fileMs = p.provedOn === null ? null : noonOf(p.provedOn, site.zone)
    const newer = entry !== undefined && (fileMs === null || entry.atMs >= fileMs)
    const provedMs = newer ? entry.atMs : fileMs
    const fitted = newer ? 'yes' : p.fitted
    return { ...p, fitted, provedMs, provedBy: newer ? entry.by : null, dueMs: fitted === 'yes' ? every(p.everyDays, provedMs).dueMs : null }
  })
}

export function dueProofs(site: Site, log: readonly LogEntry[]): readonly DueItem[] {
  return proofsOf(site, log)
    .filter((p) => p.fitted === 'yes')
    .map((p) => ({
      site: site.id,
      id: `proof ${p.id}`,
      kind: 'protection',
      what: `Prove: ${inSentence(p.what)}`,
      stage: null,
      dueMs: p.dueMs,
      why: p.provedMs === null ? 'Nobody has written down that it was ever shown to work.' : `Last proved ${dateIn(site, p.provedMs)}; ${every(p.everyDays, null).every}.`,
      bring: p.prove,
      settles: { kind: 'interlock-proved', about: p.id },
    }))
}
