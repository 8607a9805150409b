/**
 * What a loop's state does to its alarms, its learning and to waking people, as one table:
 *
 *   someone on site, planned work   alarms go to those who are there or announced it; nothing escalates but safety and environment
 *   15 min after the last check-out  the same, to those who left: the post-visit check looks first
 *   visit overdue                   nothing is held back any more
 *   commissioning, resting, and 14 days after a rest   absolute limits only, learned rules are silent
 *   out of contract                 nothing wakes anybody; safety and environment stay on the page
 *
 * Nothing here ever holds back an alarm of class safety or environment.
 */
import { learnedRulesSilent, type Pause } from '../trends/learning.ts'
import type { AlarmDef } from './alarm.ts'
import { isLearned } from './learned-rule.ts'
import type { LoopNow, StateSpan } from './loop-state.ts'

/** Which design rule holds an alarm back, and its sentence. */
export interface Suppression {
  readonly ruleId: string
  readonly reason: string
}

export interface StateEffect {
  /** null: it calls as usual. */
  readonly suppress: Suppression | null
  /** Those it goes to all the same; null: everybody, or nobody when suppressed. */
  readonly onlyTo: readonly string[] | null
  /** May it wake somebody at night? */
  readonly wake: boolean
}

const AS_USUAL: StateEffect = { suppress: null, onlyTo: null, wake: true }
const held = (ruleId: string, reason: string, onlyTo: readonly string[] | null = null): StateEffect => ({ suppress: { ruleId, reason }, onlyTo, wake: false })

export function effectOf(def: Pick<AlarmDef, 'class' | 'rule'>, now: LoopNow, nowMs: number): StateEffect {
  const hurts = def.class === 'safety' || def.class === 'environment'
  if (now.life.state === 'out-of-contract') {
    return hurts ? { ...AS_USUAL, wake: false } : held('loop-state/out-of-contract', `The loop is out of contract${because(now.life.why)}: nobody is called.`)
  }
  if (hurts) return AS_USUAL
  if (now.visits.length > 0) {
    if (!now.visits.every((v) => v.overdue)) {
      const there = now.visits.filter((v) => !v.overdue).map((v) => v.person)
      return held('loop-state/on-site', `${there.join(', ')} ${there.length === 1 ? 'is' : 'are'} on site${because(now.why)}: told to them only.`, there)
    }
  } else if (now.leaving) {
    return held('loop-state/after-visit', `${now.leaving.people.join(', ')} left less than 15 min ago: told to them first, while the post-visit check looks.`, now.leaving.people)
  }
  if (now.work) return held('loop-state/planned-work', `Planned work${because(now.work.why)}: told to ${now.work.by} only.`, [now.work.by])
  const silent = isLearned(def.rule) ? learnedSilent(now, nowMs) : null
  return silent === null ? AS_USUAL : held(`loop-state/${now.life.state === 'in-service' ? 'restart' : now.life.state}`, `${silent}.`)
}

const because = (why: string | null): string => (why === null ? '' : ` (${why})`)

/** Why learned rules are silent, without its full stop; null: they may speak. */
export function learnedSilent(now: LoopNow, nowMs: number): string | null {
  if (now.life.state === 'resting') return 'The loop rests: absolute limits only'
  if (now.restartUntilMs !== null) return 'The loop came back from a rest less than 14 days ago: absolute limits only'
  if (now.life.state === 'commissioning') return 'The loop is being commissioned: absolute limits only'
  if (now.commissionedMs === null) return null
  const still = learnedRulesSilent(nowMs, now.commissionedMs, [])
  return still === null ? null : still.slice(0, 1).toUpperCase() + still.slice(1)
}

const PAUSES_LEARNING: ReadonlySet<string> = new Set(['on-site', 'planned-work', 'resting', 'out-of-contract'] satisfies Pause['why'][])

/** The spans that may teach nothing; the 14 days after a rest are added by the plan of learning itself. */
export function pausesOfStates(spans: readonly StateSpan[]): readonly Pause[] {
  return spans.flatMap((s): Pause[] => (PAUSES_LEARNING.has(s.state) ? [{ why: s.state as Pause['why'], fromMs: s.fromMs, toMs: s.toMs }] : []))
}

/** May what the loop does now teach what is normal to the rules of its alarms? The same spans as `pausesOfStates`, and the 14 days after a rest. */
export const learningPaused = (now: LoopNow): boolean =>
  now.visits.length > 0 || now.work !== null || now.life.state === 'resting' || now.restartUntilMs !== null || now.life.state === 'out-of-contract'

/** What the state does, as sentences for the page. */
export function effectWords(now: LoopNow, nowMs: number): readonly string[] {
  const out: string[] = []
  const held = effectOf({ class: 'process', rule: { kind: 'silent', afterMs: 0 } }, now, nowMs)
  if (held.onlyTo)
    out.push(`Alarms of this loop go to ${held.onlyTo.join(' and ')} only${now.leaving ? ' while the check after the visit looks' : ''}; safety and environment call as usual.`)
  else if (held.suppress) out.push('The loop is out of contract: alarms wake nobody; those of safety and environment stay on the page.')
  const silent = learnedSilent(now, nowMs)
  if (silent !== null) out.push(`${silent}; learned rules are silent.`)
  if (now.overdue) out.push('The check-out is overdue: alarms go to everybody again.')
  if (learningPaused(now)) out.push('What is normal is not learned meanwhile.')
  return out
}
