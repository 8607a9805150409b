/**
 * Follows the folder of site files while the gateway runs. A file that breaks or goes does not take its loop with it: the last good
 * version stays in force and the fault is told.
 */
import { existsSync, readFileSync, readdirSync, statSync } from 'node:fs'
import { join } from 'node:path'
import { readSiteFolder, type SiteFolder } from './site-folder.ts'
import { readSiteFile, type SiteFault } from './site/site-file.ts'
import type { Site } from './site/site.ts'

export interface SiteWatch {
  /** Looks; true: sites have changed. */
  poll(): boolean
  /** A new map after each change; sites whose file did not change stay the same objects. */
  sites(): ReadonlyMap<string, Site>
  faults(): readonly SiteFault[]
  /** Files that could be read when it last looked, with the site each holds. */
  readable(): ReadonlyMap<string, Site>
  /** A site as its file says now, read anew; null: it cannot be. */
  read(site: string): Site | null
  /** A change of an alarm that cannot be taken, as a fault of the file it stands in now. */
  alarmFault: SiteFolder['alarmFault']
}

export function createSiteWatch(dir: string): SiteWatch {
  // The mark first: what changes while we read differs from it and is looked at again.
  let mark = markOf(dir)
  const start = readSiteFolder(dir)
  let sites = start.sites
  let faults = start.faults
  const files = new Map(start.fileOf)
  let newest = start

  const take = (folder: SiteFolder): boolean => {
    const next = new Map<string, Site>()
    for (const [id, file] of folder.fileOf) files.set(id, file)
    newest = folder
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
    readable: () =>
      new Map(
        [...newest.fileOf].flatMap(([id, file]) => {
          const site = newest.sites.get(id)
          return site ? [[file, site] as const] : []
        }),
      ),
    read(id) {
      const file = files.get(id)
      if (file === undefined) return null
      try {
        const result = readSiteFile(file, readFileSync(join(dir, file), 'utf8'))
        return result.ok && result.site.id === id ? result.site : null
      } catch {
        return null
      }
    },
    alarmFault: (site, fault) => newest.alarmFault(site, fault),
  }
}

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
