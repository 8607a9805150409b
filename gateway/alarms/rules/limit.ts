import { judgeLimit, makeLimit, type Limit } from '../limit.ts'
import type { ConditionOf } from '../rule.ts'
import { known, type SignalMemory } from '../signal-memory.ts'
import type { Place, ReadyCondition, Verdict } from './ready.ts'
import { createRing, type Ring } from './ring.ts'

export function limitCondition(c: ConditionOf<'limit'>, { find }: Place): ReadyCondition | null {
  const m = find(c.signal)
  if (!m) return null
  return c.medianOverMs !== undefined ? new MedianLimit(m, c, c.medianOverMs) : c.end !== undefined ? new EndLimit(m, c, c.end) : new PlainLimit(m, c)
}

/** The newest value against its limit: most alarms of a fleet. */
class PlainLimit implements ReadyCondition {
  readonly reads: readonly SignalMemory[]
  readonly limit: number
  protected readonly m: SignalMemory
  protected readonly bound: Limit

  constructor(m: SignalMemory, c: ConditionOf<'limit'>) {
    this.reads = [m]
    this.limit = c.limit
    this.m = m
    this.bound = makeLimit(c.side, c.limit, c.deadband)
  }

  get unit(): string {
    return this.m.unit
  }

  judge(_atMs: number): Verdict {
    return known(this.m) ? judgeLimit(this.m.value, this.bound) : 'unknown'
  }

  restsOn(): SignalMemory {
    return this.m
  }

  value(): number {
    return this.m.value
  }
}

class EndLimit extends PlainLimit {
  private readonly end: 'low' | 'high'

  constructor(m: SignalMemory, c: ConditionOf<'limit'>, end: 'low' | 'high') {
    super(m, c)
    this.end = end
  }

  override value(): number {
    return this.end === 'low' ? this.m.low : this.m.high
  }

  override judge(): Verdict {
    return judgeFigure(this.m, this.value(), this.bound)
  }
}

class MedianLimit extends PlainLimit {
  private readonly smooth: Smoothed

  constructor(m: SignalMemory, c: ConditionOf<'limit'>, overMs: number) {
    super(m, c)
    this.smooth = new Smoothed(overMs)
  }

  take(s: SignalMemory, atMs: number): void {
    this.smooth.add(s.value, atMs)
  }

  override value(): number {
    return this.smooth.value()
  }

  override judge(): Verdict {
    return judgeFigure(this.m, this.smooth.value(), this.bound)
  }
}

const judgeFigure = (m: SignalMemory, v: number, bound: Limit): Verdict => (!known(m) || Number.isNaN(v) ? 'unknown' : judgeLimit(v, bound))

const MOST = 31
/** Fewer have no middle that one wild one could not be. */
const LEAST = 3

/** Median of the readings of the last `overMs` (NaN: fewer than three), thinned to 31: where more come, the first of each thirtieth stands for it. */
export class Smoothed {
  private readonly overMs: number
  private readonly ring: Ring = createRing(MOST)
  private slot = Number.NEGATIVE_INFINITY
  private middle = Number.NaN

  constructor(overMs: number) {
    this.overMs = overMs
  }

  add(value: number, atMs: number): void {
    const s = Math.floor(atMs / (this.overMs / (MOST - 1)))
    if (s <= this.slot) return
    this.slot = s
    this.ring.dropOlder(atMs - this.overMs)
    this.ring.push(value, atMs)
    this.middle = this.ring.count() < LEAST ? Number.NaN : this.ring.middle(0, this.ring.count())
  }

  value(): number {
    return this.middle
  }
}
