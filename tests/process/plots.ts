/**
 * What the process arithmetic makes of open measured data, as a picture to look at: `npx tsx tests/process/plots.ts DIR` writes
 * measured.png; Chromium does the drawing. Needs the shared data beside the repository.
 */
import { existsSync, mkdirSync } from 'node:fs'
import { join } from 'node:path'
import { chromium } from 'playwright-core'
import { airOffSpans } from '../../gateway/process/air-off.ts'
import { percentOfSaturation, saturationMgPerL } from '../../gateway/process/oxygen.ts'
import { theilSen } from '../../gateway/trends/theil-sen.ts'
import { readRows, readTimes, hasData } from './open-data.ts'
import { HOUR_MS, hourly, outlookAt, PH_LIMIT, SLUDGE, sludgePh } from './ph-data.ts'

const CHROMIUM = '/usr/bin/chromium'
const [WIDTH, LEFT, PANEL, PITCH, TOP] = [1280, 70, 190, 262, 50]
const SHORT = 'sbmbr/mines_sbmbr_2010_1min_apr13_15.csv'
const STREAM = 'stream-do/brandywine_2012.csv'
const RIVER = 'logan/mainstreet_2019_drift.csv'

type Dot = readonly [number, number]
interface Layer {
  readonly dots: readonly Dot[]
  readonly look: string
  /** line joins the dots, band shades full height between pairs, points marks each. */
  readonly as: 'line' | 'points' | 'band'
}
interface Panel {
  readonly title: string
  readonly note: string
  readonly x: Dot
  readonly y: Dot
  readonly layers: readonly Layer[]
}

const clock = (ms: number): string => new Date(ms).toISOString().slice(5, 16).replace('T', ' ')

function draw(p: Panel, n: number): string {
  const y0 = TOP + n * PITCH
  const x = (v: number): number => LEFT + ((v - p.x[0]) / (p.x[1] - p.x[0])) * (WIDTH - LEFT - 20)
  const y = (v: number): number => y0 + PANEL - ((v - p.y[0]) / (p.y[1] - p.y[0])) * PANEL
  const layer = (l: Layer): string => {
    const dots = l.dots.filter(([a, b]) => Number.isFinite(b) && a >= p.x[0] && a <= p.x[1])
    if (l.as === 'band') return l.dots.map(([a, b]) => `<rect x="${x(a)}" y="${y0}" width="${Math.max(1, x(Math.min(b, p.x[1])) - x(a))}" height="${PANEL}" ${l.look}/>`).join('')
    if (l.as === 'points') return dots.map(([a, b]) => `<circle cx="${x(a).toFixed(1)}" cy="${y(b).toFixed(1)}" r="2" ${l.look}/>`).join('')
    return `<polyline points="${dots.map(([a, b]) => `${x(a).toFixed(1)},${y(b).toFixed(1)}`).join(' ')}" fill="none" ${l.look}/>`
  }
  const ticks = Array.from({ length: 9 }, (_, i) => p.x[0] + (i * (p.x[1] - p.x[0])) / 8)
  return [
    `<clipPath id="c${n}"><rect x="${LEFT}" y="${y0}" width="${WIDTH - LEFT - 20}" height="${PANEL}"/></clipPath>`,
    `<text x="${LEFT}" y="${y0 - 22}" font-size="16" font-weight="600">${p.title}</text><text x="${LEFT}" y="${y0 - 6}" font-size="12" fill="#555">${p.note}</text>`,
    `<rect x="${LEFT}" y="${y0}" width="${WIDTH - LEFT - 20}" height="${PANEL}" fill="#fafafa" stroke="#ccc"/>`,
    `<g clip-path="url(#c${n})">${p.layers.map(layer).join('')}</g>`,
    ...[0, 0.5, 1].map((s) => {
      const v = p.y[0] + s * (p.y[1] - p.y[0])
      return `<text x="${LEFT - 6}" y="${y(v) + 4}" font-size="12" text-anchor="end" fill="#555">${Number(v.toFixed(2))}</text>`
    }),
    ...ticks.map((t, i) => `<text x="${x(t)}" y="${y0 + PANEL + 16}" font-size="11" text-anchor="${i === 8 ? 'end' : 'middle'}" fill="#555">${clock(t)}</text>`),
  ].join('')
}

function phPanel(): Panel {
  const hours = hourly(sludgePh())
  const nowMs = Date.parse('2010-04-18T06:10:00Z')
  const seen = hours.filter((p) => p.atMs <= nowMs && p.atMs > nowMs - 48 * HOUR_MS)
  const line = theilSen(
    seen.map((p) => (p.atMs - nowMs) / (24 * HOUR_MS)),
    seen.map((p) => p.value),
  )
  const o = outlookAt(hours, nowMs, 48 * HOUR_MS)
  if ('because' in o || o.kind !== 'forecast') throw new Error('no forecast to draw')
  const passed = sludgePh().find((p) => p.value <= PH_LIMIT.limit)?.atMs ?? Number.NaN
  const middle = seen[Math.floor(seen.length / 2)]?.atMs ?? nowMs
  const fan = (slope: number): readonly Dot[] =>
    [seen[0]?.atMs ?? nowMs, o.medianMs].map((ms) => [ms, line.intercept + line.slope * ((middle - nowMs) / (24 * HOUR_MS)) + (slope * (ms - middle)) / (24 * HOUR_MS)])
  const x: Dot = [Date.parse('2010-04-13T00:00:00Z'), Date.parse('2010-04-22T00:00:00Z')]
  return {
    title: `pH of a membrane plant: at ${clock(nowMs)} the limit of ${PH_LIMIT.limit} was expected ${clock(o.medianMs)} (80 %: ${clock(o.lowMs)} to ${clock(o.highMs)}); it was passed ${clock(passed)}`,
    note: `slope of the two days before ${line.slope.toFixed(2)} a day (95 %: ${line.low.toFixed(2)} to ${line.high.toFixed(2)}, hours taken as independent), drawn through the medians; shaded: the 80 % interval; red: passed`,
    x,
    y: [6, 7.6],
    layers: [
      { dots: [[o.lowMs, o.highMs]], look: 'fill="#124a7a" fill-opacity="0.12"', as: 'band' },
      { dots: [x[0], x[1]].map((ms) => [ms, PH_LIMIT.limit]), look: 'stroke="#888" stroke-dasharray="5 4"', as: 'line' },
      { dots: hours.map((p) => [p.atMs, p.value]), look: 'stroke="#333" stroke-width="1.5"', as: 'line' },
      { dots: fan(line.low), look: 'stroke="#124a7a" stroke-dasharray="3 3"', as: 'line' },
      { dots: fan(line.slope), look: 'stroke="#124a7a" stroke-width="2"', as: 'line' },
      { dots: fan(line.high), look: 'stroke="#124a7a" stroke-dasharray="3 3"', as: 'line' },
      { dots: [[passed, passed]], look: 'fill="#a33"', as: 'band' },
    ],
  }
}

function airPanel(): Panel {
  const times = readTimes(SHORT, 'datetime')
  const rows = readRows(SHORT)
  const at = (i: number): number => times[i] ?? Number.NaN
  const spans = airOffSpans(
    rows.map((r, i) => ({ atMs: at(i), on: (r.bio_1_blow_flow ?? 0) >= 30 })),
    at(times.length - 1),
  )
  const x: Dot = [Date.parse('2010-04-16T01:00:00Z'), Date.parse('2010-04-16T06:00:00Z')]
  return {
    title: `Pauses of its blower: ${spans.length} in three days, one reading a minute; shaded: air off`,
    note: 'oxygen of the tank, mg/L: it is used up within three readings, so no pause yields an uptake',
    x,
    y: [0, 2.2],
    layers: [
      { dots: spans.filter((s) => s.toMs > x[0] && s.fromMs < x[1]).map((s) => [s.fromMs, s.toMs]), look: 'fill="#888" fill-opacity="0.25"', as: 'band' },
      { dots: rows.map((r, i) => [at(i), r.bio_1_do ?? Number.NaN]), look: 'stroke="#124a7a" stroke-width="1.6"', as: 'line' },
    ],
  }
}

function saturationPanel(): Panel {
  const times = readTimes(STREAM, 'solar_time')
  const rows = readRows(STREAM)
  const share = (r: Readonly<Record<string, number>>): number => percentOfSaturation(r.do_obs_mgl ?? 0, saturationMgPerL(r.temp_c ?? Number.NaN))
  const last = times[480] ?? Number.NaN
  return {
    title: 'Oxygen of a stream, % of saturation: ours at 1 atm (line) and the data set’s own at the pressure of the day (dots)',
    note: 'the dots lie one to three per cent higher, as the air pressure of the place lies lower; no daily rhythm is left between them',
    x: [times[0] ?? 0, last],
    y: [70, 150],
    layers: [
      { dots: rows.map((r, i) => [times[i] ?? Number.NaN, (100 * (r.do_obs_mgl ?? Number.NaN)) / (r.do_sat_mgl ?? Number.NaN)]), look: 'fill="#a33"', as: 'points' },
      { dots: rows.map((r, i) => [times[i] ?? Number.NaN, share(r)]), look: 'stroke="#124a7a" stroke-width="1.4"', as: 'line' },
    ],
  }
}

function driftPanel(): Panel {
  const times = readTimes(RIVER, 'datetime')
  const rows = readRows(RIVER)
  const x: Dot = [Date.parse('2019-04-25T00:00:00Z'), Date.parse('2019-07-31T12:00:00Z')]
  const of = (name: string): readonly Dot[] => rows.map((r, i): Dot => [times[i] ?? Number.NaN, r[name] ?? Number.NaN]).filter(([, v], i) => v > -100 && i % 4 === 0)
  return {
    title: 'pH of a river: as the probe gave it (blue) and as the technician corrected it (red)',
    note: 'drift of 0.20 in 64 days, then 0.19 in 33: less than the river moves in a day, so without the technician it cannot be told',
    x,
    y: [8, 9.6],
    layers: [
      { dots: of('ph'), look: 'stroke="#124a7a" stroke-width="1"', as: 'line' },
      { dots: of('ph_cor'), look: 'stroke="#a33" stroke-width="1"', as: 'line' },
    ],
  }
}

const dir = process.argv[2]
const missing = [SLUDGE, SHORT, STREAM, RIVER].filter((f) => !hasData(f))
if (dir === undefined || !existsSync(CHROMIUM) || missing.length > 0) {
  const why =
    dir === undefined
      ? 'give a folder: npx tsx tests/process/plots.ts DIR'
      : missing.length > 0
        ? `shared data is not here: ${missing.join(', ')}`
        : `${CHROMIUM} is needed to draw: apt-get install chromium`
  console.error(why)
  process.exit(2)
}
mkdirSync(dir, { recursive: true })
const panels = [phPanel(), airPanel(), saturationPanel(), driftPanel()]
const height = TOP + panels.length * PITCH
const text = `<svg xmlns="http://www.w3.org/2000/svg" width="${WIDTH}" height="${height}" font-family="sans-serif">${panels.map(draw).join('')}</svg>`
const browser = await chromium.launch({
  executablePath: CHROMIUM,
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
})
try {
  const page = await browser.newPage()
  await page.setViewportSize({ width: WIDTH, height })
  await page.setContent(`<body style="margin:0;background:#fff">${text}</body>`)
  const file = join(dir, 'measured.png')
  await page.screenshot({ path: file })
  console.log(file)
} finally {
  await browser.close()
}
