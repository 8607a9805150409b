/** The lanes of a view as one picture with all that makes it readable away from its page: title, span, zone, names, units, figures. */
import type { ChartColours } from './colours.ts'
import type { LaneData } from './lane-data.ts'
import { createLane } from './lane.ts'
import { FONT } from './marks.ts'

export interface PictureKey {
  readonly text: string
  readonly note: string
  readonly colour: string
  readonly dash: readonly number[]
  readonly width: number
}

export interface Picture {
  readonly title: string
  /** Under the title: span, zone, what is compared. */
  readonly lines: readonly string[]
  readonly alarms: readonly { readonly letter: string; readonly text: string; readonly from: number; readonly to: number }[]
  readonly lanes: readonly { readonly data: LaneData; readonly height: number; readonly keys: readonly PictureKey[] }[]
  /** Runs in thousandths of the span. */
  readonly bars: readonly { readonly name: string; readonly runs: readonly { readonly x: number; readonly width: number; readonly height: number; readonly share: number }[] }[]
  readonly foot: readonly string[]
  readonly zone: string
  readonly colours: ChartColours
}

const WIDE = 1440
const EDGE = 32
const NAMES = 330
const SIDES = [60, 84] as const
const PLOT = WIDE - 2 * EDGE - NAMES - SIDES[0] - SIDES[1]
const X0 = EDGE + NAMES + SIDES[0]
const ROW = 22

/** Draws it at the sharpness of the screen. Lanes are made for it, drawn once and taken down. */
export async function drawPicture(p: Picture): Promise<HTMLCanvasElement> {
  const height = 2 * EDGE + 44 + 22 * p.lines.length + ROW * p.alarms.length + p.lanes.reduce((sum, l) => sum + roomOf(l) + 8, 0) + ROW * p.bars.length + 58 + 20 * p.foot.length
  const canvas = document.createElement('canvas')
  canvas.width = Math.round(WIDE * devicePixelRatio)
  canvas.height = Math.round(height * devicePixelRatio)
  const ctx = canvas.getContext('2d')
  if (!ctx) throw new Error('this browser gives no canvas to draw a picture on')
  ctx.scale(devicePixelRatio, devicePixelRatio)
  const ink = p.colours
  ctx.fillStyle = ink.page
  ctx.fillRect(0, 0, WIDE, height)
  const write = (text: string, x: number, y: number, size = 13, weight = 400, colour = ink.ink2, most?: number): void => {
    ctx.font = `${weight} ${FONT.replace('12px', `${size}px`)}`
    ctx.fillStyle = colour
    ctx.fillText(most === undefined ? text : fitted(ctx, text, most), x, y)
  }
  let y = EDGE + 24
  write(p.title, EDGE, y, 26, 650, ink.ink, WIDE - 2 * EDGE)
  y += 10
  for (const line of p.lines) write(line, EDGE, (y += 20), 14, 400, ink.ink2, WIDE - 2 * EDGE)
  ctx.fillStyle = ink.ink
  ctx.fillRect(EDGE, (y += 10), WIDE - 2 * EDGE, 2)
  y += 8
  p.alarms.forEach((a, i) => {
    if (i === 0) write('Alarms', EDGE, y + 15, 14, 650, ink.ink)
    ctx.fillStyle = ink.ink2
    ctx.fillRect(X0 + PLOT * a.from, y + 7, Math.max(3, PLOT * (a.to - a.from)), 7)
    const text = `${a.letter}  ${a.text}`
    const before = a.to > 0.6
    ctx.textAlign = before ? 'right' : 'left'
    const [at, room] = before ? [X0 + PLOT * a.from - 8, PLOT * a.from + SIDES[0] - 8] : [X0 + PLOT * a.to + 8, PLOT * (1 - a.to) + SIDES[1] - 8]
    write(text, at, y + 15, 12, 650, ink.ink, room)
    ctx.textAlign = 'left'
    y += ROW
  })
  for (const lane of p.lanes) {
    const drawn = await laneCanvas(lane.data, lane.height)
    if (drawn) ctx.drawImage(drawn, EDGE + NAMES, y, SIDES[0] + PLOT + SIDES[1], lane.height)
    let at = y + 16
    for (const k of lane.keys) {
      write(k.text, EDGE, at, 13, k.width > 1 ? 650 : 400, ink.ink, NAMES - 8)
      ctx.strokeStyle = k.colour
      ctx.lineWidth = k.width > 1 ? 3 : 1.5
      ctx.setLineDash([...k.dash])
      ctx.beginPath()
      ctx.moveTo(EDGE, at + 13)
      ctx.lineTo(EDGE + 26, at + 13)
      ctx.stroke()
      ctx.setLineDash([])
      write(k.note, EDGE + 34, at + 17, 12, 400, ink.ink2, NAMES - 40)
      at += KEY
    }
    y += roomOf(lane) + 8
  }
  for (const bar of p.bars) {
    write(bar.name, EDGE, y + 15, 13, 650, ink.ink, NAMES - 8)
    for (const r of bar.runs) {
      ctx.fillStyle = r.share > 0 ? ink.ink2 : ink.ring
      ctx.fillRect(X0 + (PLOT * r.x) / 1000, y + 10 - r.height / 2, Math.max(0.5, (PLOT * r.width) / 1000), r.height)
    }
    y += ROW
  }
  y += 6
  ctx.fillStyle = ink.grid
  ctx.fillRect(X0, y, PLOT, 1)
  const { fromMs = 0, toMs = 1, ticks = [] } = p.lanes[0]?.data ?? {}
  ctx.textAlign = 'center'
  for (const t of ticks) {
    const x = X0 + (PLOT * (t.ms - fromMs)) / (toMs - fromMs)
    t.text.split('\n').forEach((line, i) => write(line, x, y + 18 + 15 * i, 12, 400, ink.text))
  }
  ctx.textAlign = 'left'
  write(p.zone, X0 + PLOT + 8, y + 33, 12, 400, ink.text, SIDES[1])
  y += 46
  for (const line of p.foot) write(line, EDGE, (y += 20), 13, 400, ink.ink2, WIDE - 2 * EDGE)
  return canvas
}

const KEY = 36
const roomOf = (l: Picture['lanes'][number]): number => Math.max(l.height, KEY * l.keys.length + 8)

/** A chart that nobody sees: uPlot draws it in a microtask, and this waits for no longer than that, so that it can be done before a sheet is printed. */
async function laneCanvas(data: LaneData, height: number): Promise<HTMLCanvasElement | null> {
  const host = document.createElement('div')
  const nothing = (): void => undefined
  const lane = createLane(host, data, { width: SIDES[0] + PLOT + SIDES[1], height, sides: SIDES }, nothing, nothing)
  for (let i = 0; i < 8; i++) await Promise.resolve()
  const canvas = host.querySelector('canvas')
  lane.destroy()
  return canvas
}

function fitted(ctx: CanvasRenderingContext2D, text: string, most: number): string {
  if (ctx.measureText(text).width <= most) return text
  let end = text.length
  while (end > 1 && ctx.measureText(`${text.slice(0, end)}…`).width > most) end--
  return `${text.slice(0, end)}…`
}
