/**
 * No movement where there must be some. Equal samples prove nothing on an idle weekend; a wash, a dose, a pause of the air or a whole
 * day do. A value at one of its physical ends (no oxygen, an empty or a full tank) is not stuck but there.
 */
import { ROUNDING } from '../limit.ts'
import type { ConditionOf } from '../rule.ts'
import { known, type SignalMemory } from '../signal-memory.ts'
import { reading, type Place, type ReadyCondition } from './ready.ts'
import { createRuns } from './runs.ts'

const reaches = (move: number, change: number): boolean => move >= change * (1 - ROUNDING)

export function stuckCondition(c: ConditionOf<'stuck'>, place: Place): ReadyCondition | null {
  const m = place.find(c.signal)
  const other = c.through === null ? null : place.find(c.through.signal)
  if (!m || (c.through !== null && !other)) return null
  const atEnd = (v: number): boolean => (c.restsLow !== null && v <= c.restsLow) || (c.restsHigh !== null && v >= c.restsHigh)
  return c.through && other ? throughEvents(c, c.through, m, other, atEnd) : onEnd(c, m, atEnd)
}

/** Without an event: the same value for so long. Time without readings does not count. */
function onEnd(c: ConditionOf<'stuck'>, m: SignalMemory, atEnd: (v: number) => boolean): ReadyCondition {
  let anchor = Number.NaN
  let sinceMs = 0
  let lastMs = 0
  return {
    reads: [m],
    unit: 'h',
    limit: c.forMs / 3_600_000,
    take: (s, atMs) => {
      if (Number.isNaN(anchor) || reaches(Math.abs(s.value - anchor), c.change) || atEnd(s.value)) {
        anchor = s.value
        sinceMs = atMs
      } else if (atMs - lastMs > s.staleAfterMs) sinceMs += atMs - lastMs
      lastMs = atMs
    },
    judge: () => (!known(m) || Number.isNaN(anchor) ? 'unknown' : lastMs - sinceMs >= c.forMs ? 'violated' : 'cleared'),
    restsOn: () => m,
    value: () => (lastMs - sinceMs) / 3_600_000,
    learned: [
      {
        shape: `${c.signal} still`,
        keep: () => (Number.isNaN(anchor) ? [] : [[anchor, sinceMs, lastMs]]),
        resume([kept]) {
          if (kept?.length === 3) [anchor, sinceMs, lastMs] = kept as [number, number, number]
        },
        forget() {
          anchor = Number.NaN
        },
      },
    ],
  }
}

type Through = NonNullable<ConditionOf<'stuck'>['through']>

function throughEvents(c: ConditionOf<'stuck'>, t: Through, m: SignalMemory, other: SignalMemory, atEnd: (v: number) => boolean): ReadyCondition {
  const runs = createRuns(t.value ?? 1)
  let still = 0
  /** The event that is being watched: its span, and what the value did since its beginning. */
  let endMs: number | null = null
  let least = Number.NaN
  let most = Number.NaN
  let rested = false
  let watching = false

  const conclude = (): void => {
    if (reaches(most - least, c.change)) still = 0
    else if (!rested) still++
    endMs = null
    watching = false
  }
  const see = (v: number): void => {
    if (!(v >= least)) least = v
    if (!(v <= most)) most = v
    if (atEnd(v)) rested = true
  }
  return {
    reads: reading(m, other),
    unit: '1',
    limit: t.times,
    take: (s, atMs) => {
      if (endMs !== null && atMs > endMs + t.settleMs) conclude()
      if (s === other) {
        const was = runs.sinceMs()
        const ended = runs.take(s, atMs)
        const since = runs.sinceMs()
        if (since !== null && since !== was) {
          if (endMs !== null) conclude()
          watching = known(m)
          rested = false
          least = most = Number.NaN
          if (watching) see(m.value)
        } else if (ended && watching && ended.toMs - ended.fromMs >= c.forMs) endMs = ended.toMs
        else if (since === null && endMs === null) watching = false
      }
      if (s === m && watching) {
        see(m.value)
        if (reaches(most - least, c.change)) still = 0
      }
    },
    judge: () => (!known(m) ? 'unknown' : still >= t.times ? 'violated' : 'cleared'),
    restsOn: () => m,
    value: () => still,
    learned: [
      {
        shape: `${c.signal} through ${t.signal}`,
        keep: () => [[still]],
        resume([kept]) {
          still = kept?.[0] ?? 0
        },
        forget() {
          still = 0
          watching = false
          endMs = null
        },
      },
    ],
  }
}
