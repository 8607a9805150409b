/**
 * The frozen first normals of a loop, one small file each. They are never changed; a replaced part gets a further one. A lost file is made anew from what
 * history still holds, and then says later days.
 */
import { mkdirSync, readFileSync, renameSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { z } from 'zod'
import type { CommissioningValue } from './trends/two-normals.ts'

export type Sheet = ReadonlyMap<string, readonly CommissioningValue[]>

const sheetSchema = z.record(z.string(), z.array(z.object({ value: z.number(), sd: z.number().positive(), atMs: z.number() })))

export interface NormalFiles {
  read(site: string): Sheet
  /** False: the disk did not take it; what was written before stays. */
  write(site: string, sheet: Sheet): boolean
}

/** Site ids are file names by their own rule. */
export function openNormalFiles(dir: string): NormalFiles {
  const fileOf = (site: string): string => join(dir, `${site}.json`)
  return {
    read(site) {
      try {
        const read = sheetSchema.safeParse(JSON.parse(readFileSync(fileOf(site), 'utf8')))
        return new Map(read.success ? Object.entries(read.data) : [])
      } catch {
        return new Map()
      }
    },
    write(site, sheet) {
      try {
        mkdirSync(dir, { recursive: true })
        writeFileSync(`${fileOf(site)}.new`, JSON.stringify(Object.fromEntries(sheet)))
        renameSync(`${fileOf(site)}.new`, fileOf(site))
        return true
      } catch {
        return false
      }
    },
  }
}
