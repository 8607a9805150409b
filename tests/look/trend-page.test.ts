/** Trends in a real browser: what an engineer lays beside, takes away, prints and passes on as a link. */
import { readFileSync } from 'node:fs'
import { AxeBuilder } from '@axe-core/playwright'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, onTestFinished, test } from 'vitest'
import { openBrowser, PAGE, whyNot } from './browser.ts'
import { startFakeServer, type FakeServer } from './fake-server.ts'

const why = whyNot()
const DAY = 86_400_000
const BOTH = '/trends/kestrow-berth-3?signals=tu.do,ullenwick-bus-north/tu.do,tu.ph,blower.run&span=86400000&with=1d&show=figures'

declare global {
  interface Window {
    written?: string[]
    papers?: number[]
  }
}

describe.skipIf(why !== null)(`trends over invented loops${why === null ? '' : ` (skipped: ${why})`}`, () => {
  let browser: Browser
  beforeAll(async () => {
    browser = await openBrowser()
  })
  afterAll(async () => browser?.close())

  async function visit(path: string, more: { width?: number; theme?: 'light' | 'dark'; zone?: string } = {}): Promise<{ page: Page; server: FakeServer; wrong: string[] }> {
    const server = await startFakeServer({ fleet: 'eight', page: PAGE })
    const context = await browser.newContext({
      viewport: { width: more.width ?? 1440, height: 900 },
      colorScheme: more.theme ?? 'light',
      timezoneId: more.zone ?? 'Europe/London',
      acceptDownloads: true,
    })
    const page = await context.newPage()
    const wrong: string[] = []
    page.on('pageerror', (e) => wrong.push(e.message))
    page.on('console', (m) => m.type() === 'error' && wrong.push(m.text()))
    onTestFinished(async () => {
      await context.close()
      await server.stop()
    })
    await page.goto(server.url + path)
    await page.locator('.lane canvas').first().waitFor()
    await page.getByText('of the time has readings').waitFor()
    return { page, server, wrong }
  }

  const spanOf = (page: Page): readonly [number, number] => {
    const q = new URL(page.url()).searchParams
    return [Number(q.get('from')), Number(q.get('to'))]
  }

  test('a link shows signals of two loops beside the day before, each line with its name, and the figures of both', async () => {
    const { page, server, wrong } = await visit(BOTH)
    const gutter = page.locator('.laneRow').first().locator('.gutter')
    await gutter.getByText('Oxygen, treatment unit, Ullenwick Bus Depot North').waitFor()
    expect(await gutter.getByText('a day earlier').count()).toBe(2)
    const rows = page.locator('.figs tbody tr')
    await rows.nth(5).waitFor()
    expect(await rows.count()).toBe(6)
    expect(await rows.nth(3).locator('th').innerText()).toMatch(/^Oxygen, treatment unit, Ullenwick Bus Depot North, a day earlier/)
    expect(await rows.first().innerText()).toMatch(/below 2\.0: 0\.\d\s%/)
    // The day before is asked for as that: the same width, 24 hours earlier.
    const asked = server.asked.filter((a) => a.includes('/api/history/ullenwick-bus-north/tu.do')).map((a) => new URL(a.slice(4), server.url).searchParams)
    const starts = asked.map((q) => Number(q.get('from')))
    expect(Math.max(...starts) - Math.min(...starts)).toBeGreaterThanOrEqual(DAY)
    expect(wrong).toEqual([])
  })

  test('what is chosen stands in the address, and the address brings it back', async () => {
    const { page, wrong } = await visit('/trends/kestrow-berth-3?signals=tu.do')
    await page.locator('.chooser summary', { hasText: 'Signals' }).click()
    await page.getByLabel('Of which loop').selectOption('ullenwick-bus-north')
    await page.getByLabel('Find', { exact: true }).fill('oxygen treat')
    await page.locator('.chooser fieldset label', { hasText: 'Oxygen, treatment unit' }).click()
    await page.locator('.chooser summary', { hasText: 'Signals' }).click()
    await page.locator('.compare summary').click()
    await page.getByRole('button', { name: 'A week earlier' }).click()
    await page.getByRole('button', { name: 'Figures' }).click()
    await page.getByRole('button', { name: 'Hold still' }).click()
    const address = page.url()
    expect(address).toMatch(/signals=tu\.do,ullenwick-bus-north\/tu\.do&from=\d+&to=\d+&with=7d&show=figures$/)
    await page.reload()
    await page.locator('.figs tbody tr').nth(3).waitFor()
    expect(page.url()).toBe(address)
    await page.locator('.compare summary', { hasText: 'Compared: a week earlier' }).waitFor()
    expect(wrong).toEqual([])
  })

  test('computed signals are found among the others and drawn', async () => {
    const { page } = await visit('/trends/kestrow-berth-3?signals=tu.do')
    await page.locator('.chooser summary', { hasText: 'Signals' }).click()
    const vitals = page.locator('.chooser fieldset', { hasText: 'Vitals, computed' }).locator('label')
    expect(await vitals.count()).toBeGreaterThan(3)
  })

  test('another loop laid under the same signals says how many of them it has', async () => {
    const { page } = await visit('/trends/kestrow-berth-3?signals=tu.do,tu.ph&with=loop:brackfold-refuse-depot')
    await page.getByText('Thin broken line: the same signals of Brackfold').waitFor()
    expect(await page.locator('figcaption').innerText()).toMatch(/[01] of 2 are measured there/)
  })

  test('readings are saved one by one: the link names exactly the signals and the span shown, and the period compared', async () => {
    const { page } = await visit('/trends/kestrow-berth-3?signals=tu.do,ullenwick-bus-north/tu.ph&from=1794790000000&to=1794800000000&with=from:1794700000000')
    await page.locator('.other').first().waitFor()
    await page.locator('.chooser summary', { hasText: 'Save' }).click()
    expect(await page.getByRole('link', { name: 'Readings as CSV', exact: true }).getAttribute('href')).toBe(
      '/api/history.csv?signals=kestrow-berth-3/tu.do,ullenwick-bus-north/tu.ph&from=1794790000000&to=1794800000000',
    )
    expect(await page.getByRole('link', { name: 'Compared readings' }).getAttribute('href')).toMatch(/&from=1794700000000&to=1794710000000$/)
    const [file] = await Promise.all([page.waitForEvent('download'), page.getByRole('link', { name: 'Readings as CSV', exact: true }).click()])
    expect(readFileSync(await file.path(), 'utf8')).toMatch(/^site,signal,source_time/)
  })

  test('the picture is a PNG that can be read away from the page: loop, span, zone, units and comparison are written into it', async () => {
    const { page, wrong } = await visit(BOTH, { theme: 'dark' })
    await page.locator('.other').first().waitFor()
    await page.evaluate(() => {
      const words: string[] = []
      window.written = words
      const fill = CanvasRenderingContext2D.prototype.fillText
      CanvasRenderingContext2D.prototype.fillText = function (...a) {
        words.push(a[0])
        fill.apply(this, a)
      }
    })
    await page.locator('.chooser summary', { hasText: 'Save' }).click()
    const [file] = await Promise.all([page.waitForEvent('download'), page.getByRole('button', { name: 'Picture as PNG' }).click()])
    expect(file.suggestedFilename()).toMatch(/^kestrow-berth-3-2026-11-1\dT\d{4}Z\.png$/)
    const bytes = readFileSync(await file.path())
    expect(bytes.subarray(1, 4).toString()).toBe('PNG')
    expect(bytes.readUInt32BE(16)).toBe(1440)
    expect(bytes.readUInt32BE(20)).toBeGreaterThan(500)
    const words = (await page.evaluate(() => window.written ?? [])).join('\n')
    for (const part of [
      'Kestrow Ferry Terminal, berth 3',
      /Mon 16 Nov 2026 03:\d\d to Tue 17 Nov 2026 03:\d\d, 24.h; site time, Europe\/London, UTC\+0/,
      'mg/L',
      'a day earlier',
      'pH, treatment unit',
    ])
      expect(words).toMatch(part instanceof RegExp ? part : new RegExp(part))
    // Light on a dark page too, and lines are drawn: the picture holds many colours besides its ground.
    const seen = await page.evaluate(async (data) => {
      const image = await createImageBitmap(new Blob([Uint8Array.from(atob(data), (c) => c.charCodeAt(0))], { type: 'image/png' }))
      const canvas = new OffscreenCanvas(image.width, image.height)
      const ctx = canvas.getContext('2d')
      ctx?.drawImage(image, 0, 0)
      const all = ctx?.getImageData(400, 150, 900, 300).data ?? new Uint8ClampedArray()
      let dark = 0
      for (let i = 0; i < all.length; i += 4) if ((all[i] ?? 255) < 60) dark++
      return { ground: [...(ctx?.getImageData(2, 2, 1, 1).data ?? [])], dark }
    }, bytes.toString('base64'))
    expect(seen.ground.slice(0, 3).every((v) => v > 220)).toBe(true)
    expect(seen.dark).toBeGreaterThan(500)
    expect(wrong).toEqual([])
  })

  test('a printed sheet carries the picture, and nothing of it stays on the page', async () => {
    const { page, wrong } = await visit(BOTH)
    await page.evaluate(() => {
      const heights: number[] = []
      window.papers = heights
      const paper = document.querySelector('.paper')
      if (paper) new MutationObserver(() => heights.push(paper.querySelector('canvas')?.height ?? 0)).observe(paper, { childList: true })
    })
    const sheet = await page.pdf()
    expect(sheet.length).toBeGreaterThan(20_000)
    await page.waitForFunction(() => window.papers?.length === 2)
    const [during = 0, after] = await page.evaluate(() => window.papers ?? [])
    expect(during).toBeGreaterThan(500)
    expect(after).toBe(0)
    expect(wrong).toEqual([])
  })

  test('plus, minus, page up, page down and nought move the span from the keyboard', async () => {
    const { page } = await visit('/trends/kestrow-berth-3?signals=tu.do')
    await page.locator('.stage').focus()
    await page.keyboard.press('Home')
    await page.keyboard.press('+')
    await page.waitForURL(/from=\d+&to=\d+/)
    const [from, to] = spanOf(page)
    expect(to - from).toBe(4 * 3_600_000)
    await page.keyboard.press('Escape')
    await page.keyboard.press('PageUp')
    await page.waitForFunction((before) => !location.search.includes(String(before)), from)
    expect(spanOf(page)[0]).toBe(from - 2 * 3_600_000)
    await page.keyboard.press('-')
    await page.waitForFunction(() => {
      const q = new URLSearchParams(location.search)
      return Number(q.get('to')) - Number(q.get('from')) === 8 * 3_600_000
    })
    await page.keyboard.press('0')
    await page.waitForURL(/span=28800000/)
    expect(await page.evaluate(() => document.activeElement?.className)).toBe('stage')
  })

  test("times are told by the site's clock until the reader asks for his own", async () => {
    const { page } = await visit('/trends/kestrow-berth-3?signals=tu.do', { zone: 'America/New_York' })
    await page.locator('.tools').getByText('site time UTC+0').waitFor()
    await page.getByRole('button', { name: 'My time' }).click()
    await page.locator('.tools').getByText('your time UTC\u22125').waitFor()
    await page.locator('.tools').getByText('14:16 to now').waitFor()
    expect(page.url()).toContain('zone=mine')
    expect(await page.locator('.timeTick').first().textContent()).toMatch(/^1[45]:00/)
  })

  test('the grid of every lane moves with the clock it is told by', async () => {
    const { page } = await visit('/trends/kestrow-berth-3?signals=finished.level,blower.pressure&span=14400000', { zone: 'Asia/Kolkata', width: 500 })
    const columns = (): Promise<readonly string[]> =>
      page.locator('.lane canvas').evaluateAll((all) =>
        all.map((e) => {
          const canvas = e as HTMLCanvasElement
          // A row over the lines: only the grid crosses it.
          const row = canvas.getContext('2d')?.getImageData(42, 8, canvas.width - 42 - 56, 1).data ?? new Uint8ClampedArray()
          return Array.from({ length: row.length / 4 }, (_, x) => x)
            .filter((x) => (row[4 * x + 3] ?? 0) > 0)
            .join(' ')
        }),
      )
    const before = await columns()
    expect(before[0]).not.toBe('')
    expect(before[1]).toBe(before[0])
    // Half an hour beside the site's: every tick stands elsewhere.
    await page.getByRole('button', { name: 'My time' }).click()
    await page.locator('.tools').getByText('UTC+5:30').waitFor()
    await page.waitForFunction(() => [...document.querySelectorAll('.timeTick')].some((t) => /^\d\d:00/.test(t.textContent ?? '')))
    const after = await columns()
    expect(after[0]).not.toBe(before[0])
    expect(after[1]).toBe(after[0])
  })

  for (const theme of ['light', 'dark'] as const) {
    test(`axe finds nothing in a comparison with its panels open, ${theme}`, async () => {
      const { page } = await visit(BOTH, { theme })
      await page.locator('.figs tbody tr').nth(5).waitFor()
      for (const name of ['Save', 'Compared', 'Signals']) {
        const summary = page.locator('.chooser summary', { hasText: name })
        await summary.click()
        const { violations } = await new AxeBuilder({ page }).withTags(['wcag2a', 'wcag2aa', 'wcag21aa', 'wcag22aa']).analyze()
        expect(violations.map((v) => `${name}: ${v.id} ${v.nodes[0]?.html.slice(0, 120)}`)).toEqual([])
        await summary.click()
      }
    })
  }

  test('at 360 px nothing is wider than the screen, panels and figures included', async () => {
    const { page } = await visit(BOTH, { width: 360 })
    await page.locator('.figs tbody tr').nth(5).waitFor()
    for (const name of ['Save', 'Compared', 'Signals']) {
      const summary = page.locator('.chooser summary', { hasText: name })
      await summary.click()
      const panel = await page.locator('.chooser[open] .panel').boundingBox()
      expect(panel && panel.x >= 0 && panel.x + panel.width <= 360 && panel.width > 250, name).toBe(true)
      expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(360)
      await summary.click()
    }
  })
})
