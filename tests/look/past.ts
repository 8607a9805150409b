/** What the journal and the site log of an invented loop hold. */
import type { AlarmEvent, AlarmView } from '../../gateway/alarms/alarm.ts'
import type { LogEntry } from '../../gateway/log/entry.ts'
import type { Loop } from './yards.ts'

const HOUR = 3_600_000

/** What must have happened for an alarm to stand as it does. */
export function eventsOf(v: AlarmView): AlarmEvent[] {
  if (v.raisedMs === null || v.occurrence === null) return []
  const event = (kind: AlarmEvent['kind'], atMs: number, more: Partial<AlarmEvent> = {}): AlarmEvent => ({
    alarm: v.def.id,
    occurrence: v.occurrence ?? '',
    kind,
    atMs,
    recordedMs: atMs + 400,
    state: v.state,
    value: v.value,
    limit: v.limit,
    unit: v.unit,
    by: null,
    note: null,
    defVersion: 1,
    ...more,
  })
  return [
    event('raised', v.raisedMs),
    ...(v.acknowledgedMs === null ? [] : [event('acknowledged', v.acknowledgedMs, { by: v.acknowledgedBy, note: v.note })]),
    ...(v.clearedMs === null ? [] : [event('cleared', v.clearedMs)]),
    ...(v.heldSinceMs === null ? [] : [event('held', v.heldSinceMs)]),
  ]
}

export function entriesOf(loop: Loop, firstId: number, nowMs: number): LogEntry[] {
  const entry = (n: number, hoursAgo: number, more: Partial<LogEntry> & Pick<LogEntry, 'kind'>): LogEntry => ({
    id: firstId + n,
    site: loop.site.id,
    atMs: Math.round(nowMs - hoursAgo * HOUR),
    by: 'Ruth A.',
    recordedMs: Math.round(nowMs - hoursAgo * HOUR + 90_000),
    ...more,
  })
  return [
    entry(1, 3.4, { kind: 'observation', item: 'white foam', text: 'Twenty centimetres on the treatment unit after the coach with the degreaser.', by: 'Jon P.' }),
    entry(2, 6.2, { kind: 'refill', item: 'acid', value: 18, unit: 'L', text: 'Drum changed' }),
    entry(3, 30, { kind: 'calibration', item: 'pH', asFound: 7.31, value: 7, text: 'Buffers 4 and 7, probe 2' }),
    entry(4, 31, { kind: 'visit-out', text: 'Paper roll fitted, selector back in auto, all machines seen running' }),
    entry(5, 120, { kind: 'kit', item: 'alkalinity', value: 85, unit: 'mg/L', text: 'Drop test, treatment unit' }),
  ]
}
