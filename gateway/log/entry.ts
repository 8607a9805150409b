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
  'gas-measured',
  'complaint',
  'note',
] as const
export type EntryKind = (typeof ENTRY_KINDS)[number]

/** Before this nobody had a loop: 2000-01-01T00:00:00Z. */
const EARLIEST_MS = 946_684_800_000

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
      .min(EARLIEST_MS, 'a time after the year 2000, in ms since 1970 UTC')
      .max(2 ** 45, 'a time in ms since 1970 UTC'),
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
  .superRefine((e, ctx) => {
    const message = lacks(e)
    if (message !== null) ctx.addIssue({ code: 'custom', message })
  })

interface Said {
  readonly kind: EntryKind
  readonly about?: string | undefined
  readonly item?: string | undefined
  readonly value?: number | undefined
  readonly text?: string | undefined
}

/** What an entry of its kind must say and does not, as a sentence; null: nothing. Later readers compute with what is written here. */
function lacks(e: Said): string | null {
  if (e.kind.startsWith('visit')) return null
  if (e.kind === 'kit') {
    if (!e.item) return 'a kit or laboratory value needs what was measured, such as alkalinity or pH'
    if (e.value === undefined) return `a value of ${e.item} is missing`
    if (e.value < 0 && !/redox|temperature/i.test(e.item)) return `${e.item} of ${e.value}: less than nothing cannot be measured`
    if (e.item.toLowerCase() === 'ph' && e.value > 14) return `a pH of ${e.value}: 0 to 14 is the scale`
  }
  if (e.kind === 'gas-measured') {
    if (e.value === undefined || e.value < 0) return 'what the meter showed is missing, in ppm'
    return e.item ? null : 'which gas was measured is missing'
  }
  if (e.kind === 'interlock-proved' && !e.about && !e.text) return 'which protection was proved is missing'
  if ((e.kind === 'refill' || e.kind === 'replacement' || e.kind === 'calibration') && !e.item && !e.text && !e.about) return 'what it was done to is missing'
  return e.text === undefined && e.value === undefined && !e.item && !e.about ? 'an entry says something: what, how much, or a sentence' : null
}

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
