/**
 * Angles and arcs of the ring. Degrees, clockwise from 12 o'clock; water runs clockwise. Every stage stands at the same place
 * on every loop at every size; a stage a loop does not have leaves plain pipe.
 */
import type { StageBody } from '../../server/wire.ts'

export interface Arc {
  readonly from: number
  readonly to: number
}

export const PIPE: Arc = { from: 194, to: 526 }
const PLACE: Readonly<Record<Exclude<StageBody['kind'], 'bio'>, Arc>> = {
  pad: { from: 166, to: 194 },
  sump: { from: 200, to: 232 },
  filter: { from: 240, to: 266 },
  treatment: { from: 274, to: 314 },
  finished: { from: 46, to: 130 },
  washer: { from: 138, to: 160 },
}
/** Most bio tanks drawn one by one; more are drawn as so many, with the number in words. */
export const MOST_TANKS = 6

export interface Placed {
  readonly id: string
  readonly kind: StageBody['kind']
  readonly name: string
  readonly arc: Arc
  readonly middle: number
}

/** Where each stage stands. Bio tanks share -38 to 38 with gaps of 4. */
export function place(stages: readonly StageBody[]): readonly Placed[] {
  const tanks = Math.min(MOST_TANKS, stages.filter((s) => s.kind === 'bio').length)
  const width = tanks > 0 ? (76 - 4 * (tanks - 1)) / tanks : 0
  let n = 0
  return stages.map((s) => {
    if (s.kind !== 'bio') return { ...s, arc: PLACE[s.kind], middle: (PLACE[s.kind].from + PLACE[s.kind].to) / 2 }
    const i = Math.min(n++, tanks - 1)
    const from = -38 + i * (width + 4)
    return { ...s, arc: { from, to: from + width }, middle: from + width / 2 }
  })
}

const round = (v: number): number => Math.round(v * 100) / 100
export const point = (angle: number, r: number): readonly [number, number] => {
  const a = (angle * Math.PI) / 180
  return [round(r * Math.sin(a)), round(-r * Math.cos(a))]
}

/** SVG path of an arc round (cx, cy). */
export function arcPath(a: Arc, r: number, cx = 0, cy = 0): string {
  const [x0, y0] = point(a.from, r)
  const [x1, y1] = point(a.to, r)
  return `M${round(cx + x0)} ${round(cy + y0)}A${r} ${r} 0 ${a.to - a.from > 180 ? 1 : 0} 1 ${round(cx + x1)} ${round(cy + y1)}`
}

/** SVG path of the area between two radii. */
export function sectorPath(a: Arc, inner: number, outer: number, cx = 0, cy = 0): string {
  const at = (angle: number, r: number): string => {
    const [x, y] = point(angle, r)
    return `${round(cx + x)} ${round(cy + y)}`
  }
  const large = a.to - a.from > 180 ? 1 : 0
  return `M${at(a.from, outer)}A${outer} ${outer} 0 ${large} 1 ${at(a.to, outer)}L${at(a.to, inner)}A${inner} ${inner} 0 ${large} 0 ${at(a.from, inner)}Z`
}

/** SVG path of straight ticks from `inner` to `outer` at each angle. */
export function ticksPath(angles: readonly number[], inner: number, outer: number, cx = 0, cy = 0): string {
  return angles
    .map((angle) => {
      const [x0, y0] = point(angle, inner)
      const [x1, y1] = point(angle, outer)
      return `M${round(cx + x0)} ${round(cy + y0)}L${round(cx + x1)} ${round(cy + y1)}`
    })
    .join('')
}

/** What is left of `a` when the openings are taken out of it. Angles of a full turn apart are the same place. */
export function minus(a: Arc, openings: readonly Arc[]): readonly Arc[] {
  let parts: Arc[] = [a]
  for (const o of openings) {
    for (const turn of [-360, 0, 360]) {
      const from = o.from + turn
      const to = o.to + turn
      parts = parts.flatMap((p) => (to <= p.from || from >= p.to ? [p] : [...(from > p.from ? [{ from: p.from, to: from }] : []), ...(to < p.to ? [{ from: to, to: p.to }] : [])]))
    }
  }
  return parts.filter((p) => p.to - p.from > 0.5)
}
