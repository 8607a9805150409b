/** Reads a folder of site files: every good one becomes a loop, every broken one a list of faults; the rest goes on. */
import { existsSync, readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import type { AlarmFault } from './alarms/overrides.ts'
import { readSiteFile, type SiteFault } from './site/site-file.ts'
import type { Site } from './site/site.ts'

export interface SiteFolder {
  readonly sites: ReadonlyMap<string, Site>
  /** File each loop was read from. */
  readonly fileOf: ReadonlyMap<string, string>
  /** A change of an alarm that cannot be taken, as a fault of the file it stands in. */
  alarmFault(site: string, fault: AlarmFault): SiteFault
  readonly faults: readonly SiteFault[]
  /** Files looked at. */
  readonly files: number
}

/** Site files (*.yaml, *.yml) of `dir`, in the order of their names. A folder that is not there holds none. */
export function readSiteFolder(dir: string): SiteFolder {
  const sites = new Map<string, Site>()
  const fileOf = new Map<string, string>()
  const lines = new Map<string, ReadonlyMap<string, number>>()
  const faults: SiteFault[] = []
  const names = existsSync(dir)
    ? readdirSync(dir)
        .filter((n) => /\.ya?ml$/.test(n))
        .sort()
    : []
  for (const file of names) {
    let text: string
    try {
      text = readFileSync(join(dir, file), 'utf8')
    } catch (e) {
      faults.push({ file, line: 1, field: '', message: `cannot be read: ${e instanceof Error ? e.message : String(e)}` })
      continue
    }
    const result = readSiteFile(file, text)
    if (!result.ok) faults.push(...result.faults)
    else if (sites.has(result.site.id)) faults.push({ file, line: 1, field: 'id', message: `"${result.site.id}" found: another file of this folder has the same id` })
    else {
      sites.set(result.site.id, result.site)
      fileOf.set(result.site.id, file)
      lines.set(result.site.id, result.alarmLines)
    }
  }
  const alarmFault = (site: string, f: AlarmFault): SiteFault => ({
    file: fileOf.get(site) ?? site,
    line: lines.get(site)?.get(f.key) ?? 1,
    field: `alarms.${f.key}`,
    message: f.message,
  })
  return { sites, fileOf, alarmFault, faults, files: names.length }
}
