/**
 * A picture per scenario: the signals around onset, struck loop against its healthy twin. `npx tsx tests/simulator/plots.ts DIR [id...]`
 * writes a PNG each; Chromium does the drawing.
 */
import { existsSync, mkdirSync } from 'node:fs'
import { join } from 'node:path'
import { chromium } from 'playwright-core'
import { SCENARIOS, type Scenario } from './scenarios.ts'
import { type Trace, trace, WATCHED, WATCHED_NAMES, type Watched } from './traces.ts'

const CHROMIUM = '/usr/bin/chromium'
const WIDTH = 1280
const LEFT = 80
const PANEL = 104
const GAP = 26
const TOP = 66

/** Panels worth looking at: what left its twin, the signs that should not have, and oxygen always. */
function panels(s: Scenario, t: Trace): readonly Watched[] {
  const told = new Set<Watched>(['oxygen', ...s.order, ...s.signs.filter((e) => e.sign !== '0').map((e) => e.of)])
  const moved = WATCHED_NAMES.filter((of) => t.struck.some((r, i) => Math.abs(r[of] - (t.sound[i]?.[of] ?? r[of])) > WATCHED[of].abs))
  return WATCHED_NAMES.filter((of) => told.has(of) || (moved.includes(of) && ['uptake', 'ph', 'redox', 'activity', 'finished', 'sump', 'pressure'].includes(of)))
}

function svg(s: Scenario, t: Trace): { readonly text: string; readonly height: number } {
  const list = panels(s, t)
  const height = TOP + list.length * (PANEL + GAP) + 40
  const first = t.hours[0] ?? 0
  const last = t.hours[t.hours.length - 1] ?? 1
  const days = last > 72
  const x = (h: number): number => LEFT + ((h - first) / (last - first)) * (WIDTH - LEFT - 20)
  const out: string[] = [
    `<text x="${LEFT}" y="28" font-size="20" font-weight="600">${s.id}: ${s.title}</text>`,
    `<text x="${LEFT}" y="50" font-size="13" fill="#555">solid: struck loop, dashed: its healthy twin; upright line: onset${t.endH === null ? '' : ' and end'}; ${days ? 'days' : 'hours'} after onset</text>`,
  ]
  list.forEach((of, n) => {
    const y0 = TOP + n * (PANEL + GAP) + GAP
    const all = [...t.struck, ...t.sound].map((r) => r[of]).filter((v) => Number.isFinite(v))
    const low = all.reduce((a, b) => Math.min(a, b), Number.POSITIVE_INFINITY)
    const high = all.reduce((a, b) => Math.max(a, b), Number.NEGATIVE_INFINITY)
    const span = Math.max(high - low, 2 * WATCHED[of].abs)
    const middle = (high + low) / 2
    const y = (v: number): number => y0 + PANEL / 2 - ((v - middle) / (1.1 * span)) * PANEL
    const line = (rows: Trace['struck']): string => {
      const every = Math.max(1, Math.floor(rows.length / 2400))
      return rows.flatMap((r, i) => (i % every === 0 && Number.isFinite(r[of]) ? [`${x(t.hours[i] ?? 0).toFixed(1)},${y(r[of]).toFixed(1)}`] : [])).join(' ')
    }
    const number = (v: number): string => (Math.abs(v) >= 100 ? v.toFixed(0) : v.toFixed(2))
    out.push(
      `<rect x="${LEFT}" y="${y0}" width="${WIDTH - LEFT - 20}" height="${PANEL}" fill="#fafafa" stroke="#ccc"/>`,
      `<text x="${LEFT}" y="${y0 - 5}" font-size="13">${WATCHED[of].what}</text>`,
      `<text x="${LEFT - 8}" y="${y0 + 12}" font-size="12" text-anchor="end" fill="#555">${number(middle + 0.55 * span)}</text>`,
      `<text x="${LEFT - 8}" y="${y0 + PANEL - 2}" font-size="12" text-anchor="end" fill="#555">${number(middle - 0.55 * span)}</text>`,
      `<polyline points="${line(t.sound)}" fill="none" stroke="#888" stroke-width="1.2" stroke-dasharray="5 4"/>`,
      `<polyline points="${line(t.struck)}" fill="none" stroke="#124a7a" stroke-width="1.8"/>`,
      ...[0, ...(t.endH === null ? [] : [t.endH])].map((h) => `<line x1="${x(h)}" x2="${x(h)}" y1="${y0}" y2="${y0 + PANEL}" stroke="#a33" stroke-width="1.2"/>`),
    )
  })
  const step = [0.5, 1, 2, 4, 6, 12, 24, 48, 120, 240].find((d) => (last - first) / d <= 14) ?? 480
  for (let h = Math.ceil(first / step) * step; h <= last; h += step)
    out.push(`<text x="${x(h)}" y="${height - 14}" font-size="12" text-anchor="middle" fill="#555">${days ? h / 24 : h}</text>`)
  return { height, text: `<svg xmlns="http://www.w3.org/2000/svg" width="${WIDTH}" height="${height}" font-family="sans-serif">${out.join('')}</svg>` }
}

const [dir, ...asked] = process.argv.slice(2)
if (dir === undefined || !existsSync(CHROMIUM)) {
  console.error(dir === undefined ? 'give a folder: npx tsx tests/simulator/plots.ts DIR [id...]' : `${CHROMIUM} is needed to draw: apt-get install chromium`)
  process.exit(2)
}
mkdirSync(dir, { recursive: true })
const browser = await chromium.launch({
  executablePath: CHROMIUM,
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
})
try {
  const page = await browser.newPage()
  for (const s of SCENARIOS.filter((one) => asked.length === 0 || asked.includes(one.id))) {
    const { text, height } = svg(s, trace(s.run))
    await page.setViewportSize({ width: WIDTH, height })
    await page.setContent(`<body style="margin:0;background:#fff">${text}</body>`)
    const file = join(dir, `${s.id.toLowerCase().replaceAll(' ', '-')}.png`)
    await page.screenshot({ path: file })
    console.log(file)
  }
} finally {
  await browser.close()
}
