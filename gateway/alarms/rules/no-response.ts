/**
 * Doses that do nothing: an empty drum, a lost prime, a broken hose, or a probe that no longer sees. One dose at high alkalinity moves pH
 * by less than the noise, so several are added up and compared with what this loop's own doses usually did per minute of dosing. Where those scatter
 * so much that as many good doses may well add up to so little, nothing is said.
 */
import type { ConditionOf } from '../rule.ts'
import { known } from '../signal-memory.ts'
import { reading, type Place, type ReadyCondition } from './ready.ts'
import { createRing, keepRing, resumeRing } from './ring.ts'
import { createRuns } from './runs.ts'

const USUAL = 50
/** Doses after which the usual response is taken for known. */
const LEAST = 30
/** Standard deviations that a usual sum must be above the one that raises; and what makes one of a median distance, for a normal distribution. */
const APART = 3
const PER_MEDIAN = 1.4826
/** Clears at this much more than the share that raises. */
const BACK = 1.5

export function noResponseCondition(c: ConditionOf<'no-response'>, { find, learns, teaches }: Place): ReadyCondition | null {
  const run = find(c.run)
  const m = find(c.signal)
  if (!run || !m) return null
  const runs = createRuns()
  const sign = c.side === 'up' ? 1 : -1
  /** Response per minute of doses that were found normal; responses and minutes of the newest. */
  const usual = createRing(USUAL)
  const moved = createRing(c.doses)
  const minutes = createRing(c.doses)
  /** Two values of the signal, so that the one before a dose is known whatever stands first in its row. */
  let last = Number.NaN
  let lastMs = -1
  let earlier = Number.NaN
  let open = false
  let before = Number.NaN
  let dosedMs = 0
  let endMs: number | null = null
  let share = Number.NaN

  const rate = (): number => {
    if (moved.count() < c.doses || usual.count() < LEAST) return Number.NaN
    const normal = usual.middle(0, usual.count())
    let all = 0
    let time = 0
    let squares = 0
    for (let i = 0; i < c.doses; i++) {
      all += moved.at(i)
      time += minutes.at(i)
      squares += minutes.at(i) ** 2
    }
    const told = normal * time * (1 - c.share) >= APART * scatter(normal) * Math.sqrt(squares)
    return normal > 0 && told ? all / (normal * time) : Number.NaN
  }
  /** Standard deviation of the usual responses, by their median distance. */
  const scatter = (normal: number): number => {
    const apart = Array.from({ length: usual.count() }, (_, i) => Math.abs(usual.at(i) - normal)).sort((a, b) => a - b)
    return PER_MEDIAN * (apart[Math.floor(apart.length / 2)] ?? 0)
  }
  const conclude = (): void => {
    const min = dosedMs / 60_000
    if (min > 0 && !Number.isNaN(before) && !Number.isNaN(last) && endMs !== null && learns(endMs)) {
      const violated = share < c.share
      // What leaves the newest doses becomes part of the usual, unless it is the fault itself.
      if (moved.count() === c.doses && !violated && teaches()) usual.push(moved.at(0) / minutes.at(0), moved.time(0))
      moved.push(sign * (last - before), endMs)
      minutes.push(min, endMs)
      share = rate()
    }
    open = false
    endMs = null
    dosedMs = 0
  }
  return {
    reads: reading(run, m),
    unit: '%',
    limit: Math.round(100 * c.share),
    take: (s, atMs) => {
      if (endMs !== null && atMs > endMs + c.settleMs) conclude()
      if (s === m) {
        if (atMs > lastMs) earlier = last
        last = m.value
        lastMs = atMs
        return
      }
      const was = runs.sinceMs()
      const ended = runs.take(s, atMs)
      const since = runs.sinceMs()
      if (since !== null && since !== was && !open) {
        open = true
        dosedMs = 0
        before = !known(m) ? Number.NaN : lastMs < atMs ? last : earlier
      }
      // Another dose before the first has settled belongs to it.
      if (since !== null) endMs = null
      if (ended && open) {
        dosedMs += ended.toMs - ended.fromMs
        endMs = ended.toMs
      } else if (since === null && endMs === null) open = false
    },
    judge: () => (!known(m) || Number.isNaN(share) ? 'unknown' : share < c.share ? 'violated' : share >= Math.min(1, BACK * c.share) ? 'cleared' : 'inside'),
    restsOn: () => m,
    value: () => 100 * share,
    learned: [
      {
        shape: `${c.run} on ${c.signal} ${c.side} ${c.settleMs}`,
        keep: () => [...keepRing(usual), ...keepRing(moved), ...keepRing(minutes)],
        resume(kept) {
          resumeRing(usual, kept[0], kept[1])
          resumeRing(moved, kept[2], kept[3])
          resumeRing(minutes, kept[4], kept[5])
          if (moved.count() !== minutes.count()) {
            moved.clear()
            minutes.clear()
          }
          share = rate()
        },
        forget() {
          usual.clear()
          moved.clear()
          minutes.clear()
          share = Number.NaN
        },
      },
    ],
  }
}
