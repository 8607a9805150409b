/**
 * What a lane draws of a course. A line: from ring to ring, its interval as two tinted blades that turn about its middle. A step: two levels, an
 * upright with a disc at each, and at the foot of the lane a bracket over the time in which it lies; open where it may lie outside.
 *
 *      o--.__                     ---------o
 *         blade --.__                      |
 *                     --o                  o-----------
 *                                        [---]
 */
import type uPlot from 'uplot'
import type { LaidLine, LaidStep } from '../state/course.ts'
import { tint } from './colours.ts'
import type { LaneCourse, LaneData } from './lane-data.ts'

export function drawCourses(u: uPlot, data: LaneData): void {
  if (data.courses.length === 0) return
  const { ctx, bbox } = u
  ctx.save()
  ctx.beginPath()
  // Room for the rings at either end.
  const room = 6 * devicePixelRatio
  ctx.rect(bbox.left - room, bbox.top, bbox.width + 2 * room, bbox.height)
  ctx.clip()
  ctx.lineCap = 'round'
  data.courses.forEach((c, i) => {
    if (c.line) drawLine(u, c, c.line, data.colours.page)
    if (c.step) drawStep(u, c, c.step, data.colours.page, i)
  })
  ctx.restore()
}

const placeOf =
  (u: uPlot) =>
  (ms: number, value: number): readonly [number, number] => [u.valToPos(ms / 1000, 'x', true), u.valToPos(value, 'y', true)]

function drawLine(u: uPlot, c: LaneCourse, l: LaidLine, page: string): void {
  const { ctx } = u
  const px = devicePixelRatio
  const place = placeOf(u)
  const [from, to] = [place(c.fromMs, l.best[0]), place(c.toMs, l.best[1])]
  const middle = place(l.atMs, l.value)
  for (const [edge, ms] of [
    [[l.low[0], l.high[0]], c.fromMs],
    [[l.low[1], l.high[1]], c.toMs],
  ] as const) {
    ctx.beginPath()
    ctx.moveTo(...middle)
    ctx.lineTo(...place(ms, edge[0]))
    ctx.lineTo(...place(ms, edge[1]))
    ctx.closePath()
    ctx.fillStyle = tint(c.colour)
    ctx.fill()
  }
  ctx.strokeStyle = c.colour
  ctx.lineWidth = px
  for (const [a, b] of [l.low, l.high]) {
    ctx.beginPath()
    ctx.moveTo(...place(c.fromMs, a))
    ctx.lineTo(...place(c.toMs, b))
    ctx.stroke()
  }
  haloed(u, [from, to], c.colour, page)
  ringed(u, from, c.colour, page)
  ringed(u, to, c.colour, page)
}

function drawStep(u: uPlot, c: LaneCourse, s: LaidStep, page: string, row: number): void {
  const { ctx, bbox } = u
  const px = devicePixelRatio
  const place = placeOf(u)
  const [before, after] = [place(s.atMs, s.before), place(s.atMs, s.after)]
  haloed(u, [place(c.fromMs, s.before), before, after, place(c.toMs, s.after)], c.colour, page)
  ringed(u, before, c.colour, page)
  ringed(u, after, c.colour, page)
  const y = bbox.top + bbox.height - (8 + 9 * row) * px
  const [left, right] = [place(s.earliestMs ?? c.fromMs, s.before)[0], place(s.latestMs ?? c.toMs, s.before)[0]]
  const bracket = (): void => {
    ctx.beginPath()
    if (s.earliestMs !== null) {
      ctx.moveTo(left, y - 5 * px)
      ctx.lineTo(left, y + 3 * px)
    }
    ctx.moveTo(left, y)
    ctx.lineTo(right, y)
    if (s.latestMs !== null) {
      ctx.moveTo(right, y - 5 * px)
      ctx.lineTo(right, y + 3 * px)
    }
    ctx.stroke()
  }
  ctx.strokeStyle = page
  ctx.lineWidth = 6 * px
  bracket()
  ctx.strokeStyle = c.colour
  ctx.lineWidth = 2.5 * px
  bracket()
}

/** A stroke with the page's colour around it, so that it stands off the readings under it. */
function haloed(u: uPlot, places: readonly (readonly [number, number])[], colour: string, page: string): void {
  const { ctx } = u
  const px = devicePixelRatio
  ctx.beginPath()
  places.forEach(([x, y], i) => (i === 0 ? ctx.moveTo(x, y) : ctx.lineTo(x, y)))
  for (const [style, width] of [
    [page, 6],
    [colour, 2.5],
  ] as const) {
    ctx.strokeStyle = style
    ctx.lineWidth = width * px
    ctx.stroke()
  }
}

function ringed(u: uPlot, [x, y]: readonly [number, number], colour: string, page: string): void {
  const { ctx } = u
  const px = devicePixelRatio
  ctx.beginPath()
  ctx.arc(x, y, 4.5 * px, 0, 2 * Math.PI)
  ctx.fillStyle = page
  ctx.fill()
  ctx.strokeStyle = colour
  ctx.lineWidth = 2 * px
  ctx.stroke()
}
