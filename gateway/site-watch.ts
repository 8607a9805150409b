/**
 * Follows the folder of site files while the gateway runs. A file that breaks or goes does not take its loop with it: the last good
 * version stays in force and the fault is told. Alarm definitions are those of the start, so a file that changes them is told as well.
 */
import { createHash } from 'node:crypto'
import { existsSync, readdirSync, statSync } from 'node:fs'
import { join } from 'node:path'
import { defaultAlarms } from './alarms/defaults.ts'
import { readSiteFolder, type SiteFolder } from './site-folder.ts'
import type { SiteFault } from './site/site-file.ts'
import type { Site } from './site/site.ts'

export interface SiteWatch {
  /** Looks; true: sites have changed. */
  poll(): boolean
  /** A new map after each change; sites whose file did not change stay the same objects. */
  sites(): ReadonlyMap<string, Site>
  faults(): readonly SiteFault[]
  /** Changes of alarms that are not taken: those of the start, as the alarms are. */
  alarmFault: SiteFolder['alarmFault']
  /** Sentences for the health page. */
  notes(): readonly string[]
}

export function createSiteWatch(dir: string): SiteWatch {
  // The mark first: what changes while we read differs from it and is looked at again.
  let mark = markOf(dir)
  const start = readSiteFolder(dir)
  let sites = start.sites
  let faults = start.faults
  const files = new Map(start.fileOf)
  const atStart = new Map([...start.sites].map(([id, s]) => [id, alarmsOf(s)]))
  let notes: readonly string[] = []

  const take = (folder: SiteFolder): boolean => {
    const next = new Map<string, Site>()
    for (const [id, file] of folder.fileOf) files.set(id, file)
    const gone: SiteFault[] = []
    for (const [id, site] of folder.sites) {
      const was = sites.get(id)
      next.set(id, was && JSON.stringify(was) === JSON.stringify(site) ? was : site)
    }
    for (const [id, site] of sites) {
      if (next.has(id)) continue
      next.set(id, site)
      gone.push({
        file: files.get(id) ?? id,
        line: 1,
        field: 'id',
        message: `no readable file holds the site "${id}" any more: its last good version stays in force until the next start`,
      })
    }
    faults = [...folder.faults, ...gone]
    const changed = next.size !== sites.size || [...next].some(([id, s]) => sites.get(id) !== s)
    if (changed) sites = next
    notes = [...sites.values()].flatMap((s) => {
      const before = atStart.get(s.id)
      if (before === alarmsOf(s)) return []
      return [
        `The site file of ${s.id} ${before === undefined ? 'is new' : 'has changed'}: its readings are taken as it says now, its alarms start with the next start of the gateway.`,
      ]
    })
    return changed
  }

  return {
    poll() {
      const now = markOf(dir)
      if (now === mark) return false
      mark = now
      try {
        return take(readSiteFolder(dir))
      } catch (e) {
        faults = [{ file: dir, line: 1, field: '', message: `the folder cannot be read: ${e instanceof Error ? e.message : String(e)}; the last good site files stay in force` }]
        return false
      }
    },
    sites: () => sites,
    faults: () => faults,
    alarmFault: (site, fault) => start.alarmFault(site, fault),
    notes: () => notes,
  }
}

/** A digest: the texts of 2,000 loops would take 90 MB. */
const alarmsOf = (s: Site): string =>
  createHash('sha256')
    .update(JSON.stringify(defaultAlarms(s).defs))
    .digest('base64')

/** Changes whenever a file does. */
function markOf(dir: string): string {
  if (!existsSync(dir)) return ''
  try {
    return readdirSync(dir)
      .filter((n) => /\.ya?ml$/.test(n))
      .sort()
      .map((n) => {
        const s = statSync(join(dir, n), { throwIfNoEntry: false })
        return s ? `${n} ${s.ino} ${s.mtimeMs} ${s.size}` : n
      })
      .join('\n')
  } catch {
    return 'unreadable'
  }
}
