/** Vitals as signals a rule may read: which of them a loop can tell at all, and how often. */
import type { Site } from '../site/site.ts'
import { vitalsIn } from '../vitals/catalogue.ts'
import type { Vital } from '../vitals/vital.ts'
import { createWorks } from '../vitals/works.ts'
import { perPlan } from './site-plan.ts'

export interface ComputedSignal {
  readonly unit: string
  readonly digits: number
  /** Longest time between two of its readings while it can be told; the figure of a test holds until the next test. */
  readonly reportEveryMs: number
}

/** A figure that does not move is given every quarter of an hour; one that stands on sums every hour; a test is believed for a month. */
const EVERY_MS: Readonly<Record<Vital['pace'], number>> = { beat: 15 * 60_000, hour: 3_600_000, event: 10 * 86_400_000 }

const told = perPlan((plan): ReadonlyMap<string, ComputedSignal> => {
  const can = vitalsIn(createWorks(plan, null)).filter((v) => v.def.unobservable === null)
  return new Map(can.map((v) => [v.def.id, { unit: v.def.unit, digits: v.def.digits, reportEveryMs: EVERY_MS[v.pace] }]))
})

/** Looks vitals up by id; the catalogue of a loop is made when the first one is asked for. null: none of that name, or not to be told on this loop. */
export const computedSignals =
  (site: Site): ((id: string) => ComputedSignal | null) =>
  (id) =>
    told(site).get(id) ?? null
