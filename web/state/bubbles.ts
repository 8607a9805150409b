/** Bubbles of an aerated vessel: places by a fixed seed per vessel, so that they do not dance when values change. */
import { point, type Arc } from './arcs.ts'

export interface Bubble {
  readonly x: number
  readonly y: number
  readonly r: number
}

/** Even spread over the vessel between radii 178 and 202; `fine` for the treatment unit. */
export function bubbles(arc: Arc, seedText: string, fine: boolean): readonly Bubble[] {
  let seed = Array.from(seedText).reduce((h, c) => (Math.imul(h, 31) + (c.codePointAt(0) ?? 0)) >>> 0, 2166136261)
  // mulberry32: a plain linear generator would line the bubbles up.
  const next = (): number => {
    seed = (seed + 0x6d2b79f5) >>> 0
    let t = Math.imul(seed ^ (seed >>> 15), seed | 1)
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61)
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296
  }
  const [least, most, full] = fine ? [1.1, 2.1, 46] : [1.6, 3.4, 26]
  const n = Math.round((full * (arc.to - arc.from)) / (fine ? 40 : 36))
  return Array.from({ length: n }, () => {
    const [x, y] = point(arc.from + 2 + next() * (arc.to - arc.from - 4), 180 + next() * 20)
    return { x, y, r: Math.round((least + next() * (most - least)) * 100) / 100 }
  })
}
