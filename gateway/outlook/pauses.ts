/**
 * When a loop's past may not teach what is normal: while an alarm of its process or machines stood, and while somebody was on site. Notices
 * to watch (priority alert) and alarms of the link are no trouble of the plant. Rest, planned work and the end of the contract come from the state
 * of the loop; a crash is not told by this product yet.
 */
import type { AlarmEvent, AlarmView } from '../alarms/alarm.ts'
import { pausesOfStates } from '../alarms/loop-effect.ts'
import type { StateSpan } from '../alarms/loop-state.ts'
import type { LogEntry } from '../log/entry.ts'
import type { Pause } from '../trends/learning.ts'
import { standing } from './stored.ts'

/** A visit that nobody ended is over by then. */
const LONGEST_VISIT_MS = 12 * 3_600_000

/** events in any order */
export function pausesOf(
  events: readonly AlarmEvent[],
  alarms: readonly AlarmView[],
  log: readonly LogEntry[],
  nowMs: number,
  states: readonly StateSpan[] = [],
): readonly Pause[] {
  const teaching = new Set(
    alarms.filter((a) => a.def.priority !== 'alert' && a.def.class !== 'system' && a.def.rule.kind !== 'silent' && a.def.rule.kind !== 'blind').map((a) => a.def.id),
  )
  const out: Pause[] = [...pausesOfStates(states)]
  const raised = new Map<string, number>()
  for (const e of events.toSorted((a, b) => a.atMs - b.atMs)) {
    if (!teaching.has(e.alarm)) continue
    // The plant does not know what people are told: a shelved alarm teaches nothing either.
    if (e.kind === 'raised' || e.kind === 'raised-hidden') raised.set(e.occurrence, raised.get(e.occurrence) ?? e.facts?.sinceMs ?? e.atMs)
    else if (e.kind === 'cleared' || e.kind === 'cleared-hidden' || e.kind === 'closed') {
      const fromMs = raised.get(e.occurrence)
      raised.delete(e.occurrence)
      if (fromMs !== undefined) out.push({ why: 'alarm', fromMs, toMs: Math.max(fromMs, e.atMs) })
    }
  }
  for (const a of alarms)
    if (teaching.has(a.def.id) && a.clearedMs === null && a.raisedMs !== null && a.state !== 'normal') out.push({ why: 'alarm', fromMs: a.raisedMs, toMs: null })
  const outs = standing(log, 'visit-out')
  for (const v of standing(log, 'visit-in')) {
    const end = outs.find((o) => o.atMs >= v.atMs && o.atMs - v.atMs <= LONGEST_VISIT_MS)
    const endMs = end?.atMs ?? v.atMs + LONGEST_VISIT_MS
    out.push({ why: 'on-site', fromMs: v.atMs, toMs: endMs > nowMs && !end ? null : endMs })
  }
  return out
}

/** Ends the sentence "learning is paused: ...". */
export const PAUSE_WORDS: Readonly<Record<Pause['why'], string>> = {
  alarm: 'an alarm stands',
  'on-site': 'someone is on site',
  'planned-work': 'the loop is being worked on',
  resting: 'the loop rests, or came back from rest less than 14 days ago',
  'out-of-contract': 'the loop is out of contract',
  crash: 'the biology crashed, or recovers from it for 14 days',
}
