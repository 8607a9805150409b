/** The record of an alarm that a site file brings itself, as far as the file says: what is not written down is said to be so. */
import type { AlarmOverride } from '../site/site.ts'
import { PRACTICE, type Draft } from './draft.ts'

type FileRecord = Pick<Draft, 'cause' | 'consequence' | 'action' | 'respondWithinMin' | 'cautions' | 'basis' | 'class' | 'severity' | 'latching'>

/** `what`: "limit" or "rule"; `look`: what anybody can do who knows nothing more. */
export const recordOf = (change: AlarmOverride, what: string, look: string): FileRecord => ({
  cause: change.cause ?? `Not written down for this ${what}.`,
  consequence: change.consequence ?? `Not written down for this ${what}.`,
  action: change.action ?? [look],
  respondWithinMin: change.respondWithinMin ?? 240,
  cautions: [],
  basis: PRACTICE,
  class: 'process',
  severity: 'minor',
  latching: false,
})
