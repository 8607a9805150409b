import { mkdirSync } from 'node:fs'
import { AxeBuilder } from '@axe-core/playwright'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { alarmView, reading } from '../server/fake-gateway.ts'
import { openYard, type Yard } from '../server/yard.ts'
import { alarmsFor } from '../yard/loops.ts'
import { openBrowser, PAGE, whyNot } from './browser.ts'

const why = whyNot()
const PICTURES = process.env.LOOKPICTURES

describe.skipIf(why !== null)(`the yard page on a phone${why === null ? '' : ` (skipped: ${why})`}`, () => {
  let browser: Browser
  beforeAll(async () => {
    browser = await openBrowser()
  })
  afterAll(() => browser?.close())

  interface Phone {
    readonly page: Page
    readonly yard: Yard
    readonly path: string
    readonly base: string
    readonly problems: string[]
    readonly close: () => Promise<void>
  }
  const phone = async (options: { theme?: 'light' | 'dark'; script?: boolean; handClock?: boolean } = {}): Promise<Phone> => {
    const cleanUps: (() => void | Promise<void>)[] = []
    const yard = await openYard({ pageDir: PAGE }, (c) => void cleanUps.push(c))
    await yard.app.server.listen({ host: '127.0.0.1', port: 0 })
    const address = yard.app.server.server.address()
    const base = `http://127.0.0.1:${typeof address === 'object' && address ? address.port : 0}`
    const path = yard.access.yard.make('upper', 'Ruth Amsel')
    const context = await browser.newContext({ viewport: { width: 360, height: 780 }, colorScheme: options.theme ?? 'light', javaScriptEnabled: options.script ?? true })
    const page = await context.newPage()
    if (options.handClock) await page.clock.install()
    const problems: string[] = []
    page.on('pageerror', (e) => problems.push(e.message))
    page.on('console', (m) => m.type() === 'error' && problems.push(m.text()))
    page.on('request', (r) => !r.url().startsWith(base) && problems.push(`asked another host: ${r.url()}`))
    const close = async (): Promise<void> => {
      await context.close()
      for (const c of cleanUps.reverse()) await c()
    }
    return { page, yard, path, base, problems, close }
  }
  const picture = async (page: Page, name: string): Promise<void> => {
    if (!PICTURES) return
    mkdirSync(PICTURES, { recursive: true })
    await page.screenshot({ path: `${PICTURES}/${name}.png`, fullPage: true })
  }
  const trouble = (yard: Yard): void => {
    for (const key of ['sump.h2s.high', 'blower.no-air']) {
      const def = alarmsFor.rich.defs.find((d) => d.id.endsWith(`/${key}`))
      if (!def) throw new Error(`no default alarm ${key}`)
      yard.gateway.setAlarm(alarmView({ ...def, id: `upper/${key}`, site: 'upper' }))
    }
    yard.gateway.entryBlock = () => ({ alarm: 'upper/sump.h2s.high', what: 'Hydrogen sulphide at the sump', sinceMs: yard.clock.nowMs() - 600_000 })
  }

  test.each(['light', 'dark'] as const)('at 360 px, %s: nothing is cut, no finding of axe, no script fault, nobody else is asked', async (theme) => {
    const { page, yard, path, base, problems, close } = await phone({ theme })
    try {
      yard.gateway.push(reading('upper', 'finished.level', 28))
      for (const state of ['well', 'trouble'] as const) {
        if (state === 'trouble') trouble(yard)
        await page.goto(base + path)
        await page.getByText('Unusual wash').click()
        await picture(page, `yard-${state}-${theme}`)
        expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBe(360)
        expect((await new AxeBuilder({ page }).analyze()).violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.html).join(' ')}`)).toEqual([])
        for (const button of await page.getByRole('button').all()) expect((await button.boundingBox())?.height).toBeGreaterThanOrEqual(76)
      }
      await page.goto(`${base}${path}/sign`)
      await picture(page, `yard-sign-${theme}`)
      expect((await new AxeBuilder({ page }).analyze()).violations.map((v) => v.id)).toEqual([])
      expect(problems).toEqual([])
    } finally {
      await close()
    }
  })

  test('loads in under 15 kB, its style and script included, as sent', async () => {
    const { page, yard, path, base, close } = await phone()
    try {
      trouble(yard)
      const sizes: Promise<{ url: string; bytes: number }>[] = []
      page.on('requestfinished', (r) => sizes.push(r.sizes().then((s) => ({ url: new URL(r.url()).pathname, bytes: s.responseBodySize + s.responseHeadersSize }))))
      await page.goto(base + path, { waitUntil: 'networkidle' })
      const all = await Promise.all(sizes)
      expect(all.map((s) => s.url.replace(path, '/yard'))).toEqual(expect.arrayContaining(['/yard', '/yard.css', '/yard.js']))
      const bytes = all.reduce((sum, s) => sum + s.bytes, 0)
      if (PICTURES) console.log(`yard page: ${bytes} bytes`, all)
      expect(bytes).toBeLessThan(15_000)
    } finally {
      await close()
    }
  })

  test('what changes is there within 20 s without loading the page again, and an open choice stays open', async () => {
    const { page, yard, path, base, close } = await phone({ handClock: true })
    try {
      yard.gateway.push(reading('upper', 'finished.level', 20))
      await page.goto(base + path)
      await page.getByText('49 min').waitFor()
      await page.getByText('Unusual wash').click()
      yard.gateway.push(reading('upper', 'finished.level', 10))
      trouble(yard)
      await page.clock.runFor(20_000)
      await page.getByText('24 min').waitFor({ timeout: 5000 })
      await page.getByText('Do not wash now').waitFor({ timeout: 5000 })
      expect(await page.getByRole('button', { name: 'degreaser' }).isVisible()).toBe(true)
    } finally {
      await close()
    }
  })

  test('a dead link is said within 30 s, a report is then not shown as sent, and a link that comes back is believed', async () => {
    const { page, path, base, yard, close } = await phone({ handClock: true })
    try {
      await page.goto(base + path)
      await page.route('**/yard/**', (route) => route.abort())
      expect(await page.getByText('No link').isVisible()).toBe(false)
      for (let s = 0; s < 30; s++) await page.clock.runFor(1000)
      await page.getByText(/^No link: \d+/).waitFor({ timeout: 5000 })
      await page.getByRole('button', { name: 'Foam' }).click()
      await page.getByText('Not sent: no link.').waitFor({ timeout: 5000 })
      await picture(page, 'yard-dead')
      expect(yard.gateway.entries).toEqual([])
      await page.unroute('**/yard/**')
      await page.clock.runFor(13_000)
      await page.getByText(/^No link: \d+/).waitFor({ state: 'hidden', timeout: 5000 })
    } finally {
      await close()
    }
  })

  test.each([true, false])('a report is one press, also without a script (script: %s)', async (script) => {
    const { page, path, base, yard, problems, close } = await phone({ script })
    try {
      await page.goto(base + path)
      await page.getByRole('button', { name: 'Bad smell' }).click()
      await page.getByText('Written down: bad smell.').waitFor({ timeout: 5000 })
      await page.getByText('Unusual wash').click()
      await page.getByRole('button', { name: 'bleach' }).click()
      await page.getByText('Written down: bleach.').waitFor({ timeout: 5000 })
      await page.getByText('with acid it makes poison gas').waitFor()
      expect(yard.gateway.entries.map((e) => [e.kind, e.item, e.by])).toEqual([
        ['unusual-wash', 'bleach', 'yard, by the sign'],
        ['observation', 'smell', 'yard, by the sign'],
      ])
      expect(problems).toEqual([])
    } finally {
      await close()
    }
  })

  test('a link withdrawn while its page is open: the page says so', async () => {
    const { page, path, base, yard, close } = await phone({ handClock: true })
    try {
      await page.goto(base + path)
      yard.access.yard.withdraw('upper')
      await page.clock.runFor(13_000)
      await page.getByText('This link no longer works').waitFor({ timeout: 5000 })
      expect(await page.getByRole('button').count()).toBe(0)
    } finally {
      await close()
    }
  })
})
