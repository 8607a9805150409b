/**
 * One run longer than so many times the longest normal pulse of this controller: a stuck relay. The longest is that of the last 50
 * pulses, the single longest of them left out, so that one odd pulse does not set what is normal.
 */
import type { Delays } from '../delay.ts'
import type { RuleOf } from '../rule.ts'
import { known } from '../signal-memory.ts'
import type { Place, ReadyRule } from './ready.ts'
import { createRing, keepRing, resumeRing } from './ring.ts'
import { createRuns } from './runs.ts'

const PULSES = 50
/** Pulses after which the longest is taken for known. */
const LEAST = 10

export function overRunRule(rule: RuleOf<'over-run'>, { find, learns, teaches }: Place): ReadyRule | null {
  const m = find(rule.run)
  if (!m) return null
  const pulses = createRing(PULSES)
  const runs = createRuns()
  let delays: Delays = { onMs: Math.max(rule.floorMs, rule.unlearnedMs), offMs: rule.offDelayMs }
  const relearn = (): void => {
    const n = pulses.count()
    const onMs = n < LEAST ? Math.max(rule.floorMs, rule.unlearnedMs) : Math.max(rule.floorMs, rule.factor * secondLongest(pulses))
    if (onMs !== delays.onMs) delays = { onMs, offMs: rule.offDelayMs }
  }
  return {
    reads: [m],
    unit: 'min',
    get limit() {
      return delays.onMs / 60_000
    },
    take: (s, atMs) => {
      const run = runs.take(s, atMs)
      if (!run || run.toMs - run.fromMs > delays.onMs || !learns(atMs) || !teaches()) return
      if (pulses.count() > 0 && run.toMs <= pulses.time(pulses.count() - 1)) return
      pulses.push(run.toMs - run.fromMs, run.toMs)
      relearn()
    },
    judge: () => (known(m) ? (m.value !== 0 ? 'violated' : 'cleared') : 'unknown'),
    restsOn: () => m,
    value: () => (m.busySinceMs === null ? 0 : (m.sourceMs - m.busySinceMs) / 60_000),
    delays: () => delays,
    learned: [
      {
        shape: `${rule.run} pulses`,
        keep: () => keepRing(pulses),
        resume([lengths, times]) {
          resumeRing(pulses, lengths, times)
          relearn()
        },
        forget() {
          pulses.clear()
          relearn()
        },
      },
    ],
  }
}

function secondLongest(pulses: { count(): number; at(i: number): number }): number {
  let most = 0
  let second = 0
  for (let i = 0; i < pulses.count(); i++) {
    const v = pulses.at(i)
    if (v > most) {
      second = most
      most = v
    } else if (v > second) second = v
  }
  return second
}
