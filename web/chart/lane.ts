/**
 * One lane of a trend: the only place that knows uPlot. Times go in as ms and are divided once here; a null is a gap, never
 * bridged. The lane draws its band of lowest to highest, limits, gaps with their reason, and shares its cursor by a key.
 */
import uPlot from 'uplot'
import 'uplot/dist/uPlot.min.css'

export interface LaneSeries {
  readonly name: string
  /** Css colour and dash of the line. */
  readonly colour: string
  readonly dash: readonly number[]
  readonly atMs: readonly number[]
  readonly mean: readonly (number | null)[]
  readonly min: readonly (number | null)[]
  readonly max: readonly (number | null)[]
}

export interface LaneLimit {
  readonly name: string
  readonly value: number
  readonly text: string
}

export interface Gap {
  readonly fromMs: number
  readonly toMs: number
  readonly why: string
}

export interface LaneData {
  readonly fromMs: number
  readonly toMs: number
  readonly series: readonly LaneSeries[]
  readonly limits: readonly LaneLimit[]
  readonly gaps: readonly Gap[]
  /** Times of site-log entries and of the cursor's tick labels come with the axis. */
  readonly ticks: (fromMs: number, toMs: number, room: number) => readonly { readonly ms: number; readonly text: string }[]
  readonly axis: boolean
  readonly digits: number
  readonly colours: {
    readonly grid: string
    readonly text: string
    readonly ink: string
    readonly ink2: string
    readonly ring: string
    readonly page: string
    readonly sunk: string
  }
}

export interface Lane {
  set(data: LaneData): void
  size(width: number, height: number): void
  destroy(): void
}

const FONT = '12px "Atkinson Hyperlegible Next Variable", system-ui, sans-serif'
const LEFT = 56
const RIGHT = 74

/**
 * Draws into `host`. `onCursor` gets the time under the cursor in ms, or null; `onZoom` the span dragged out. Lanes made with
 * one `key` move their cursors together.
 */
export function createLane(
  host: HTMLElement,
  key: string,
  first: LaneData,
  size: { width: number; height: number },
  onCursor: (ms: number | null) => void,
  onZoom: (fromMs: number, toMs: number) => void,
): Lane {
  let data = first
  const options = (): uPlot.Options => ({
    ...size,
    padding: [6, 0, 0, 0],
    legend: { show: false },
    cursor: {
      sync: { key, setSeries: false },
      drag: { x: true, y: false, setScale: false },
      y: false,
      points: { size: 9, width: 1.5, stroke: () => data.colours.page, fill: (_u, i) => data.series[Math.floor((i - 1) / 3)]?.colour ?? '' },
    },
    select: { show: true, left: 0, top: 0, width: 0, height: 0 },
    scales: { x: { time: false, range: () => [data.fromMs / 1000, data.toMs / 1000] }, y: { range: (_u, low, high) => span(low, high, data.limits) } },
    axes: [
      {
        show: true,
        side: 2,
        size: data.axis ? 46 : 4,
        font: FONT,
        stroke: data.colours.text,
        grid: { stroke: data.colours.grid, width: 1 },
        ticks: { show: data.axis, stroke: data.colours.grid, width: 1, size: 5 },
        splits: (u) => data.ticks(data.fromMs, data.toMs, u.bbox.width / devicePixelRatio).map((t) => t.ms / 1000),
        values: (u, splits) => {
          if (!data.axis) return splits.map(() => '')
          const by = new Map(data.ticks(data.fromMs, data.toMs, u.bbox.width / devicePixelRatio).map((t) => [t.ms / 1000, t.text]))
          return splits.map((s) => by.get(s) ?? '')
        },
      },
      {
        size: LEFT,
        font: FONT,
        stroke: data.colours.text,
        grid: { stroke: data.colours.grid, width: 1 },
        ticks: { show: false },
        space: 26,
        values: (_u, splits) => splits.map((v) => axisFigure(v)),
      },
      {
        side: 1,
        size: RIGHT,
        font: FONT,
        stroke: data.colours.ink,
        grid: { show: false },
        ticks: { show: false },
        splits: () => data.limits.map((l) => l.value),
        values: () => data.limits.map((l) => l.text),
      },
    ],
    series: [
      {},
      ...data.series.flatMap((s): uPlot.Series[] => [
        { label: s.name, stroke: s.colour, width: 1.75, dash: [...s.dash], spanGaps: false, points: { show: (_u, _i, i0, i1) => i1 - i0 < 2, size: 4 } },
        { show: true, stroke: 'transparent', points: { show: false } },
        { show: true, stroke: 'transparent', points: { show: false } },
      ]),
    ],
    bands: data.series.map((s, i) => ({ series: [3 + i * 3, 2 + i * 3] as [number, number], fill: tint(s.colour) })),
    hooks: {
      drawAxes: [drawLimits],
      draw: [drawGaps],
      setCursor: [(u) => onCursor(u.cursor.left === undefined || u.cursor.left < 0 || u.cursor.idx === null ? null : Math.round(u.posToVal(u.cursor.left, 'x') * 1000))],
      setSelect: [
        (u) => {
          if (u.select.width < 6) return
          const a = u.posToVal(u.select.left, 'x') * 1000
          const b = u.posToVal(u.select.left + u.select.width, 'x') * 1000
          u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false)
          onZoom(Math.round(a), Math.round(b))
        },
      ],
    },
  })
  const drawLimits = (u: uPlot): void => {
    const { ctx, bbox } = u
    ctx.save()
    ctx.strokeStyle = data.colours.ink2
    ctx.lineWidth = 1.2 * devicePixelRatio
    ctx.setLineDash([7 * devicePixelRatio, 4 * devicePixelRatio])
    for (const l of data.limits) {
      const y = u.valToPos(l.value, 'y', true)
      if (y < bbox.top || y > bbox.top + bbox.height) continue
      ctx.beginPath()
      ctx.moveTo(bbox.left, y)
      ctx.lineTo(bbox.left + bbox.width, y)
      ctx.stroke()
    }
    ctx.restore()
  }
  const drawGaps = (u: uPlot): void => {
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
      ctx.font = FONT.replace('12px', `${12 * px}px`)
      const w = ctx.measureText(g.why).width
      if (w + 8 * px < x1 - x0) {
        ctx.fillStyle = data.colours.page
        ctx.fillRect((x0 + x1 - w) / 2 - 4 * px, bbox.top + 4 * px, w + 8 * px, 18 * px)
        ctx.fillStyle = data.colours.ink2
        ctx.textBaseline = 'top'
        ctx.fillText(g.why, (x0 + x1 - w) / 2, bbox.top + 7 * px)
      }
      ctx.restore()
    }
  }
  const columns = (): uPlot.AlignedData => align(data.series)
  let plot = new uPlot(options(), columns(), host)
  const shape = (d: LaneData): string => JSON.stringify([d.series.map((s) => [s.name, s.colour]), d.axis, d.limits.length, d.colours.page])
  return {
    set(next) {
      const same = shape(next) === shape(data)
      data = next
      if (same) plot.setData(columns())
      else {
        plot.destroy()
        plot = new uPlot(options(), columns(), host)
      }
    },
    size(width, height) {
      size = { width, height }
      plot.setSize(size)
    },
    destroy() {
      plot.destroy()
    },
  }
}

/** One shared time column, ascending; where a series has no span at a time it holds `undefined`, which uPlot reads as "nothing here". */
function align(series: readonly LaneSeries[]): uPlot.AlignedData {
  const times = [...new Set(series.flatMap((s) => s.atMs))].sort((a, b) => a - b)
  if (times.length === 0) return [[], ...series.flatMap(() => [[], [], []])] as unknown as uPlot.AlignedData
  const at = new Map(times.map((t, i) => [t, i]))
  const out: (number | null | undefined)[][] = [times.map((t) => t / 1000)]
  for (const s of series) {
    for (const column of [s.mean, s.min, s.max]) {
      const full: (number | null | undefined)[] = Array.from({ length: times.length })
      s.atMs.forEach((t, i) => (full[at.get(t) ?? 0] = column[i] ?? null))
      out.push(full)
    }
  }
  return out as uPlot.AlignedData
}

/** Limits always inside, a tenth of room around, never a flat line blown up to full height. */
function span(low: number | null, high: number | null, limits: readonly LaneLimit[]): [number, number] {
  const all = [...(low === null || high === null ? [] : [low, high]), ...limits.map((l) => l.value)]
  if (all.length === 0) return [0, 1]
  const a = Math.min(...all)
  const b = Math.max(...all)
  const room = Math.max((b - a) * 0.1, Math.abs(b) * 0.02, 0.1)
  return [a >= 0 && a - room < 0 ? 0 : a - room, b + room]
}

const axisFigure = (v: number): string => (Math.abs(v) >= 10_000 ? `${Math.round(v / 1000)}k` : String(Math.round(v * 1000) / 1000).replace('-', '\u2212'))

/** The same colour at a fifth, for the band from lowest to highest. */
const tint = (hex: string): string => `${hex}33`
