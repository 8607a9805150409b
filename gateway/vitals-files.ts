/**
 * What the vitals of a loop remember (a week of sums, tests, wash blocks) kept across restarts, one small file a loop. Lost or damaged, a loop begins
 * anew and withholds what needs a week until it has one.
 */
import { mkdirSync, readFileSync, renameSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { z } from 'zod'
import type { Kept } from './vitals/memory.ts'

const fileSchema = z.object({ form: z.number().int(), states: z.record(z.string(), z.looseObject({}).or(z.array(z.unknown()))) })

export interface VitalFiles {
  read(site: string): Kept | null
  /** False: the disk did not take it; what was written before stays. */
  write(site: string, kept: Kept): boolean
}

/** Site ids are file names by their own rule. */
export function openVitalFiles(dir: string): VitalFiles {
  const fileOf = (site: string): string => join(dir, `${site}.json`)
  return {
    read(site) {
      try {
        const read = fileSchema.safeParse(JSON.parse(readFileSync(fileOf(site), 'utf8')))
        return read.success ? read.data : null
      } catch {
        return null
      }
    },
    write(site, kept) {
      try {
        mkdirSync(dir, { recursive: true })
        writeFileSync(`${fileOf(site)}.new`, JSON.stringify(kept))
        renameSync(`${fileOf(site)}.new`, fileOf(site))
        return true
      } catch {
        return false
      }
    },
  }
}
