/**
 * What the clock alone brings about: the end of a shelf, a review date that passes, the end of a settle delay, the alarm that is
 * announced again because nobody was heard of, the low alarm that closes by itself. All are absolute times of the journal, so a
 * restart neither stops them nor lets one fire twice; one that fell due meanwhile fires once.
 */
import type { Priority } from './alarm.ts'
import type { Engine, Now, Run, Told } from './engine-state.ts'
import { isLevel, live } from './living.ts'
import { isHidden } from './overlay.ts'

/** A low alarm that has returned to normal and that nobody has answered ends by itself after this (ALM-T33). */
const AUTO_CLOSE_MS = 24 * 3_600_000

/**
 * Acknowledged, and then fallen asleep: still there this long after the answer, and no entry in the log of the loop nor anybody
 * checking in since, it is announced again (ALM-T07), three times at most. Common practice, no source.
 */
export const RE_ALARM_MS: Readonly<Record<Priority, number | null>> = { high: 30 * 60_000, medium: 90 * 60_000, low: null, alert: null }
export const RE_ALARM_MOST = 3

/** When it is announced again; null: it is not. */
export function reAlarmDueMs(run: Run): number | null {
  const { life, def, site } = run
  const afterMs = RE_ALARM_MS[def.priority]
  if (afterMs === null || life.state !== 'acknowledged' || life.acknowledgedMs === null || life.reAlarms >= RE_ALARM_MOST || isHidden(life)) return null
  return site.attendedMs > life.acknowledgedMs ? null : life.acknowledgedMs + afterMs
}

export function onTimers(engine: Engine, now: Now, out: Told[]): void {
  const { nowMs } = now
  for (const run of engine.inside.timed) {
    const { shelved, suppressed, outOfService } = run.life
    if (shelved && nowMs >= shelved.untilMs) live(engine, run, { kind: 'shelf-over', atMs: shelved.untilMs }, now, out)
    if (suppressed && suppressed.endsMs !== null && nowMs >= suppressed.endsMs)
      live(engine, run, { kind: 'unsuppress', atMs: suppressed.endsMs, level: isLevel(run, suppressed.ruleId) }, now, out)
    if (outOfService && !outOfService.overdue && nowMs >= outOfService.reviewMs) live(engine, run, { kind: 'review-due', atMs: outOfService.reviewMs }, now, out)
    const again = reAlarmDueMs(run)
    if (again !== null && nowMs >= again) live(engine, run, { kind: 're-alarm', atMs: again }, now, out)
    const { life } = run
    if (life.state === 'returned' && run.def.priority === 'low' && nowMs - (life.clearedMs ?? nowMs) >= AUTO_CLOSE_MS)
      live(engine, run, { kind: 'close', atMs: nowMs, note: 'closed without an answer, 24 h after it returned to normal' }, now, out)
  }
}
