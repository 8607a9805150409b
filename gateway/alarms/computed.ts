/** Vitals as signals a rule may read: which of them a loop can tell at all, and how often. */
import type { Site } from '../site/site.ts'
import { vitalsIn } from '../vitals/catalogue.ts'
import type { Vital } from '../vitals/vital.ts'
import { createWorks } from '../vitals/works.ts'

export interface ComputedSignal {
  readonly unit: string
  readonly digits: number
  /** Longest time between two of its readings while it can be told; the figure of a test holds until the next test. */
  readonly reportEveryMs: number
}

/** A figure that does not move is given every quarter of an hour; one that stands on sums every hour; a test is believed for a month. */
const EVERY_MS: Readonly<Record<Vital['pace'], number>> = { beat: 15 * 60_000, hour: 3_600_000, event: 10 * 86_400_000 }

/** Looks vitals up by id; the catalogue of a loop is made when the first one is asked for. null: none of that name, or not to be told on this loop. */
export function computedSignals(site: Site): (id: string) => ComputedSignal | null {
  let vitals: ReadonlyMap<string, Vital> | null = null
  return (id) => {
    vitals ??= new Map(vitalsIn(createWorks(site, null)).map((v) => [v.def.id, v]))
    const v = vitals.get(id)
    return v && v.def.unobservable === null ? { unit: v.def.unit, digits: v.def.digits, reportEveryMs: EVERY_MS[v.pace] } : null
  }
}
