/** Six weeks of an invented loop, as its history would give them: whole days by hand, hours made of them. */
import { defaultAlarms } from '../../gateway/alarms/defaults.ts'
import type { AlarmView } from '../../gateway/alarms/alarm.ts'
import type { Bucket } from '../../gateway/history/history.ts'
import type { LogEntry } from '../../gateway/log/entry.ts'
import { pastDays, type Day } from '../../gateway/outlook/days.ts'
import type { StoredLoop } from '../../gateway/outlook/stored.ts'
import { readSiteFile } from '../../gateway/site/site-file.ts'
import { quiet } from '../alarms/quiet.ts'
import type { Site } from '../../gateway/site/site.ts'

export const HOUR = 3_600_000
export const DAY = 24 * HOUR
/** Wednesday 4 March 2026, midnight UTC. */
export const NOW = Date.UTC(2026, 2, 4)

export function site(signals: string, more = ''): Site {
  const read = readSiteFile(
    'loop.yaml',
    `
id: loop
name: Loop
zone: UTC
train:
  - { stage: sump, volumeL: 1100 }
  - { stage: filter, rollM: 100 }
  - { stage: treatment, volumeL: 2300, retention: carriers }
  - { stage: finished, volumeL: 5700 }
  - { stage: washer, lanceLPerMin: 23 }
equipment:
  blower: { kind: aerator, name: Blower, serves: [tu] }
  acid: { kind: dosing, name: Acid pump, serves: [tu], doses: acid, flowLPerMin: 0.05 }
  hp: { kind: washer, name: Pressure washer, serviceEveryH: 300 }
  drive: { kind: filter-drive, name: Paper drive, serves: [filter] }
signals:
${signals}
${more}`,
  )
  if (!read.ok) throw new Error(read.faults.map((f) => f.message).join('\n'))
  return read.site
}

export const ALL = '  tu.do:\n  tu.ph:\n  sump.level:\n  finished.level:\n  blower.run:\n  acid.run:\n  hp.hours:\n  hp.volume: { name: Wash water }\n  filter.index:'
export const DRUMS =
  'consumables:\n  paper: { name: Filter paper, full: 100, unit: m }\n  acid: { name: Acid, full: 60, unit: L }\n  microbes: { name: Microbe culture, full: 20, unit: L }'

export const alarmsOf = (s: Site): readonly AlarmView[] => defaultAlarms(s).defs.map(quiet)

export const bucket = (fromMs: number, first: number | null, last = first): Bucket => {
  const none = first === null || last === null
  return {
    fromMs,
    count: none ? 0 : 60,
    bad: 0,
    min: none ? null : Math.min(first, last),
    max: none ? null : Math.max(first, last),
    mean: none ? null : (first + last) / 2,
    first,
    last,
    worst: none ? null : 'good',
  }
}

/** Hours of a counter that moves by so much each day, all of it between 10 and 11 o'clock. */
export function counter(days: readonly Day[], perDay: (day: Day, i: number) => number, start = 1000): readonly Bucket[] {
  let at = start
  return days.flatMap((d, i) =>
    Array.from({ length: 24 }, (_, h) => {
      const from = at
      if (h === 10) at += perDay(d, i)
      return bucket(d.fromMs + h * HOUR, from, at)
    }),
  )
}

export const entry = (kind: LogEntry['kind'], daysAgo: number, more: Partial<LogEntry>): LogEntry => ({
  id: Math.round(1000 - daysAgo * 10),
  site: 'loop',
  kind,
  atMs: NOW - daysAgo * DAY,
  by: 'Ruth A.',
  recordedMs: NOW,
  ...more,
})

export const DAYS = pastDays({ zone: 'UTC', open: [] }, NOW, 42)

export function stored(s: Site, more: Partial<StoredLoop> = {}): StoredLoop {
  return { site: s, nowMs: NOW, days: DAYS, hours: new Map(), runHours: new Map(), beforeDoses: new Map(), recent: new Map(), log: [], alarms: alarmsOf(s), ...more }
}
