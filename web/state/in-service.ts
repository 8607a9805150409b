/** The state of a loop that nobody has said anything about. */
import type { LoopBody } from '../../server/wire.ts'

export const IN_SERVICE: LoopBody['state'] = {
  is: 'in-service',
  sinceMs: 0,
  untilMs: null,
  by: 'site file',
  why: null,
  overdue: false,
  life: { state: 'in-service', fromMs: 0, untilMs: null, by: 'site file', why: null },
  work: null,
  visits: [],
  words: [],
  checks: [],
}
