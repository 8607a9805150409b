/**
 * A robust line through a long span as readings come in: one reading stands for each 48th of the span, and the line is drawn again
 * when a new one begins.
 *
 * cost  about 1,100 slopes once per slot (an hour for a span of two days); 1 kB a rule
 */
import { theilSen, type RobustLine } from '../../trends/theil-sen.ts'
import { createRing, keepRing, resumeRing, type Ring } from './ring.ts'
import type { Learned } from './ready.ts'

const SLOTS = 48
const LEAST = 12
const DAY_MS = 86_400_000

export interface SlottedLine {
  readonly learned: Learned
  readonly points: Ring
  add(value: number, atMs: number): void
  /** Slope per day with its 95 % interval; null: fewer than twelve points, or less than half the span. */
  line(): RobustLine | null
}

export function createSlottedLine(shape: string, spanMs: number, onChange: () => void = () => {}): SlottedLine {
  const ring = createRing(SLOTS + 1)
  const slotMs = spanMs / SLOTS
  let slot = Number.NEGATIVE_INFINITY
  let line: RobustLine | null = null
  const draw = (): void => {
    const n = ring.count()
    line = null
    if (n >= LEAST && ring.time(n - 1) - ring.time(0) >= spanMs / 2) {
      const x = new Float64Array(n)
      const y = new Float64Array(n)
      for (let i = 0; i < n; i++) {
        x[i] = (ring.time(i) - ring.time(0)) / DAY_MS
        y[i] = ring.at(i)
      }
      line = theilSen(x, y)
    }
    onChange()
  }
  return {
    points: ring,
    add(value, atMs) {
      const now = Math.floor(atMs / slotMs)
      if (now <= slot) return
      slot = now
      ring.dropOlder(atMs - spanMs)
      ring.push(value, atMs)
      draw()
    },
    line: () => line,
    learned: {
      shape,
      keep: () => keepRing(ring),
      resume([values, times]) {
        resumeRing(ring, values, times)
        if (ring.count() === 0) return
        slot = Math.floor(ring.time(ring.count() - 1) / slotMs)
        draw()
      },
      forget() {
        ring.clear()
        line = null
        onChange()
      },
    },
  }
}
