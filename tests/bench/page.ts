/**
 * What the page costs the phone that shows it: bytes of script and style as gzip sends them, for the first page and all parts, and the
 * share of the browser's main thread that a fleet of 500 loops takes when all of them change once a second, beside an empty page in
 * the same browser. Real headless Chromium on the built page. `npm run bench page`.
 */
import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { gzipSync } from 'node:zlib'
import type { Page } from 'playwright-core'
import { openBrowser, PAGE, whyNot } from '../look/browser.ts'
import { startFakeServer } from '../look/fake-server.ts'
import { printFigures, type Figure } from './figure.ts'

const SECONDS = 30
/** The limits of the design and of tests/look/page.test.ts. */
const FIRST_BYTES = 110_000

const why = whyNot()
if (why !== null) {
  console.error(`nothing can be measured: ${why}`)
  process.exit(2)
}
const gz = (path: string): number => gzipSync(readFileSync(join(PAGE, path)), { level: 9 }).length
const isText = (path: string): boolean => /\.(js|css)$/.test(path)
const total = (paths: readonly string[]): number => paths.filter(isText).reduce((sum, p) => sum + gz(p), 0)

/** Percent of one core the main thread of a page is in tasks, over `SECONDS`; `each` is called every second. */
async function mainThreadPct(page: Page, each: () => void): Promise<number> {
  const cdp = await page.context().newCDPSession(page)
  await cdp.send('Performance.enable', { timeDomain: 'timeTicks' })
  const read = async (): Promise<{ task: number; at: number }> => {
    const { metrics } = await cdp.send('Performance.getMetrics')
    const of = (name: string): number => metrics.find((m) => m.name === name)?.value ?? Number.NaN
    return { task: of('TaskDuration'), at: of('Timestamp') }
  }
  const from = await read()
  for (let i = 0; i < SECONDS; i++) {
    each()
    await new Promise((r) => setTimeout(r, 1000))
  }
  const to = await read()
  return ((to.task - from.task) / (to.at - from.at)) * 100
}

const server = await startFakeServer({ fleet: 'five-hundred', page: PAGE })
const browser = await openBrowser()
const figures: Figure[] = []
try {
  const page = await browser.newPage({ viewport: { width: 1440, height: 900 } })
  await page.goto(server.url)
  await page.locator('main h1').first().waitFor({ state: 'attached' })
  await page.waitForLoadState('networkidle')
  const first = total(server.asked.map((a) => a.split(' ')[1] ?? '').filter((p) => p.startsWith('/assets/')))
  const all = total(readdirSync(join(PAGE, 'assets')).map((f) => `/assets/${f}`))
  figures.push({ bench: 'page.bytesGz', value: first, unit: 'B', baseline: all, target: FIRST_BYTES, better: 'less', n: 'fleet page; baseline: all parts together' })
  let bytes = 0
  const busy = await mainThreadPct(page, () => (bytes = server.tellFleet()))
  const empty = await browser.newPage({ viewport: { width: 1440, height: 900 } })
  await empty.goto('about:blank')
  const idle = await mainThreadPct(empty, () => undefined)
  figures.push({
    bench: 'page.fleet500MainThreadPct',
    value: busy,
    unit: '% of a core',
    baseline: idle,
    target: null,
    better: 'less',
    n: `${SECONDS} s, 500 loops changed each second in one frame of ${Math.round(bytes / 1000)} kB; baseline: an empty page`,
  })
} finally {
  await browser.close()
  await server.stop()
}
printFigures(figures)
