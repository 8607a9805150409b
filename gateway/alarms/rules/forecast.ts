/**
 * Time left until a drifting value meets a limit, counted with the early end of what the line may be. A course that may as well lead
 * nowhere gives no time, and no alarm.
 */
import { judgeLimit, makeLimit } from '../limit.ts'
import type { ConditionOf } from '../rule.ts'
import { timeToLimit } from '../../trends/time-to-limit.ts'
import { known } from '../signal-memory.ts'
import type { Place, ReadyCondition } from './ready.ts'
import { createSlottedLine } from './slotted-line.ts'

const HOUR_MS = 3_600_000

export function forecastCondition(c: ConditionOf<'forecast'>, { find, learns, calm }: Place): ReadyCondition | null {
  const m = find(c.signal)
  if (!m) return null
  const limit = makeLimit('low', c.belowMs, c.deadbandMs)
  /** When it may come first; Infinity: not in sight; NaN: cannot be said yet. */
  let earliestMs = Number.NaN
  const line = createSlottedLine(`${c.signal} line ${c.spanMs}`, c.spanMs, () => {
    earliestMs = earliest()
  })
  function earliest(): number {
    if (!line.line()) return Number.NaN
    const points = Array.from({ length: line.points.count() }, (_, i) => ({ atMs: line.points.time(i), value: line.points.at(i) }))
    const nowMs = points[points.length - 1]?.atMs ?? 0
    const outlook = timeToLimit(points, nowMs, {
      limit: c.limit,
      side: c.side === 'high' ? 'above' : 'below',
      resolution: m?.resolution ?? 1,
      gapMs: c.spanMs,
      leastPoints: 12,
      leastSpanMs: c.spanMs / 2,
      freshMs: c.spanMs,
      aheadSpans: Math.min(20, Math.max(3, (2 * c.belowMs) / c.spanMs)),
    })
    return outlook.kind === 'forecast' ? outlook.lowMs : outlook.kind === 'reached' ? nowMs : Number.POSITIVE_INFINITY
  }
  const leftMs = (): number => (earliestMs === Number.POSITIVE_INFINITY ? earliestMs : Math.max(0, earliestMs - m.sourceMs))
  return {
    reads: [m],
    unit: 'h',
    limit: c.belowMs / HOUR_MS,
    take: (s, atMs) => {
      if (learns(atMs) && calm()) line.add(s.value, atMs)
    },
    judge: () => (!known(m) || Number.isNaN(earliestMs) ? 'unknown' : judgeLimit(leftMs(), limit)),
    restsOn: () => m,
    value: () => leftMs() / HOUR_MS,
    learned: [line.learned],
  }
}
