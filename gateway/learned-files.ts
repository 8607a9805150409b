/**
 * What the rules of a site have learned, one small file a site, written in turn. Lost or damaged, its rules begin anew and say nothing until
 * they have learned enough.
 */
import { mkdirSync, readFileSync, renameSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { learnedSchema, type LearnedFiles } from './alarms/learned.ts'

/** Site ids are file names by their own rule. */
export function openLearnedFiles(dir: string): LearnedFiles {
  const fileOf = (site: string): string => join(dir, `${site}.json`)
  return {
    read(site) {
      try {
        const read = learnedSchema.safeParse(JSON.parse(readFileSync(fileOf(site), 'utf8')))
        return read.success ? read.data : null
      } catch {
        return null
      }
    },
    write(site, learned) {
      try {
        mkdirSync(dir, { recursive: true })
        writeFileSync(`${fileOf(site)}.new`, JSON.stringify(learned))
        renameSync(`${fileOf(site)}.new`, fileOf(site))
        return true
      } catch {
        return false
      }
    },
  }
}
