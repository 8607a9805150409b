/** The peak or the trough of each run against those of earlier runs: redox potential while ozone is made, pressure while the washer runs. */
import { judgeLimit, makeLimit } from '../limit.ts'
import type { ConditionOf } from '../rule.ts'
import { known } from '../signal-memory.ts'
import { reading, type Place, type ReadyCondition } from './ready.ts'
import { createRing, keepRing, resumeRing } from './ring.ts'
import { createRuns } from './runs.ts'

const RUNS = 30
/** Runs after which the median is taken for known. */
const LEAST = 5

export function perRunCondition(c: ConditionOf<'per-run'>, { find, learns, teaches }: Place): ReadyCondition | null {
  const run = find(c.run)
  const m = find(c.signal)
  if (!run || !m) return null
  const limit = makeLimit(c.side, c.limit, c.deadband)
  const runs = createRuns()
  const peaks = createRing(RUNS)
  let peak = Number.NaN
  let beyond = 0
  let distance = Number.NaN
  let near = false
  return {
    reads: reading(run, m),
    unit: m.unit,
    limit: c.limit,
    take: (s, atMs) => {
      if (s === m) {
        if (runs.sinceMs() !== null && !(c.take === 'max' ? m.value <= peak : m.value >= peak)) peak = m.value
        return
      }
      const was = runs.sinceMs()
      const ended = runs.take(s, atMs)
      if (runs.sinceMs() !== was && runs.sinceMs() !== null) peak = Number.NaN
      if (!ended || ended.toMs - ended.fromMs < c.leastRunMs || Number.isNaN(peak) || !learns(atMs)) return
      if (peaks.count() >= LEAST) {
        distance = peak - peaks.middle(0, peaks.count())
        const judged = judgeLimit(distance, limit)
        near = judged === 'inside'
        if (judged === 'violated') beyond++
        else if (judged === 'cleared') beyond = 0
      }
      if (beyond === 0 && teaches()) peaks.push(peak, ended.toMs)
      peak = Number.NaN
    },
    judge: () => (!known(run) || !known(m) || Number.isNaN(distance) ? 'unknown' : beyond >= c.times && !near ? 'violated' : beyond === 0 ? 'cleared' : 'inside'),
    restsOn: () => m,
    value: () => distance,
    learned: [
      {
        shape: `${c.signal} ${c.take} per ${c.run}`,
        keep: () => [...keepRing(peaks), [beyond, ...(Number.isNaN(distance) ? [] : [distance])]],
        resume(kept) {
          resumeRing(peaks, kept[0], kept[1])
          beyond = kept[2]?.[0] ?? 0
          distance = kept[2]?.[1] ?? Number.NaN
        },
        forget() {
          peaks.clear()
          beyond = 0
          distance = Number.NaN
        },
      },
    ],
  }
}
