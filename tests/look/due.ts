/** What is due on an invented loop, worked out by the gateway's own rules from its site log and what stands. */
import type { AlarmView } from '../../gateway/alarms/alarm.ts'
import { dueOf } from '../../gateway/due/due.ts'
import { proofsOf } from '../../gateway/due/proofs.ts'
import type { LogEntry } from '../../gateway/log/entry.ts'
import type { LoopDue } from '../../gateway/port.ts'
import type { Explanation } from '../../gateway/vitals/vital.ts'
import { fakeForecasts } from './outlook.ts'
import type { Loop } from './yards.ts'

export function fakeDue(loop: Loop, alarms: readonly AlarmView[], vitals: readonly Explanation[], log: readonly LogEntry[], nowMs: number): LoopDue {
  const { site, latest, silent } = loop
  const items = dueOf({ site, nowMs, log, latest, silent, vitals, alarms, expected: fakeForecasts(loop, alarms, nowMs).expected, normals: [] })
  return { site: site.id, atMs: Math.round(nowMs), items, proofs: proofsOf(site, log) }
}
