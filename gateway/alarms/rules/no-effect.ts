/**
 * A pump that runs and moves nothing: airlocked, dry, strainer blocked, coupling broken. Flow is the proof; without it the levels on
 * either side are. While somebody washes a tank may stand still because as much comes as goes, so then only the wrong way counts.
 */
import type { ConditionOf } from '../rule.ts'
import { known } from '../signal-memory.ts'
import { reading, type Place, type ReadyCondition, type Verdict } from './ready.ts'
import { createRuns } from './runs.ts'

export function noEffectCondition(c: ConditionOf<'no-effect'>, { find }: Place): ReadyCondition | null {
  const run = find(c.run)
  const flow = c.flow === null ? null : find(c.flow.signal)
  const source = c.source === null ? null : find(c.source)
  const target = c.target === null ? null : find(c.target)
  const idle = c.idle === null ? null : find(c.idle)
  if (!run || (c.flow !== null && !flow) || (c.source !== null && !source) || (c.target !== null && !target) || (c.idle !== null && !idle)) return null
  if (!flow && !source && !target) return null
  const flowLow = c.flow?.low ?? 0
  const runs = createRuns()
  /** The window that is being watched, and what the last full one said. */
  let fromMs: number | null = null
  let sourceFrom = Number.NaN
  let targetFrom = Number.NaN
  let busy = false
  let said: Verdict = 'inside'

  const begin = (atMs: number): void => {
    fromMs = atMs
    sourceFrom = source && known(source) ? source.value : Number.NaN
    targetFrom = target && known(target) ? target.value : Number.NaN
    busy = false
  }
  /** How far the water went the right way, in per cent of either tank; NaN: cannot be seen. */
  const moved = (): number => {
    const fell = source && known(source) ? sourceFrom - source.value : Number.NaN
    const rose = target && known(target) ? target.value - targetFrom : Number.NaN
    return Number.isNaN(fell) ? rose : Number.isNaN(rose) ? fell : Math.max(fell, rose)
  }
  const wrong = (): number => {
    const rose = source && known(source) ? source.value - sourceFrom : Number.NaN
    const fell = target && known(target) ? targetFrom - target.value : Number.NaN
    return Number.isNaN(rose) ? fell : Number.isNaN(fell) ? rose : Math.max(rose, fell)
  }
  return {
    reads: reading(run, flow, source, target, idle),
    unit: flow?.unit ?? '%',
    limit: flow ? flowLow : c.change,
    take: (s, atMs) => {
      if (s === run) {
        runs.take(s, atMs)
        const since = runs.sinceMs()
        if (since === null) fromMs = null
        else if (fromMs === null || since > fromMs) begin(atMs)
      }
      if (fromMs === null) return
      if (idle && known(idle) && idle.busySinceMs !== null) busy = true
      if (flow || (s !== source && s !== target)) return
      const right = moved()
      if (right >= c.change) {
        said = 'cleared'
        begin(atMs)
      } else if (atMs - fromMs >= c.withinMs) {
        if (Number.isNaN(right)) said = 'unknown'
        else if (!busy || wrong() >= c.change) said = 'violated'
        else if (said !== 'violated') said = 'inside'
        begin(atMs)
      }
    },
    judge: (atMs) => {
      if (!known(run)) return 'unknown'
      // A pump at rest proves nothing: what stands goes on standing until it runs and moves water.
      const since = runs.sinceMs()
      if (run.value === 0 || since === null) return 'inside'
      if (!flow) return said
      if (!known(flow)) return 'unknown'
      return flow.value >= flowLow ? 'cleared' : atMs - since >= c.withinMs ? 'violated' : 'inside'
    },
    restsOn: () => run,
    value: () => (flow ? flow.value : moved()),
  }
}
