/**
 * What is dosed in 24 h against what was washed in them. A heavy day doses more and is no fault; so the usual need for a unit of washing is
 * learned from this loop's own days, the median of the last thirty on which it washed.
 */
import type { ConditionOf } from '../rule.ts'
import { known, type SignalMemory } from '../signal-memory.ts'
import { reading, type Place, type ReadyCondition } from './ready.ts'
import { createRing, keepRing, resumeRing } from './ring.ts'

const HOUR_MS = 3_600_000
const DAY_MS = 24 * HOUR_MS
const DAYS = 30
/** Days of washing after which the usual need is taken for known. */
const LEAST = 7
/** Clears at this share of what raises. */
const BACK = 0.9

export function dayTotalCondition(c: ConditionOf<'day-total'>, { find, learns, teaches }: Place): ReadyCondition | null {
  const m = find(c.signal)
  const wash = find(c.wash)
  if (!m || !wash) return null
  const dosed = hourly()
  const washed = hourly()
  const needs = createRing(DAYS)
  let usual = Number.NaN
  let day = -1
  const expected = (): number => (Number.isNaN(usual) ? Number.NaN : Math.max(c.least, c.factor * usual * washed.total()))
  const relearn = (): void => {
    usual = needs.count() >= LEAST ? needs.middle(0, needs.count()) : Number.NaN
  }
  return {
    reads: reading(m, wash),
    unit: m.kind === 'counter' ? m.unit : 'min',
    get limit() {
      const e = expected()
      return Number.isNaN(e) ? null : e
    },
    take: (s, atMs) => {
      const today = Math.floor(atMs / DAY_MS)
      if (day >= 0 && today > day) {
        dosed.roll(today * DAY_MS - 1)
        washed.roll(today * DAY_MS - 1)
        const normal = !(dosed.total() > expected())
        if (today === day + 1 && normal && washed.total() > 0 && dosed.seen() && washed.seen() && learns(atMs) && teaches()) {
          needs.push(dosed.total() / washed.total(), today * DAY_MS)
          relearn()
        }
      }
      day = Math.max(day, today)
      ;(s === m ? dosed : washed).take(s, atMs)
      ;(s === m ? washed : dosed).roll(atMs)
    },
    judge: () => {
      const e = expected()
      if (!known(m) || Number.isNaN(e)) return 'unknown'
      const total = dosed.total()
      return total > e ? 'violated' : total <= BACK * e ? 'cleared' : 'inside'
    },
    restsOn: () => m,
    value: () => dosed.total(),
    learned: [
      {
        shape: `${c.signal} per ${c.wash}`,
        keep: () => [...keepRing(needs), ...dosed.keep(), ...washed.keep(), [day]],
        resume(kept) {
          resumeRing(needs, kept[0], kept[1])
          dosed.resume(kept[2], kept[3])
          washed.resume(kept[4], kept[5])
          day = kept[6]?.[0] ?? -1
          relearn()
        },
        forget() {
          needs.clear()
          relearn()
        },
      },
    ],
  }
}

/** Room is made with the first reading. */
const NO_HOURS = new Float64Array(0)

/** Minutes at work, or what a counter counted, in each of the last 24 hours. */
function hourly() {
  let hours = NO_HOURS
  let hour = -1
  let sum = 0
  let firstMs = -1
  let lastMs = -1
  let lastValue = Number.NaN
  const roll = (atMs: number): void => {
    const now = Math.floor(atMs / HOUR_MS)
    if (hours.length === 0) hours = new Float64Array(24)
    if (hour < 0) hour = now
    for (let h = Math.max(hour + 1, now - 23); h <= now; h++) hours[h % 24] = 0
    if (now > hour) {
      hour = now
      sum = hours.reduce((a, b) => a + b, 0)
    }
  }
  return {
    roll,
    take(m: SignalMemory, atMs: number): void {
      roll(atMs)
      const gapMs = atMs - lastMs
      if (firstMs < 0) firstMs = atMs
      else {
        // A counter that starts again at zero has counted what it shows.
        const more = m.kind === 'counter' ? (m.value >= lastValue ? m.value - lastValue : m.value) : lastValue !== 0 && gapMs <= m.staleAfterMs ? gapMs / 60_000 : 0
        const at = Math.floor(atMs / HOUR_MS)
        if (at === hour && more > 0) {
          hours[at % 24] = (hours[at % 24] as number) + more
          sum += more
        }
      }
      lastMs = atMs
      lastValue = m.value
    },
    total: (): number => sum,
    /** A whole day has been watched. */
    seen: (): boolean => firstMs >= 0 && hour * HOUR_MS + HOUR_MS - firstMs >= DAY_MS,
    keep: (): readonly [readonly number[], readonly number[]] => [
      Array.from({ length: 24 }, (_, h) => hours[h] ?? 0),
      Number.isNaN(lastValue) ? [] : [hour, firstMs, lastMs, lastValue],
    ],
    resume(kept: readonly number[] | undefined, at: readonly number[] | undefined): void {
      if (kept?.length !== 24 || at?.length !== 4 || !kept.every((v) => Number.isFinite(v) && v >= 0)) return
      hours = Float64Array.from(kept)
      ;[hour, firstMs, lastMs, lastValue] = at as [number, number, number, number]
      sum = hours.reduce((a, b) => a + b, 0)
    },
  }
}
