/** Words for the state of a loop and for what a check after a visit found. */
import type { LoopStateBody } from '../../server/wire.ts'
import { moment } from './times.ts'

type Name = LoopStateBody['is']
type Outcome = LoopStateBody['checks'][number]['lines'][number]['outcome']

/** Letters of the alarms (A B C W) are not used here. `null`: nothing to show, the usual state. */
export const STATE_LETTER: Readonly<Record<Name, string | null>> = {
  'in-service': null,
  commissioning: 'N',
  resting: 'R',
  'out-of-contract': 'X',
  'planned-work': 'P',
  'on-site': 'S',
}
export const STATE_SAY: Readonly<Record<Name, string>> = {
  'in-service': 'in service',
  commissioning: 'commissioning',
  resting: 'resting',
  'out-of-contract': 'out of contract',
  'planned-work': 'planned work',
  'on-site': 'someone on site',
}
const OUTCOME_SAY: Readonly<Record<Outcome, string>> = { runs: 'runs again', 'not-yet': 'not yet', 'not-seen': 'not seen', 'cannot-tell': 'cannot tell' }

/** A selector does not run, and a link neither. */
export const outcomeWords = (l: { readonly part: string; readonly outcome: Outcome }): string =>
  l.outcome === 'runs' && l.part === 'selector' ? 'in auto' : l.outcome === 'runs' && l.part === 'link' ? 'up' : OUTCOME_SAY[l.outcome]

/** "someone on site until 15:00", "check-out overdue". */
export function stateShort(s: Pick<LoopStateBody, 'is' | 'overdue' | 'untilMs'>, zone: string, nowMs: number): string {
  if (s.overdue) return 'check-out overdue'
  return s.untilMs === null ? STATE_SAY[s.is] : `${STATE_SAY[s.is]} until ${moment(s.untilMs, zone, nowMs)}`
}

/** Words of the record, newest first: who said what. */
export function saidWords(
  r: { readonly act: string; readonly state: Name | null; readonly person: string | null; readonly untilMs: number | null; readonly fromMs: number | null },
  zone: string,
  nowMs: number,
): string {
  if (r.act === 'power-back') return r.fromMs === null ? 'power back' : `power back, off since ${moment(r.fromMs, zone, nowMs)}`
  const until = r.untilMs === null ? '' : ` until ${moment(r.untilMs, zone, nowMs)}`
  if (r.state === 'on-site') return r.act === 'begin' ? `${r.person ?? 'somebody'} on site${until}` : `${r.person ?? 'somebody'} has left`
  return `${r.act === 'end' ? 'end of ' : ''}${STATE_SAY[r.state ?? 'in-service']}${until}`
}
