/** One line of the due list: work that has a date and calls nobody. What cannot wait is an alarm and stands elsewhere. */
import type { EntryKind } from '../log/entry.ts'
import type { Site } from '../site/site.ts'

export const DUE_KINDS = ['stock', 'service', 'probe', 'protection', 'kit', 'condition', 'review'] as const
export type DueKind = (typeof DUE_KINDS)[number]

export interface DueItem {
  readonly site: string
  /** Unique in its site: `service hp`. */
  readonly id: string
  readonly kind: DueKind
  /** What to do: "Calibrate pH, treatment unit". */
  readonly what: string
  /** Stage it is done at; null: none in particular. */
  readonly stage: string | null
  /** ms since 1970 UTC; in the past: overdue since then. null: nothing says when it was last done, so it is due. */
  readonly dueMs: number | null
  readonly why: string
  /** What to take along; empty: nothing. */
  readonly bring: string
  /** The entry of the site log that settles it; null: it goes by itself, or the entry needs figures. */
  readonly settles: { readonly kind: EntryKind; readonly about?: string; readonly item?: string } | null
}

export const DAY_MS = 86_400_000

/** A thing done every so often: due so long after the last time. `never`: why it is due when nothing says it was done. */
export function every(days: number, lastMs: number | null): { readonly dueMs: number | null; readonly every: string } {
  return { dueMs: lastMs === null ? null : lastMs + days * DAY_MS, every: spelled(days) }
}

/** 14 -> "every 14 days", 31 -> "every month", 365 -> "every year". */
function spelled(days: number): string {
  if (days === 365) return 'every year'
  const months = days / 31
  return Number.isInteger(months) ? (months === 1 ? 'every month' : `every ${months} months`) : `every ${days} days`
}

const dates = new Map<string, Intl.DateTimeFormat>()

/** `29 Oct 2026` on the wall clock of the site. */
export function dateIn(site: Pick<Site, 'zone'>, ms: number): string {
  let f = dates.get(site.zone)
  if (!f) dates.set(site.zone, (f = new Intl.DateTimeFormat('en-GB', { timeZone: site.zone, day: 'numeric', month: 'short', year: 'numeric' })))
  return f.format(ms)
}

/** "acid pump", "pH probe" in the middle of a sentence. */
export const inSentence = (name: string): string => (/^[A-Z][a-z]/.test(name) ? name.slice(0, 1).toLowerCase() + name.slice(1) : name)
