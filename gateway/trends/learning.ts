/**
 * When may a loop's own past teach what is normal? Not while something was wrong, worked on, resting or freshly crashed: a baseline
 * that learns a dying biology calls death normal. Alarms, planned work, people on site, rest and out-of-contract spans pause it, a
 * crash pauses it from its start to 14 days after its end, a restart after rest for as long. A part replaced cuts: what was before
 * it belongs to the old part.
 *
 * Commissioning teaches (it has to), but for its first weeks learned rules stay silent and only absolute limits speak.
 * source  common practice, no source
 * cost    O(pauses) per question
 */
import { positive } from '../process/range.ts'
import { DAY_MS } from './points.ts'

export const PAUSES = ['alarm', 'planned-work', 'on-site', 'resting', 'out-of-contract', 'crash'] as const

export interface Pause {
  readonly why: (typeof PAUSES)[number]
  readonly fromMs: number
  /** null: still going on. */
  readonly toMs: number | null
}

export interface LearningPlan {
  /** After a crash, 0 or more. */
  readonly afterCrashMs: number
  /** After a rest: the restart has a course of its own. */
  readonly afterRestMs: number
  /** Learned rules are silent this long after commissioning; 4 to 8 weeks are usual. */
  readonly silentMs: number
}

export const LEARNING: LearningPlan = { afterCrashMs: 14 * DAY_MS, afterRestMs: 14 * DAY_MS, silentMs: 28 * DAY_MS }

/** The pause an instant falls into, or null: it may be learned from. throws RangeError for a pause that ends before it begins */
export function pausedBy(atMs: number, pauses: readonly Pause[], plan: LearningPlan = LEARNING): Pause | null {
  return pauses.find((p) => atMs >= p.fromMs && (p.toMs === null || atMs < endMs(p, p.toMs, plan))) ?? null
}

function endMs(p: Pause, toMs: number, plan: LearningPlan): number {
  if (toMs < p.fromMs) throw new RangeError(`pause "${p.why}" ends at ${toMs}, before it begins at ${p.fromMs}: swap them`)
  const after = p.why === 'crash' ? plan.afterCrashMs : p.why === 'resting' ? plan.afterRestMs : 0
  return toMs + positive('pause afterwards', after, 'ms', true)
}

/**
 * What may be learned from, in the order given: not paused, not before the last replacement of the part it is about.
 * replacedMs  instants at which probe, pump, meter ... were replaced; any order
 */
export function learnable<T extends { readonly atMs: number }>(
  all: readonly T[],
  pauses: readonly Pause[],
  replacedMs: readonly number[],
  plan: LearningPlan = LEARNING,
): readonly T[] {
  const from = Math.max(Number.NEGATIVE_INFINITY, ...replacedMs)
  return all.filter((o) => o.atMs >= from && pausedBy(o.atMs, pauses, plan) === null)
}

/** May learned rules speak? The sentence that says why not, or null. commissionedMs: null while commissioning goes on */
export function learnedRulesSilent(nowMs: number, commissionedMs: number | null, pauses: readonly Pause[], plan: LearningPlan = LEARNING): string | null {
  if (commissionedMs === null) return 'the loop is being commissioned: only absolute limits speak'
  const leftMs = commissionedMs + plan.silentMs - nowMs
  if (leftMs > 0) return `only absolute limits speak for ${Math.ceil(leftMs / DAY_MS)} more days after commissioning`
  // An alarm or a visit stops the learning, not the rules.
  const other = pausedBy(
    nowMs,
    pauses.filter((p) => p.why !== 'alarm' && p.why !== 'on-site'),
    plan,
  )
  return other === null ? null : SILENT[other.why]
}

const SILENT: Readonly<Record<Pause['why'], string>> = {
  alarm: 'an alarm stands',
  'on-site': 'someone is on site',
  'planned-work': 'the loop is being worked on: its course is not its normal one',
  resting: 'the loop rests or came back from rest: its course is not its normal one',
  'out-of-contract': 'the loop is out of contract',
  crash: 'the biology crashed or recovers from it: its course is not its normal one',
}
