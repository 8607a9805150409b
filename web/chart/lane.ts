/**
 * One lane of a trend: the only place that knows uPlot. Times go in as ms and are divided once here; a null is a gap, never
 * bridged. The lane draws its tint of lowest to highest, its limits, and gaps with their reason. The line of the cursor and the
 * axis of time belong to the page, which has them for all lanes at once.
 */
import uPlot from 'uplot'
import 'uplot/dist/uPlot.min.css'
import { tint } from './colours.ts'
import { drawCourses } from './course-marks.ts'
import type { LaneData, LaneSeries } from './lane-data.ts'
import { drawBands, drawGaps, drawLimits, FONT } from './marks.ts'

export interface Lane {
  set(data: LaneData): void
  size(width: number, height: number): void
  /** Puts the discs on the lines at this time, or takes them away. */
  cursor(ms: number | null): void
  destroy(): void
}

const narrow = matchMedia('(max-width: 720px)')
/** Room beside the lines in px, for figures on the left and limits on the right; page.css has the same two. */
const left = (): number => (narrow.matches ? 40 : 56)
const right = (): number => (narrow.matches ? 54 : 74)
/** Columns per line: mean, doubtful, lowest, highest. */
const COLUMNS = 4

/** Draws into `host`. `onCursor` gets the time under the pointer in ms, or null; `onZoom` the span dragged out. */
export function createLane(
  host: HTMLElement,
  first: LaneData,
  size: { width: number; height: number; sides?: readonly [left: number, right: number] },
  onCursor: (ms: number | null) => void,
  onZoom: (fromMs: number, toMs: number) => void,
): Lane {
  let data = first
  const { sides } = size
  const columns = (): uPlot.AlignedData => align(data.series)
  const seriesOf = (i: number): LaneSeries | undefined => data.series[Math.floor((i - 1) / COLUMNS)]
  const isLine = (i: number): boolean => (i - 1) % COLUMNS < 2
  const options = (): uPlot.Options => ({
    width: size.width,
    height: size.height,
    padding: [6, 0, 2, 0],
    legend: { show: false },
    cursor: {
      x: false,
      y: false,
      drag: { x: true, y: false, setScale: false },
      points: {
        size: (_u, i) => (isLine(i) ? 9 : 0),
        width: (_u, i) => (isLine(i) ? 1.5 : 0),
        stroke: () => data.colours.page,
        fill: (_u, i) => (isLine(i) ? (seriesOf(i)?.colour ?? '') : 'transparent'),
      },
    },
    scales: { x: { time: false, range: () => [data.fromMs / 1000, data.toMs / 1000] }, y: { range: (_u, low, high) => span(low, high, data) } },
    axes: [
      {
        side: 2,
        size: 2,
        grid: { stroke: () => data.colours.grid, width: 1 },
        ticks: { show: false },
        splits: () => data.ticks.map((t) => t.ms / 1000),
        values: (_u, splits) => splits.map(() => ''),
      },
      {
        size: sides?.[0] ?? left,
        font: FONT,
        stroke: () => data.colours.text,
        grid: { stroke: () => data.colours.grid, width: 1 },
        ticks: { show: false },
        space: 26,
        values: (_u, splits) => splits.map((v) => axisFigure(v)),
      },
      { side: 1, size: sides?.[1] ?? right, grid: { show: false }, ticks: { show: false }, values: (_u, splits) => splits.map(() => '') },
    ],
    series: [{}, ...data.series.flatMap(linesOf)],
    bands: data.series.map((s, i) => ({ series: [(i + 1) * COLUMNS, (i + 1) * COLUMNS - 1] as [number, number], fill: s.beside ? 'transparent' : tint(s.colour) })),
    hooks: {
      drawClear: [(u) => drawBands(u, data)],
      drawAxes: [(u) => drawLimits(u, data)],
      draw: [(u) => drawGaps(u, data), (u) => drawCourses(u, data)],
      ready: [
        // Listened to here and not through uPlot's own news of its cursor, which it also tells when data or size change.
        (u) => {
          u.over.addEventListener('mousemove', (e) => onCursor(Math.round(u.posToVal(e.clientX - u.over.getBoundingClientRect().left, 'x') * 1000)))
          u.over.addEventListener('mouseleave', () => onCursor(null))
        },
      ],
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
  let plot = new uPlot(options(), columns(), host)
  /** What a chart cannot change about itself once it is made. */
  const shape = (d: LaneData): string => JSON.stringify([d.series.map((s) => [s.name, s.colour, s.beside]), d.colours.page])
  return {
    set(next) {
      const same = shape(next) === shape(data)
      data = next
      if (same) {
        plot.setData(columns())
        // Figures alike leave the axes as they were, and the ticks may be others.
        plot.redraw(false, true)
      } else {
        plot.destroy()
        plot = new uPlot(options(), columns(), host)
      }
    },
    size(width, height) {
      size = { width, height }
      plot.setSize({ width, height })
    },
    cursor(ms) {
      const x = ms === null ? -10 : plot.valToPos(ms / 1000, 'x')
      plot.setCursor({ left: x, top: ms === null ? -10 : 1 }, false)
    },
    destroy: () => plot.destroy(),
  }
}

function linesOf(s: LaneSeries): uPlot.Series[] {
  const width = s.beside ? 1 : 1.75
  const points: uPlot.Series.Points = { show: true, size: 4, filter: (u, i) => alone(u.data[i] ?? []) }
  const unseen: uPlot.Series = { stroke: 'transparent', points: { show: false } }
  return [
    { label: s.name, stroke: s.colour, width, dash: s.beside ? [4, 3] : [...s.dash], spanGaps: false, points },
    { label: `${s.name}, doubtful`, stroke: s.colour, width, dash: [2, 3], spanGaps: false, points },
    unseen,
    unseen,
  ]
}

/** Readings between two gaps have no line to be seen by. */
function alone(column: ArrayLike<number | null | undefined>): number[] {
  const known: number[] = []
  for (let i = 0; i < column.length; i++) if (column[i] !== undefined) known.push(i)
  return known.filter((i, k) => column[i] !== null && neighbour(column, known[k - 1]) && neighbour(column, known[k + 1]))
}
const neighbour = (column: ArrayLike<number | null | undefined>, i: number | undefined): boolean => i === undefined || column[i] === null

/** One shared time column, ascending; where a series has no span at a time it holds `undefined`, which uPlot reads as "nothing here". */
function align(series: readonly LaneSeries[]): uPlot.AlignedData {
  const times = [...new Set(series.flatMap((s) => s.at))].sort((a, b) => a - b)
  const at = new Map(times.map((t, i) => [t, i]))
  const out: (number | null | undefined)[][] = [times.map((t) => t / 1000)]
  for (const s of series) {
    for (const column of [s.mean, s.doubtful, s.min, s.max]) {
      const full: (number | null | undefined)[] = Array.from({ length: times.length })
      s.at.forEach((t, i) => (full[at.get(t) ?? 0] = column[i] ?? null))
      out.push(full)
    }
  }
  return out as uPlot.AlignedData
}

/** Limits and bands always inside, a tenth of room around, never a flat line blown up to full height. */
function span(low: number | null, high: number | null, data: LaneData): [number, number] {
  const all = [...(low === null || high === null ? [] : [low, high]), ...data.limits.map((l) => l.value), ...data.bands.flatMap((b) => [b.low, b.high])]
  if (all.length === 0) return [0, 1]
  const a = Math.min(...all)
  const b = Math.max(...all)
  const room = Math.max((b - a) * 0.1, Math.abs(b) * 0.02, 0.1)
  return [a >= 0 && a - room < 0 ? 0 : a - room, b + room]
}

const axisFigure = (v: number): string => (Math.abs(v) >= 10_000 ? `${Math.round(v / 1000)}k` : String(Math.round(v * 1000) / 1000).replace('-', '\u2212'))
