/**
 * When will pH of the treatment unit be at a limit? By the values before each dose, day by day; by hours without washing where doses are not
 * seen. It looks towards the side to which pH drifts.
 */
import type { Signal, Stage } from '../site/site.ts'
import { gridOf, pointsOf } from '../trends/grid.ts'
import { LIMIT, type LimitPlan } from '../trends/limit-plan.ts'
import type { Forecast, Outlook } from '../trends/outlook.ts'
import { DAY_MS, type Point } from '../trends/points.ts'
import { timeToLimit } from '../trends/time-to-limit.ts'
import { idleHours } from './before-dose.ts'
import { type Expected, openEnded, waiting } from './expected.ts'
import type { StoredLoop } from './stored.ts'

/** Days looked back for pH. */
export const PH_DAYS = 28
const LEAST_DOSES = 2
const PLAN: Omit<LimitPlan, 'limit' | 'side' | 'resolution'> = { ...LIMIT, gapMs: 5 * DAY_MS, leastSpanMs: 10 * DAY_MS, freshMs: 4 * DAY_MS }

/** washedL: one figure for each stored hour, null where not known */
export function acidity(s: StoredLoop, washedL: readonly (number | null)[] | null): readonly Expected[] {
  const stage = s.site.stages.find((t) => t.kind === 'treatment') ?? s.site.stages.find((t) => t.kind === 'bio')
  if (!stage) return []
  const signal = s.site.signals.find((x) => x.at === stage.id && x.quantity === 'ph')
  const line = { id: signal?.id ?? `${stage.id}.ph`, stage: stage.id, kind: 'limit' as const, left: null }
  const none = (because: string, unlock: string): readonly Expected[] => [
    { ...line, what: `pH at its limit, ${stage.name.toLowerCase()}`, outlook: { kind: 'not-observable', because }, basis: null, unlock },
  ]
  if (!signal) return none('pH is not measured', `pH in the ${stage.name.toLowerCase()}`)
  const limits = limitsOf(s, signal)
  if (limits.length === 0) return none('no alarm watches it, so there is no limit to reach', `A limit for ${signal.id} in the site file`)
  const course = courseOf(s, signal, washedL)
  if (course === null) return none('neither doses nor hours without washing are seen in it', 'Run contact of the acid pump, or a wash water meter')
  const told = limits.map((l) => ({
    ...l,
    outlook: openEnded(timeToLimit(course.points, s.nowMs, { ...PLAN, ...l, resolution: signal.resolution }), s.nowMs + LIMIT.aheadSpans * PH_DAYS * DAY_MS),
  }))
  const chosen = nearest(told)
  return [
    {
      ...line,
      what: whatOf(stage, chosen),
      outlook: chosen.outlook,
      basis: chosen.outlook.kind === 'forecast' ? `at the drift of ${chosen.outlook.from} days, ${course.by}` : null,
      unlock: waiting(chosen.outlook),
    },
  ]
}

type Judged = Pick<LimitPlan, 'limit' | 'side'> & { readonly outlook: Outlook }

const whatOf = (stage: Stage, j: Judged): string =>
  `pH ${j.outlook.kind === 'not-observable' ? 'at its limit' : `${j.side === 'below' ? 'under' : 'over'} ${j.limit}`}, ${stage.name.toLowerCase()}`

/** A limit reached, then the nearest; of two that are withheld the one that pH does move towards. */
function nearest(all: readonly Judged[]): Judged {
  const rank = ({ outlook: o }: Judged): number =>
    o.kind === 'reached' ? 0 : o.kind === 'forecast' ? 1 : o.kind === 'not-observable' && o.because.includes('does not move towards') ? 3 : 2
  return all.toSorted((a, b) => rank(a) - rank(b) || medianOf(a) - medianOf(b))[0] as Judged
}
const medianOf = (j: Judged): number => (j.outlook.kind === 'forecast' ? (j.outlook as Forecast).medianMs : 0)

/** The nearer limit on either side. */
function limitsOf(s: StoredLoop, signal: Signal): readonly Pick<LimitPlan, 'limit' | 'side'>[] {
  const of = (side: 'low' | 'high'): number[] =>
    s.alarms.flatMap(({ def: { rule } }) => (rule.kind === 'limit' && rule.signal === signal.id && rule.side === side ? [rule.limit] : []))
  const [low, high] = [of('low'), of('high')]
  return [...(low.length > 0 ? [{ side: 'below' as const, limit: Math.max(...low) }] : []), ...(high.length > 0 ? [{ side: 'above' as const, limit: Math.min(...high) }] : [])]
}

function courseOf(s: StoredLoop, signal: Signal, washedL: readonly (number | null)[] | null): { readonly points: readonly Point[]; readonly by: string } | null {
  // A probe that was set in buffers or exchanged has a course of its own from there.
  const cutMs = Math.max(
    0,
    ...s.log
      .filter(
        (e) => (e.kind === 'calibration' || e.kind === 'replacement') && (e.about === signal.id || (e.about === signal.at && /ph|probe/i.test(`${e.item ?? ''} ${e.text ?? ''}`))),
      )
      .map((e) => e.atMs),
  )
  const daily = (points: readonly Point[], least: number): readonly Point[] => {
    const kept = points.filter((p) => p.atMs >= cutMs)
    const days = s.days.slice(-PH_DAYS)
    const fromMs = days[0]?.fromMs ?? s.nowMs
    const steps = Math.floor((s.nowMs - fromMs) / DAY_MS)
    return steps < 1 ? [] : pointsOf(gridOf(kept, { fromMs, stepMs: DAY_MS, steps, leastPerStep: least }))
  }
  const dosed = daily(s.beforeDoses.get(signal.id) ?? [], LEAST_DOSES)
  if (dosed.length >= PLAN.leastPoints) return { points: dosed, by: 'before each dose' }
  const hours = s.hours.get(signal.id)
  if (hours && washedL) {
    const idle = daily(idleHours(hours, washedL), 2)
    if (idle.length > 0) return { points: idle, by: 'in hours without washing' }
  }
  return dosed.length > 0 ? { points: dosed, by: 'before each dose' } : null
}
