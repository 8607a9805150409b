/**
 * The site log: what people saw, measured, filled, replaced and did, as typed entries. Entries are
 * append-only; a wrong one is corrected by a later one that names it.
 */
import { z } from 'zod'

export const ENTRY_KINDS = [
  'kit',
  'calibration',
  'refill',
  'replacement',
  'blowdown',
  'observation',
  'unusual-wash',
  'visit-in',
  'visit-out',
  'interlock-proved',
  'complaint',
  'note',
] as const
export type EntryKind = (typeof ENTRY_KINDS)[number]

const line = z.string().trim().min(1).max(500)

/** What a person sends; the server adds id, who and when it was written down. */
export const newEntrySchema = z
  .strictObject({
    site: z.string().min(1).max(64),
    kind: z.enum(ENTRY_KINDS),
    /** When it happened, ms since 1970 UTC. */
    atMs: z
      .number()
      .int()
      .min(0)
      .max(2 ** 45),
    /** Stage, equipment or signal id it is about. */
    about: z.string().max(120).optional(),
    /** kit: what was measured. calibration: buffer or air. refill: what. observation: foam, colour, smell. */
    item: z.string().trim().max(80).optional(),
    value: z.number().optional(),
    /** calibration: value before adjustment is `asFound`, after it `value`. */
    asFound: z.number().optional(),
    unit: z.string().max(20).optional(),
    /** The value is a detection limit: "less than". */
    below: z.boolean().optional(),
    text: line.optional(),
    /** Id of an entry this one puts right. */
    corrects: z.number().int().positive().optional(),
  })
  .refine(
    (e) => e.text !== undefined || e.value !== undefined || e.item !== undefined || e.kind.startsWith('visit') || e.kind === 'interlock-proved',
    'an entry says something: text, item or value',
  )

export type NewEntry = z.infer<typeof newEntrySchema>

export interface LogEntry extends NewEntry {
  readonly id: number
  readonly by: string
  readonly recordedMs: number
}

export interface SiteLog {
  add(entry: NewEntry, by: string): Promise<LogEntry>
  /** Entries with fromMs <= atMs < toMs, newest first, at most `limit`. */
  list(q: { readonly site?: string; readonly fromMs: number; readonly toMs: number; readonly limit: number }): Promise<readonly LogEntry[]>
}
