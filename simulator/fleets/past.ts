/**
 * What happened in the history a fleet opens with: a poisoned culture and the visit that reseeded it, a starved fortnight, a calibration
 * and a visit. Told in the yards' own hours; nothing of it in the last three days, so that the present is the fleet's own.
 */
import type { Fault, FaultKind } from '../faults/fault.ts'
import type { PlantSpec } from '../process/spec.ts'
import { dayStart } from '../process/washing.ts'

const HOUR = 3_600_000
const DAY = 24 * HOUR
const LEAST_DAYS = 14

/** Faults of the `days` before `liveMs`; none when that is less than a fortnight. */
export function past(specs: readonly PlantSpec[], liveMs: number, days: number): readonly Fault[] {
  if (days < LEAST_DAYS) return []
  // The crash befalls a loop that is seen best: its oxygen is told in more than one tank.
  const at = (level: string): readonly PlantSpec[] => specs.filter((s) => s.site.instrumentation === level)
  const observed = [...at('rich'), ...at('normal')]
  const seen = observed.length > 0 ? observed : specs
  const siteOf = (i: number): PlantSpec => seen[i % seen.length] as PlantSpec
  const out: Fault[] = []
  const put = (spec: PlantSpec, kind: FaultKind, daysAgo: number, hour: number, lastsH: number, size = 1): void => {
    const onsetMs = dayStart(spec.site.zone, liveMs - daysAgo * DAY) + hour * HOUR
    out.push({ id: `${spec.site.id}-${kind}-${Math.round(daysAgo)}-days-ago`, kind, site: spec.site.id, onsetMs, endMs: onsetMs + lastsH * HOUR, size })
  }
  const crash = 0.45 * days
  // Six litres: nothing is left of the culture, and nobody comes for some days.
  const noticed = crash - Math.min(5, crash - 3.5)
  put(siteOf(0), 'bleach', crash, 10.4, 0.2, 3)
  put(siteOf(0), 'visit', noticed, 9, 1)
  put(siteOf(0), 'reseeding', noticed, 9.5, 1)
  const starved = Math.min(14, days / 3)
  put(siteOf(1), 'starvation', 0.8 * days, 0, 24 * starved)
  put(siteOf(2), 'calibration', 0.25 * days, 10, 0.5)
  put(siteOf(2), 'visit', 0.25 * days, 10.5, 1)
  return out
}
