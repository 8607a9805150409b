/**
 * The wake rule: whether acting now beats acting at the next staffed hour. It may lower a call, never the alarm, and never
 * a release or gas. Pure arithmetic on four moments; where a time to harm is not known its low end stands for it, never "long".
 *
 *   harm later than desk + reach      morning list, with the moment at which somebody must leave
 *   harm sooner than reach            with somebody at the yard: call the yard, it cannot be prevented from afar;
 *                                     with nobody there: wake, going limits the damage
 *   else                              wake, with the latest useful departure
 *
 * Common practice, no source.
 */
export interface WakeQuestion {
  readonly nowMs: number
  readonly priority: 'high' | 'medium' | 'low' | 'alert'
  /** people: gas, or a danger to whoever is there. release: water or chemical leaves the containment. Neither is ever lowered. */
  readonly exempt: 'people' | 'release' | null
  /** When harm is due if nobody acts: low end first. `highMs` null: nothing bounds it. */
  readonly harm: { readonly lowMs: number; readonly highMs: number | null }
  /** A gap in our sight alone proves no harm: wakes only once it could have happened unseen, or when trouble stood before. */
  readonly blind: { readonly abnormalBefore: boolean } | null
  /** Minutes until somebody from outside is at the plant. */
  readonly driveMin: number
  /** Minutes until somebody at the yard has acted on a call; null: nobody is there, or there is no number. */
  readonly yardMin: number | null
  /** Next moment at which the desk is staffed; `nowMs`: it is now. */
  readonly deskMs: number
  /** Somebody who has this loop's alarms is on site; they are told, nobody is woken. */
  readonly onSite: string | null
  /** The state of the loop lets nobody be woken (out of contract); why. */
  readonly asleep: string | null
}

/** wake: a phone rings now. call-yard: a phone rings, and the first thing is to call the yard. morning: first staffed hour. day: whenever the list is read. */
export type Verdict = 'wake' | 'call-yard' | 'on-site' | 'morning' | 'day' | 'none'

export type Because = 'exempt' | 'low' | 'alert' | 'on-site' | 'loop-state' | 'desk-staffed' | 'can-wait' | 'blind-yet' | 'too-late' | 'in-time'

export interface Judgement {
  readonly verdict: Verdict
  readonly because: Because
  /** true: a phone rings outside staffed hours, or at once within them. */
  readonly rings: boolean
  readonly judgedMs: number
  readonly harm: WakeQuestion['harm']
  readonly reachMin: number
  readonly reachBy: 'yard' | 'drive'
  readonly deskMs: number
  /** Latest departure that is in time for the low end of harm; past: it can no longer be prevented. */
  readonly leaveByMs: number
}

export interface WakeNote extends Judgement {
  /** Ends the sentence "Harm is reckoned from ...". */
  readonly harmFrom: string
  /** Somebody is at the yard by its staffed hours; null: those are not written down. */
  readonly staffedNow: boolean | null
  readonly yardPhone: string | null
}

const MIN = 60_000

/** gives the verdict at `q.nowMs`; asked again every 10 min, it may turn from "morning" to "wake" as harm comes nearer or the desk does not. */
export function judgeWake(q: WakeQuestion): Judgement {
  const byYard = q.yardMin !== null && q.yardMin <= q.driveMin
  const reachMin = byYard ? (q.yardMin ?? q.driveMin) : q.driveMin
  const leaveByMs = q.harm.lowMs - reachMin * MIN
  const say = (verdict: Verdict, because: Because): Judgement => ({
    verdict,
    because,
    rings: verdict === 'wake' || verdict === 'call-yard',
    judgedMs: q.nowMs,
    harm: q.harm,
    reachMin,
    reachBy: byYard ? 'yard' : 'drive',
    deskMs: q.deskMs,
    leaveByMs,
  })
  if (q.priority === 'alert') return say('none', 'alert')
  if (q.exempt !== null) return say('wake', 'exempt')
  if (q.asleep !== null) return say('day', 'loop-state')
  if (q.priority === 'low') return say('day', 'low')
  if (q.onSite !== null) return say('on-site', 'on-site')
  if (q.deskMs <= q.nowMs) return say('wake', 'desk-staffed')
  if (q.blind !== null && !q.blind.abnormalBefore && q.harm.lowMs > q.nowMs) return say('morning', 'blind-yet')
  if (q.harm.lowMs > q.deskMs + reachMin * MIN) return say('morning', 'can-wait')
  if (q.nowMs + reachMin * MIN > q.harm.lowMs) return say(byYard ? 'call-yard' : 'wake', 'too-late')
  return say('wake', 'in-time')
}
