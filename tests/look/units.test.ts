import { mkdirSync } from 'node:fs'
import { AxeBuilder } from '@axe-core/playwright'
import type { Browser } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { reading } from '../server/fake-gateway.ts'
import { openYard } from '../server/yard.ts'
import { openBrowser, PAGE, whyNot } from './browser.ts'
import { signIn } from './sign-in.ts'

const why = whyNot()
const PICTURES = process.env.LOOKPICTURES

describe.skipIf(why !== null)(`units of the reader${why === null ? '' : ` (skipped: ${why})`}`, () => {
  let browser: Browser
  beforeAll(async () => {
    browser = await openBrowser()
  })
  afterAll(() => browser?.close())

  test.each(['light', 'dark'] as const)('chosen on the page, kept in the browser, and spoken by tables, live figures and trends alike (%s)', async (theme) => {
    const cleanUps: (() => void | Promise<void>)[] = []
    const yard = await openYard({ pageDir: PAGE }, (c) => void cleanUps.push(c))
    const context = await browser.newContext({ viewport: { width: 360, height: 900 }, colorScheme: theme })
    const problems: string[] = []
    try {
      await yard.app.server.listen({ host: '127.0.0.1', port: 0 })
      const address = yard.app.server.server.address()
      const base = `http://127.0.0.1:${typeof address === 'object' && address ? address.port : 0}`
      const page = await context.newPage()
      page.on('pageerror', (e) => problems.push(e.message))
      page.on('console', (m) => m.type() === 'error' && problems.push(m.text()))
      await signIn(page, base + yard.access.newLink(), 'Ines C.')
      yard.gateway.push(reading('upper', 'tu.temperature', 14.3))
      await page.goto(`${base}/loops/upper`)
      const row = page.getByRole('row', { name: /Temperature, treatment unit/ })
      await row.getByText('14.3').waitFor()
      await page.getByLabel('Units').selectOption('us')
      await row.getByText('57.7').waitFor()
      await row.getByText('°F').waitFor()
      yard.gateway.push(reading('upper', 'tu.temperature', 20, { sourceMs: yard.clock.nowMs() + 1 }))
      await row.getByText('68.0').waitFor()
      expect(await row.getByText('20.0').count()).toBe(0)

      await page.getByRole('button', { name: 'Make a link' }).click()
      await page.getByText('Sheet for the sign, to print').waitFor()
      expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBe(360)
      expect((await new AxeBuilder({ page }).analyze()).violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.html).join(' ')}`)).toEqual([])
      if (PICTURES) {
        mkdirSync(PICTURES, { recursive: true })
        await page.screenshot({ path: `${PICTURES}/units-loop-${theme}.png`, fullPage: true })
      }

      // Means of the trend are 2 on the scale of the site: 35.6 °F.
      await page.goto(`${base}/trends/upper?signals=tu.temperature&from=${yard.clock.nowMs() - 3_600_000}&to=${yard.clock.nowMs()}`)
      await page.getByRole('button', { name: 'As a table' }).click()
      await page.getByRole('cell', { name: '35.60' }).first().waitFor()
      await page.getByText('saved readings keep the units of the site').waitFor()
      if (PICTURES) await page.screenshot({ path: `${PICTURES}/units-trend-${theme}.png` })
      expect(problems).toEqual([])
    } finally {
      await context.close()
      for (const c of cleanUps.reverse()) await c()
    }
  })
})
