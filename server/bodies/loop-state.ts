/** The state of a loop as people see it. */
import type { StateRecord } from '../../gateway/alarms/loop-state.ts'
import type { LoopStateView } from '../../gateway/port.ts'
import type { LoopStateBody, StateHistoryBody } from '../wire.ts'

/** A finished check is shown so long. */
const SHOWN_MS = 12 * 3_600_000

export function loopStateBodyOf({ now, words, checks }: LoopStateView, nowMs: number): LoopStateBody {
  return {
    is: now.is,
    sinceMs: now.sinceMs,
    untilMs: now.untilMs,
    by: now.by,
    why: now.why,
    overdue: now.overdue,
    life: { state: now.life.state, fromMs: now.life.fromMs, untilMs: now.life.untilMs, by: now.life.by, why: now.life.why },
    work: now.work && { fromMs: now.work.fromMs, untilMs: now.work.untilMs, by: now.work.by, why: now.work.why },
    visits: now.visits.map((v) => ({ person: v.person, fromMs: v.fromMs, untilMs: v.untilMs, overdue: v.overdue, why: v.why })),
    words: [...words],
    checks: checks
      .filter((c) => !c.over || nowMs - c.sinceMs < SHOWN_MS)
      .map((c) => ({ ...c, lines: c.lines.map((l) => ({ ...l, dueMs: l.dueMs === null ? null : Math.round(l.dueMs) })), atRest: [...c.atRest] })),
  }
}

export const stateRecordBodyOf = (r: StateRecord): StateHistoryBody['history'][number] => ({
  act: r.act,
  state: r.state,
  person: r.person,
  atMs: r.atMs,
  fromMs: r.fromMs,
  untilMs: r.untilMs,
  why: r.why,
  by: r.by,
  recordedMs: r.recordedMs,
})
