/** What became of every message and every reading since start, as numbers that add up. */
import type { Counter } from '../port.ts'

export interface Ledger {
  messages: number
  accepted: number
  refused: number
  held: number
  readings: number
  stored: number
  duplicate: number
  conflict: number
  rejected: number
  late: number
  suspect: number
  qcSuspect: number
  qcFailed: number
  qcSpikes: number
  amended: number
  wallDoubled: number
  wallMissing: number
  listenerFailed: number
}

export const emptyLedger = (): Ledger => ({
  messages: 0,
  accepted: 0,
  refused: 0,
  held: 0,
  readings: 0,
  stored: 0,
  duplicate: 0,
  conflict: 0,
  rejected: 0,
  late: 0,
  suspect: 0,
  qcSuspect: 0,
  qcFailed: 0,
  qcSpikes: 0,
  amended: 0,
  wallDoubled: 0,
  wallMissing: 0,
  listenerFailed: 0,
})

const WORDS: Readonly<Record<keyof Ledger, readonly [name: string, what: string]>> = {
  messages: ['intakeMessages', 'Messages that arrived since start: accepted, refused and held together.'],
  accepted: ['intakeAccepted', 'Messages whose readings are stored, apart from single ones that were rejected.'],
  refused: ['intakeRefused', 'Messages refused whole; see the quarantine for the reasons.'],
  held: ['intakeHeld', 'Times a message was not acknowledged because the history could not take it. The broker or the site keeps it and sends it again.'],
  readings: ['readingsIn', 'Readings in accepted messages: stored, duplicate, conflict and rejected together.'],
  stored: ['readingsStored', 'Readings that were new to the history.'],
  duplicate: ['readingsDuplicate', 'Exact repeats of a stored reading, dropped.'],
  conflict: ['readingsConflict', 'Readings with the time of a stored one and another value, kept as corrections.'],
  rejected: ['readingsRejected', 'Readings that could not be used; see the quarantine for the reasons.'],
  late: ['readingsLate', 'Readings kept as history only: late, retained or out of order.'],
  suspect: ['readingsClockSuspect', 'Readings whose time was not believed; they carry the time they arrived.'],
  qcSuspect: ['readingsQcSuspect', 'Readings a quality test calls suspect (flag 3).'],
  qcFailed: ['readingsQcFailed', 'Readings that fail a quality test (flag 4): out of the sensor’s range, or a spike, jump or flat line beyond doubt.'],
  qcSpikes: ['readingsQcSpikes', 'Readings that the one after them showed to be spikes.'],
  amended: ['readingsAmended', 'Stored readings of which something else is said now than at first, their value unchanged.'],
  wallDoubled: ['wallClockDoubled', 'Rows in local time that fell into the hour the autumn change repeats; which of the two was told by their order.'],
  wallMissing: [
    'wallClockMissing',
    'Rows in local time that fell into the hour the spring change leaves out: that clock was not put forward. Taken as if it had still to be; check its times.',
  ],
  listenerFailed: ['listenerFailed', 'Times something behind intake failed on a message that had been taken.'],
}

export const ledgerCounters = (l: Ledger): readonly Counter[] => (Object.keys(WORDS) as (keyof Ledger)[]).map((k) => ({ name: WORDS[k][0], value: l[k], what: WORDS[k][1] }))
