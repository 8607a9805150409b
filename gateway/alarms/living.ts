/**
 * The one place where the life of an alarm at work changes. What hangs together across alarms follows from here: which one was
 * first out of its loop, and which ones are suppressed by design because another one speaks for them.
 *
 * Two suppressions are built in. A loop that is silent as a whole suppresses the "blind" alarms of its signals: one cause, one
 * call. And of several limits of one signal on one side only the highest level reached speaks (ALM-T08): the levels are alarms of
 * their own, with own steps to take and own priority, so a step up is the raise of the higher one, announced although the lower one
 * had been answered, and the lower one is suppressed while it stands. A step down ends that after the settle delay; the lower one
 * then comes back answered if either had been. Doubt never suppresses: a level whose input is held speaks for nobody.
 */
import type { AlarmEvent } from './alarm.ts'
import { inTrouble, sortTimed, viewOf, type Engine, type Now, type Run, type Told } from './engine-state.ts'
import { applyEvent, isActive } from './life.ts'
import type { LifeInput, PersonInput, Refusal } from './life-input.ts'
import { sortStanding } from './teaching.ts'
import { transition } from './lifecycle.ts'
import { isHidden, type SuppressedBy } from './overlay.ts'

export function live(engine: Engine, run: Run, input: LifeInput, now: Now, out: Told[]): Refusal | null {
  if (engine.quiet) return null
  const before = run.life
  const outcome = transition(before, input, run.facts, now.nowMs)
  if (outcome.events.length === 0) return outcome.refused
  for (const event of firstOut(run, outcome.events, inTrouble(run, outcome.life))) {
    run.life = applyEvent(run.life, event)
    out.push({ event, view: viewOf(run) })
  }
  sortTimed(engine.inside.timed, run)
  sortStanding(run.site.teaching, run)
  if (run.speaksFor.length > 0) speak(engine, run, before.acknowledgedBy ?? run.life.acknowledgedBy, now, out)
  return outcome.refused
}

/** The events, the last of them marked when this alarm is the first of its loop since all were normal. */
function firstOut(run: Run, events: readonly AlarmEvent[], troubled: boolean): readonly AlarmEvent[] {
  const { site } = run
  const was = inTrouble(run, run.life)
  if (was === troubled) return events
  site.troubled += troubled ? 1 : -1
  if (!troubled || site.troubled > 1) return events
  site.trouble++
  return events.map((e, i) => (i === events.length - 1 ? { ...e, facts: { ...e.facts, firstOut: site.trouble } } : e))
}

function speak(engine: Engine, run: Run, answeredBy: string | null, now: Now, out: Told[]): void {
  for (const other of run.speaksFor) {
    other.own = ownClaim(other)
    reconcile(engine, other, answeredBy, now, out)
  }
}

/** Why an alarm is suppressed by what is built in; null: it is not. */
export function ownClaim(run: Run): SuppressedBy | null {
  for (const other of run.spokenForBy) {
    const { life, def } = other
    if (!isActive(life)) continue
    if (def.rule.kind === 'silent') return { ruleId: def.id, reason: 'nothing is heard of the whole loop' }
    if (life.heldSinceMs === null && other.heldMs === null && !isHidden(life)) return { ruleId: def.id, reason: `"${def.what}" speaks for it` }
  }
  return null
}

/** Brings what lies over an alarm by design in line with what asks for it. */
export function reconcile(engine: Engine, run: Run, answeredBy: string | null, now: Now, out: Told[]): void {
  const want = run.outer ?? run.own
  const has = run.life.suppressed
  const { nowMs } = now
  if (want) {
    live(engine, run, { kind: 'suppress', atMs: nowMs, ...want, level: isLevel(run, want.ruleId) }, now, out)
  } else if (has?.endsMs === null) {
    const settleMs = settleOf(run)
    live(engine, run, { kind: 'settle', atMs: nowMs, endsMs: nowMs + settleMs, answeredBy: isLevel(run, has.ruleId) ? answeredBy : null }, now, out)
    if (settleMs === 0) live(engine, run, { kind: 'unsuppress', atMs: nowMs, level: isLevel(run, has.ruleId) }, now, out)
  }
}

/** A higher level of the same signal asks for it. */
export const isLevel = (run: Run, ruleId: string): boolean => run.spokenForBy.some((r) => r.def.id === ruleId && r.def.rule.kind === 'limit')

/** As long as a raise would take: what was hidden must hold for that long before it is told. */
const settleOf = (run: Run): number => (run.def.rule.kind === 'blind' ? run.def.rule.afterMs : run.rule.delays().onMs)

export interface Answer {
  readonly told: readonly Told[]
  readonly refused: Refusal | null
}

/** A person acts on an alarm. null: no such alarm. */
export function act(engine: Engine, alarm: string, input: PersonInput, now: Now): Answer | null {
  const run = engine.runs.get(alarm)
  if (!run) return null
  const told: Told[] = []
  const refused = live(engine, run, input, now, told)
  return { told, refused }
}

/** A rule outside the engine suppresses an alarm, or (null) no longer does. null: no such alarm, or the alarm itself starts that rule. */
export function suppress(engine: Engine, alarm: string, by: SuppressedBy | null, now: Now): readonly Told[] | null {
  const run = engine.runs.get(alarm)
  if (!run || by?.ruleId === alarm) return null
  const told: Told[] = []
  run.outer = by
  reconcile(engine, run, null, now, told)
  return told
}
