/** What a lane draws beside its lines: limits by name, and the spans in which nothing was heard or nothing could be used. */
import type uPlot from 'uplot'
import type { LaneData } from './lane-data.ts'

export const FONT = '12px "Atkinson Hyperlegible Next Variable", system-ui, sans-serif'

const scaled = (px: number): string => FONT.replace('12px', `${12 * px}px`)

/** What is usual, as a plain ground under grid and lines. */
export function drawBands(u: uPlot, data: LaneData): void {
  const { ctx, bbox } = u
  ctx.save()
  ctx.fillStyle = data.colours.sunk
  for (const b of data.bands) {
    const top = Math.max(bbox.top, u.valToPos(b.high, 'y', true))
    const foot = Math.min(bbox.top + bbox.height, u.valToPos(b.low, 'y', true))
    if (foot > top) ctx.fillRect(bbox.left, top, bbox.width, foot - top)
  }
  ctx.restore()
}

/** Broken lines, each named at the right edge. Names that would touch are moved apart, never left out. */
export function drawLimits(u: uPlot, data: LaneData): void {
  const { ctx, bbox } = u
  const px = devicePixelRatio
  const lines = data.limits.map((l) => ({ text: l.text, y: u.valToPos(l.value, 'y', true) })).filter((l) => l.y >= bbox.top && l.y <= bbox.top + bbox.height)
  lines.sort((a, b) => a.y - b.y)
  ctx.save()
  ctx.strokeStyle = data.colours.ink2
  ctx.lineWidth = 1.2 * px
  ctx.setLineDash([7 * px, 4 * px])
  for (const { y } of lines) {
    ctx.beginPath()
    ctx.moveTo(bbox.left, y)
    ctx.lineTo(bbox.left + bbox.width, y)
    ctx.stroke()
  }
  ctx.font = scaled(px)
  ctx.fillStyle = data.colours.ink2
  ctx.textBaseline = 'middle'
  let last = Number.NEGATIVE_INFINITY
  for (const { text, y } of lines) {
    last = Math.max(y, last + 13 * px)
    ctx.fillText(text, bbox.left + bbox.width + 6 * px, last)
  }
  ctx.restore()
}

/** Hatch over the span, and the reason on a tab of the page's colour where there is room for it. */
export function drawGaps(u: uPlot, data: LaneData): void {
  const { ctx, bbox } = u
  const px = devicePixelRatio
  for (const g of data.gaps) {
    const x0 = Math.max(bbox.left, u.valToPos(g.fromMs / 1000, 'x', true))
    const x1 = Math.min(bbox.left + bbox.width, u.valToPos(g.toMs / 1000, 'x', true))
    if (x1 - x0 < 3 * px) continue
    ctx.save()
    ctx.beginPath()
    ctx.rect(x0, bbox.top, x1 - x0, bbox.height)
    ctx.clip()
    ctx.strokeStyle = data.colours.ring
    ctx.globalAlpha = 0.6
    ctx.lineWidth = px
    ctx.beginPath()
    for (let x = x0 - bbox.height; x < x1; x += 7 * px) {
      ctx.moveTo(x, bbox.top + bbox.height)
      ctx.lineTo(x + bbox.height, bbox.top)
    }
    ctx.stroke()
    ctx.restore()
    ctx.save()
    ctx.font = scaled(px)
    const w = ctx.measureText(g.why).width
    // The word may stand out a little over both sides of a narrow gap, as long as it stays in the lane.
    const x = (x0 + x1 - w) / 2
    if (w < 2 * (x1 - x0) && x > bbox.left && x + w < bbox.left + bbox.width) {
      ctx.fillStyle = data.colours.page
      ctx.fillRect(x - 4 * px, bbox.top + 2 * px, w + 8 * px, 17 * px)
      ctx.fillStyle = data.colours.ink2
      ctx.textBaseline = 'middle'
      ctx.fillText(g.why, x, bbox.top + 11 * px)
    }
    ctx.restore()
  }
}
