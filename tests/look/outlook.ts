/** What comes next and what is normal for the invented loops: the real forecasts over six weeks that never were, and bands about the newest figures. */
import type { Bucket } from '../../gateway/history/history.ts'
import type { LogEntry } from '../../gateway/log/entry.ts'
import { pastDays } from '../../gateway/outlook/days.ts'
import { forecasts } from '../../gateway/outlook/forecasts.ts'
import { learnedSignals } from '../../gateway/outlook/learn-what.ts'
import type { Normal } from '../../gateway/outlook/normal.ts'
import type { AlarmView } from '../../gateway/alarms/alarm.ts'
import type { LoopForecasts, LoopNormals } from '../../gateway/port.ts'
import type { Explanation } from '../../gateway/vitals/vital.ts'
import type { Loop } from './yards.ts'

const HOUR = 3_600_000
const DAY = 24 * HOUR

export function fakeForecasts(loop: Loop, alarms: readonly AlarmView[], nowMs: number): LoopForecasts {
  const { site } = loop
  const days = pastDays(site, nowMs, 42)
  const hours = new Map<string, readonly Bucket[]>()
  for (const s of site.signals) {
    if (s.quantity !== 'volume' && !(s.quantity === 'level' && s.id.startsWith('acid'))) continue
    let at = s.quantity === 'volume' ? 400_000 : 96
    hours.set(
      s.id,
      days.flatMap((d, i) =>
        Array.from({ length: 24 }, (_, h) => {
          const first = at
          if (h === 10) at += s.quantity === 'volume' ? 8000 + 500 * (i % 5) : -1.6
          return {
            fromMs: d.fromMs + h * HOUR,
            count: 60,
            bad: 0,
            min: Math.min(first, at),
            max: Math.max(first, at),
            mean: (first + at) / 2,
            first,
            last: at,
            worst: 'good' as const,
          }
        }),
      ),
    )
  }
  const runs = site.signals.filter((s) => s.quantity === 'run' && (s.id.startsWith('acid') || s.id.startsWith('nutrient')))
  const refill: LogEntry = { id: 1, site: site.id, kind: 'refill', atMs: nowMs - 20 * DAY, item: 'nutrient', value: 57, unit: 'L', by: 'Ruth A.', recordedMs: nowMs }
  const expected = forecasts({
    site,
    nowMs,
    days,
    hours,
    runHours: new Map(runs.map((s) => [s.id, [...days.map((_, i) => 0.4 + 0.02 * (i % 5)), 0.1]])),
    beforeDoses: new Map(),
    recent: new Map(),
    log: site.instrumentation === 'poor' ? [] : [refill],
    alarms,
  })
  return { atMs: nowMs - 60_000, expected }
}

/** Every other one has a band; those without have seen twelve days. */
export function fakeNormals(loop: Loop, vitals: readonly Explanation[], nowMs: number): LoopNormals {
  const normals = learnedSignals(loop, vitals).map((s, i): Normal => {
    const half = Math.max(3 * s.resolution, 0.08 * Math.abs(s.value ?? 1))
    const middle = (s.value ?? 1) + (i % 3 === 0 ? 1.5 * half : 0)
    if (i % 2 === 1)
      return {
        id: s.id,
        band: { kind: 'not-observable', because: 'only 12 days of this loop are known and 28 are needed: no band yet' },
        days: 12,
        needed: 28,
        first: null,
        against: null,
      }
    return {
      id: s.id,
      band: { low: middle - half, middle, high: middle + half, hours: 60, days: 30, notCompared: [] },
      days: 88,
      needed: 28,
      first: { value: middle, sd: half / 3, atMs: nowMs - 60 * DAY },
      against: null,
    }
  })
  return { atMs: nowMs - 60_000, paused: loop.site.id === 'kestrow-berth-3' ? 'an alarm stands' : null, normals }
}
