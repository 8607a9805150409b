/** One line of what comes next: a limit, an empty drum or a service, and when; or why that cannot be told and what would unlock it. */
import type { Outlook } from '../trends/outlook.ts'

export interface Expected {
  /** Signal, consumable or machine it speaks of. */
  readonly id: string
  /** "Finished water at 8 %", "Acid used up", "Service of the pressure washer". */
  readonly what: string
  /** Stage it belongs to; null: the loop as a whole. */
  readonly stage: string | null
  readonly kind: 'limit' | 'stock' | 'service'
  readonly outlook: Outlook
  /** On what it rests: ends "at ...". null: nothing could be used. */
  readonly basis: string | null
  /** How much is left; null: not known, or no amount. */
  readonly left: { readonly value: number; readonly unit: string } | null
  /** Signal, meter, site-file field or log entry that would change a withheld one; null: nothing would, or only time. */
  readonly unlock: string | null
}

/** "acid pump", "pH probe" in the middle of a sentence. */
export const inSentence = (name: string): string => (/^[A-Z][a-z]/.test(name) ? name.slice(0, 1).toLowerCase() + name.slice(1) : name)

const WAIT = 'Time: nothing else is missing'

/** What would change a withheld line that lacks no signal: time, readings, or nothing, because there is nothing to tell. */
export const waiting = (o: Outlook): string | null =>
  o.kind !== 'not-observable' ? null : /needed/.test(o.because) ? WAIT : o.because.endsWith('old') ? 'Readings: none came lately' : null

/** A late end further off than the method looks ahead is no date: there is no sure end. */
export const openEnded = (o: Outlook, untilMs: number): Outlook => (o.kind === 'forecast' && o.highMs > untilMs ? { ...o, highMs: Number.POSITIVE_INFINITY } : o)
