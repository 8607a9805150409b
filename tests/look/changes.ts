/** Changes of alarms in memory, kept by the gateway's own rules; a few have been made before the page is looked at. */
import { createAlarmChanges } from '../../gateway/alarm-changes.ts'
import type { AlarmChange, AlarmFields } from '../../gateway/alarms/changes.ts'
import type { ChangeStore } from '../../gateway/change-store.ts'
import type { ChangesPort } from '../../gateway/port.ts'
import type { Loop } from './yards.ts'

const MADE: readonly (readonly [alarm: string, by: string, hoursAgo: number, fields: AlarmFields, reason: string])[] = [
  ['kestrow-berth-3/tu.do.low', 'Ruth A.', 75, { onDelayMs: 900_000 }, 'Coaches come in threes on market days; ten minutes rang each time.'],
  ['kestrow-berth-3/finished.level.low', 'Jon P.', 50, { limit: 25, deadband: 4 }, 'Make-up line is slower since the meter was changed.'],
  [
    'kestrow-berth-3/blower.no-air',
    'Ruth A.',
    26,
    { priority: 'high', action: ['Look at the breaker in panel 2 first.', 'Start the standby blower by hand.'] },
    'Panel 2 since the rewiring.',
  ],
]

export async function fakeChanges(loops: ReadonlyMap<string, Loop>, nowMs: () => number): Promise<ChangesPort> {
  const all: AlarmChange[] = []
  let agoMs = 0
  const store: ChangeStore = {
    newest: () => Promise.resolve([]),
    byId: (id) => Promise.resolve(all.find((c) => c.id === id) ?? null),
    list: (q) =>
      Promise.resolve(
        all
          .filter((c) => (q.site ?? c.site) === c.site && (q.alarm ?? c.alarm) === c.alarm && (q.by ?? c.by) === c.by && c.atMs < q.toMs)
          .toReversed()
          .slice(0, q.limit),
      ),
    append(c) {
      const change = { ...c, id: all.length + 1 }
      all.push(change)
      return Promise.resolve(change)
    },
  }
  const changes = createAlarmChanges({
    store,
    clock: { nowMs: () => nowMs() - agoMs, steadyMs: () => 0 },
    sites: () => new Map([...loops].map(([id, l]) => [id, l.site])),
    layers: new Map(),
    keeper: () => ({ follow: () => Promise.resolve(), alarmsOf: (site) => [...(loops.get(site)?.alarms.values() ?? [])] }),
    raisedUnder: () => Promise.resolve(null),
    alarmFault: (site, fault) => {
      throw new Error(`${site}: ${JSON.stringify(fault)}`)
    },
    onDefined: () => undefined,
  })
  for (const [alarm, by, hoursAgo, fields, reason] of MADE) {
    const mark = changes.changeable(alarm)?.mark
    if (mark === undefined) continue
    agoMs = hoursAgo * 3_600_000
    const r = await changes.change(alarm, fields, by, { mark, reason, approver: 'Tomas W.' })
    if (!r.ok) throw new Error(`${alarm}: ${r.message}`)
  }
  agoMs = 0
  return changes
}
