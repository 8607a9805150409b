/** The visit as the technician sees it: on a phone, over a composed gateway whose clock is moved by hand. */
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { AxeBuilder } from '@axe-core/playwright'
import type { Browser, Page } from 'playwright-core'
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest'
import { buildApp, type App } from '../../server/app.ts'
import { createAccess } from '../../server/people/access.ts'
import { openBrowser, PAGE, whyNot } from '../look/browser.ts'
import { signIn } from '../look/sign-in.ts'
import { openStage, SITE, type Stage } from './stage.ts'

const why = whyNot()
/** Where pictures go when somebody wants to look at them. */
const PICTURES = process.env.LOOPKEEPER_PICTURES

describe.skipIf(why !== null)(`a visit on the phone${why === null ? '' : ` (skipped: ${why})`}`, () => {
  let browser: Browser
  const closing: (() => Promise<void>)[] = []
  beforeAll(async () => {
    browser = await openBrowser()
  })
  afterAll(async () => browser?.close())
  afterEach(async () => {
    for (const close of closing.splice(0).toReversed()) await close()
  })

  interface Visit {
    readonly stage: Stage
    readonly page: Page
    readonly desk: Page
    readonly wrong: string[]
    picture(page: Page, name: string): Promise<void>
  }

  async function visit(theme: 'light' | 'dark'): Promise<Visit> {
    const stage = await openStage()
    closing.push(() => stage.close())
    await stage.minutes(70)
    const dataDir = mkdtempSync(join(tmpdir(), 'loopkeeper-phone-'))
    const access = await createAccess({ dataDir, clock: stage.clock, tokens: [] })
    const app: App = await buildApp({ gateway: stage.core().port, clock: { nowMs: stage.clock.nowMs, steadyMs: () => performance.now() }, access, version: '0.1.0', pageDir: PAGE })
    await app.server.listen({ port: 0, host: '127.0.0.1' })
    const address = app.server.server.address()
    const url = `http://127.0.0.1:${typeof address === 'object' && address !== null ? address.port : 0}`
    closing.push(async () => {
      await app.stop({ withinMs: 1000 })
      rmSync(dataDir, { recursive: true, force: true })
    })
    const wrong: string[] = []
    const person = async (name: string, width: number): Promise<Page> => {
      const context = await browser.newContext({ viewport: { width, height: 780 }, colorScheme: theme, timezoneId: 'Europe/London', reducedMotion: 'reduce' })
      closing.push(() => context.close())
      const page = await context.newPage()
      page.on('pageerror', (e) => wrong.push(e.message))
      page.on('console', (m) => m.type() === 'error' && !/status of 4\d\d/.test(m.text()) && wrong.push(m.text()))
      await signIn(page, url + access.newLink(), name)
      return page
    }
    const page = await person('Ines C.', 360)
    const desk = await person('Ruth A.', 1280)
    await page.goto(`${url}/loops/${SITE}`)
    await page.getByRole('heading', { name: 'On site' }).waitFor()
    return {
      stage,
      page,
      desk,
      wrong,
      async picture(p, name) {
        if (PICTURES !== undefined) await p.screenshot({ path: join(PICTURES, `${name}-${theme}.png`), fullPage: p === desk })
      },
    }
  }

  const axe = async (page: Page): Promise<readonly string[]> =>
    (await new AxeBuilder({ page }).withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']).analyze()).violations.map(
      (v) => `${v.id}: ${v.nodes.map((n) => n.html).join(' ')}`,
    )

  test.each(['light', 'dark'] as const)(
    'in %s: one press says "I am here", one says "I leave"; what is not back is shown as it becomes known, and on every other screen',
    async (theme) => {
      const v = await visit(theme)
      const { page, desk, stage } = v
      const section = page.locator('section[aria-label="On site"]')
      const here = section.locator('.acts').getByRole('button', { name: 'I am here until 13:15' })
      await here.waitFor()
      // Reached without scrolling.
      expect((await here.boundingBox())?.y ?? 9999).toBeLessThan(700)
      await v.picture(page, '1-before')
      await here.click()
      const leave = section.getByRole('button', { name: 'I leave' })
      await leave.waitFor()
      await section.getByText('You are here since 10:10, until 13:15').waitFor()
      await section.getByText(/Alarms of this loop go to Ines C. only/).waitFor()
      await desk.locator('.cell').getByText('someone on site until 13:15').waitFor({ timeout: 5000 })
      await v.picture(page, '2-here')
      await v.picture(desk, '2-fleet')
      expect(await axe(page)).toEqual([])

      Object.assign(stage.plant, { 'blower.run': 0, 'blower.pressure': 2 })
      await stage.minutes(5)
      await leave.click()
      await section.getByRole('heading', { name: /After the visit: 1 still to come|After the visit: 2 still to come/ }).waitFor()
      const blower = section.locator('li', { hasText: 'Blower' }).first()
      await blower.getByText('not yet').waitFor()
      await v.picture(page, '3-left')
      await stage.minutes(15)
      await blower.getByText('not seen', { exact: true }).waitFor({ timeout: 5000 })
      await page.getByText('Air is not back after the visit').first().waitFor({ timeout: 5000 })
      await v.picture(page, '4-not-back')
      Object.assign(stage.plant, { 'blower.run': 1, 'blower.pressure': 207 })
      await stage.minutes(1)
      await section.getByText('After the visit: all that can be seen runs again').waitFor({ timeout: 5000 })
      expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(360)
      expect(await axe(page)).toEqual([])
      expect(v.wrong).toEqual([])
    },
    60_000,
  )

  test('another end and a reason are said in the form, a colleague is checked out by name, and planned work is begun and ended', async () => {
    const v = await visit('light')
    const { page, desk, stage } = v
    const section = page.locator('section[aria-label="On site"]')
    await section.getByText('Another time, and what for').click()
    await section.locator('select').first().selectOption('1')
    await section.getByLabel('For').fill('probe and selector')
    await section.locator('form').first().getByRole('button').click()
    await section.getByText('until 11:15: probe and selector').waitFor()

    await desk.locator('.cell').first().click()
    const there = desk.locator('section[aria-label="On site"]')
    await there.getByRole('button', { name: 'Ines C. has left' }).waitFor()
    await stage.minutes(80)
    await there.getByText(/Check-out overdue: call/).waitFor({ timeout: 5000 })
    await desk.getByText('Check-out overdue: somebody may need help').first().waitFor({ timeout: 5000 })
    await v.picture(desk, '5-overdue')
    await there.getByRole('button', { name: 'Ines C. has left' }).click()
    await there.getByText('nobody there').waitFor()

    await there.getByText('Planned work, rest, commissioning, end of contract').click()
    await there.getByLabel(/Until, by the clock at the yard/).fill('2026-06-10T16:00')
    await there.getByLabel('Why').fill('new liner in the sump')
    await there.getByRole('button', { name: 'Say so' }).click()
    await there.getByText('planned work until 16:00').waitFor()
    await v.picture(desk, '6-work')
    await there.getByRole('button', { name: 'End planned work' }).click()
    await there.getByText('nobody there').waitFor()
    await there.getByText('Who said what before').click()
    await there.getByText('end of planned work').waitFor()
    await v.picture(desk, '7-before')
    expect(await axe(desk)).toEqual([])
    expect(v.wrong).toEqual([])
  }, 60_000)
})
