/**
 * How far the past of each loop has been gone through, one file a loop, beside what its vitals remember. No file: it is to be looked at. So whoever puts
 * readings of the past into the history while the gateway is stopped removes the file.
 */
import { mkdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { z } from 'zod'
import type { Running } from './vitals/evaluator.ts'
import type { Kept } from './vitals/memory.ts'

const stretchSchema = z.object({ fromMs: z.number(), toMs: z.number() })
const gradeSchema = z.object({ quality: z.enum(['good', 'uncertain', 'bad']), sub: z.string(), qc: z.number() })
const underWaySchema = z.object({
  fromMs: z.number(),
  holes: z.array(stretchSchema),
  takeOver: z.boolean(),
  /** Everything before it has been taken, and what was computed of it stored. */
  cursorMs: z.number(),
  kept: z.object({ form: z.number().int(), states: z.record(z.string(), z.looseObject({}).or(z.array(z.unknown()))) }).nullable(),
  running: z
    .object({
      nextBeatMs: z.number().nullable(),
      hourMs: z.number().nullable(),
      logged: z.boolean(),
      slots: z.record(z.string(), z.object({ atMs: z.number(), value: z.number().nullable(), grade: gradeSchema })),
      desks: z.record(z.string(), z.looseObject({ version: z.number() })),
    })
    .nullable(),
})
const FORM = 1
const fileSchema = z.object({ form: z.literal(FORM), underWay: underWaySchema.nullable(), replayedMs: z.number().nullable(), again: z.boolean() })

export interface UnderWay {
  readonly fromMs: number
  readonly holes: readonly { readonly fromMs: number; readonly toMs: number }[]
  readonly takeOver: boolean
  readonly cursorMs: number
  readonly kept: Kept | null
  readonly running: Running | null
}

export interface PastState {
  readonly underWay: UnderWay | null
  /** When a past was last gone through to its end; null: never. */
  readonly replayedMs: number | null
  /** Readings of the past have come since it was looked at. */
  readonly again: boolean
}

export interface PastFiles {
  /** null: not looked at yet. */
  read(site: string): PastState | null
  /** False: the disk did not take it; what was written before stays. */
  write(site: string, state: PastState): boolean
  /** The loop is to be looked at anew. */
  remove(site: string): void
}

/** In the folder of what vitals remember (`vitals` of the data folder). Site ids are file names by their own rule. */
export function openPastFiles(vitalsDir: string): PastFiles {
  const dir = join(vitalsDir, 'past')
  const fileOf = (site: string): string => join(dir, `${site}.json`)
  return {
    read(site) {
      try {
        const read = fileSchema.safeParse(JSON.parse(readFileSync(fileOf(site), 'utf8')))
        // Written below: quality words and flags are what they were.
        return read.success ? (read.data as PastState) : null
      } catch {
        return null
      }
    },
    write(site, state) {
      try {
        mkdirSync(dir, { recursive: true })
        writeFileSync(`${fileOf(site)}.new`, JSON.stringify({ form: FORM, ...state }))
        renameSync(`${fileOf(site)}.new`, fileOf(site))
        return true
      } catch {
        return false
      }
    },
    remove: (site) => rmSync(fileOf(site), { force: true }),
  }
}
