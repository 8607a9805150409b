/** What can be asked of the alarm journal, and what comes back. */
import type { AlarmEvent } from './alarm.ts'

export interface JournalledEvent extends AlarmEvent {
  readonly seq: number
}

export interface JournalQuery {
  readonly site?: string
  readonly alarm?: string
  readonly kind?: AlarmEvent['kind']
  /** Name of the person. */
  readonly by?: string
  /** Found in the id of the alarm, the note or the name of the person, whatever their case; or the alarm is one of these rules (`tu.ph.high`) of any site. */
  readonly text?: { readonly words: string; readonly rules: readonly string[] }
  /** Only events written before this one. */
  readonly before?: number
  /** Event time: fromMs <= atMs < toMs. */
  readonly fromMs: number
  readonly toMs: number
  readonly limit: number
}
