/**
 * When will the finished water be gone, the sump be full? From the single readings of the last hours: levels over days follow the washing and
 * say nothing about the next hour.
 */
import type { AlarmView } from '../alarms/alarm.ts'
import type { Signal, Stage } from '../site/site.ts'
import { LIMIT, span } from '../trends/limit-plan.ts'
import { DAY_MS } from '../trends/points.ts'
import { timeToLevel } from '../trends/time-to-level.ts'
import { type Expected, openEnded, waiting } from './expected.ts'
import type { StoredLoop } from './stored.ts'

const MIN_MS = 60_000
/** So far back readings are looked at. */
export const RECENT_MS = 2 * 60 * MIN_MS

interface Edge {
  readonly limit: number
  readonly side: 'above' | 'below'
}

export function levels(s: StoredLoop): readonly Expected[] {
  return s.site.stages.filter((t) => t.kind === 'finished' || t.kind === 'sump').flatMap((stage) => levelOf(s, stage))
}

function levelOf(s: StoredLoop, stage: Stage): readonly Expected[] {
  const signal = s.site.signals.find((x) => x.at === stage.id && x.quantity === 'level')
  const low = stage.kind === 'finished'
  const line = { id: signal?.id ?? stage.id, stage: stage.id, kind: 'limit' as const, left: null }
  const blind = (because: string, unlock: string, what = low ? `${stage.name} used up` : `${stage.name} full`): Expected => ({
    ...line,
    what,
    outlook: { kind: 'not-observable', because },
    basis: null,
    unlock,
  })
  if (!signal) return [blind('its level is not measured', `Level of ${stage.name.toLowerCase()}`)]
  const edge = edgeOf(s.alarms, signal, low)
  if (edge === null) return [blind('no alarm watches its level, so there is no limit to reach', `A limit for ${signal.id} in the site file`)]
  const stepMs = Math.max(MIN_MS, signal.sampleEveryMs)
  const course = timeToLevel(s.recent.get(signal.id) ?? [], s.nowMs, stepMs, {
    ...LIMIT,
    ...edge,
    resolution: signal.resolution,
    gapMs: 10 * stepMs,
    leastSpanMs: 15 * stepMs,
    freshMs: 3 * Math.max(stepMs, signal.reportEveryMs) + 10_000,
  })
  const outlook = openEnded(course, s.nowMs + LIMIT.aheadSpans * RECENT_MS)
  return [
    {
      ...line,
      what: `${stage.name} at ${edge.limit} %`,
      outlook,
      basis: outlook.kind === 'forecast' ? `at the pace of the last ${span(Math.min(RECENT_MS, DAY_MS))}` : null,
      unlock: waiting(outlook),
    },
  ]
}

/** The limit that is met first. Of a tank judged by minutes of washing: the level at which it counts as empty. */
function edgeOf(alarms: readonly AlarmView[], signal: Signal, low: boolean): Edge | null {
  const limits = alarms.flatMap(({ def: { rule } }) => {
    if (rule.kind === 'limit') return rule.signal === signal.id && rule.side === (low ? 'low' : 'high') ? [rule.limit] : []
    return low && rule.kind === 'water-left' && rule.level === signal.id ? [rule.emptyPct] : []
  })
  if (limits.length === 0) return null
  return low ? { limit: Math.max(...limits), side: 'below' } : { limit: Math.min(...limits), side: 'above' }
}
