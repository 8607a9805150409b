/** Two whole loops with the alarms they get by default: one that sees nearly everything, one that sees little. */
import { readFileSync } from 'node:fs'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import { readSiteFile } from '../../gateway/site/site-file.ts'

function loop(id: string) {
  const name = `${id}.yaml`
  const read = readSiteFile(name, readFileSync(new URL(`../../simulator/fleets/demo/${name}`, import.meta.url), 'utf8'))
  if (!read.ok) throw new Error(read.faults.map((f) => f.message).join('; '))
  return { site: read.site, defs: defaultAlarms(read.site).defs }
}

export const alarmsFor = { rich: loop('kestrow-berth-3'), poor: loop('brackfold-refuse-depot') }
