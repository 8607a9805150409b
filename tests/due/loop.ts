/** A loop with something due of every kind, its log by hand, and what its readings show. */
import type { LogEntry, NewEntry } from '../../gateway/log/entry.ts'
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import type { LoopFacts } from '../../gateway/due/due.ts'
import type { Normal } from '../../gateway/outlook/normal.ts'
import type { Site } from '../../gateway/site/site.ts'
import { quiet } from '../alarms/quiet.ts'
import { loop, reading } from '../alarms/yard.ts'

export const DAY = 86_400_000
/** Monday 16 March 2026, 10:00 UTC. */
export const NOW = Date.UTC(2026, 2, 16, 10)

export const PROTECTIONS =
  'protections:\n  acid-max-run: { what: "Timer stops the acid pump after 2 min", present: true, provedOn: "2026-03-10" }\n  sump-high-high: { what: "Float stops the washer", present: true }\n  overflow-bund: { what: "Bund under the sump", present: false }\n'

export const yard = (more = PROTECTIONS): Site => loop((t) => `${t}${more}`)

let id = 0
export const entry = (e: Partial<NewEntry> & Pick<NewEntry, 'kind'>, daysAgo: number): LogEntry => ({
  site: 'gravel-yard-2',
  id: ++id,
  by: 'Marit',
  atMs: NOW - daysAgo * DAY,
  recordedMs: NOW - daysAgo * DAY,
  ...e,
})

export const firstNormal = (signal: string, value: number): Normal => ({
  id: signal,
  band: { because: 'no band yet' } as Normal['band'],
  days: 40,
  needed: 28,
  first: { value, sd: 1, atMs: NOW - 200 * DAY } as Normal['first'],
  against: null,
})

export function facts(site: Site, more: Partial<LoopFacts> = {}, values: Readonly<Record<string, number>> = {}): LoopFacts {
  return {
    site,
    nowMs: NOW,
    log: [],
    expected: [],
    normals: [],
    vitals: [],
    silent: false,
    alarms: defaultAlarms(site).defs.map(quiet),
    latest: new Map(Object.entries(values).map(([s, v]) => [s, reading(s, v, NOW)])),
    ...more,
  }
}
