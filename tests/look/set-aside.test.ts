/** Setting an alarm aside in a real browser: with the keyboard alone, on a narrow phone, and when somebody else was quicker. */
import { AxeBuilder } from '@axe-core/playwright'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, onTestFinished, test } from 'vitest'
import { openBrowser, PAGE, whyNot } from './browser.ts'
import { startFakeServer, type FakeServer } from './fake-server.ts'
import type { FleetName } from './yards.ts'

const why = whyNot()
const AIR = `/alarms/${encodeURIComponent('kestrow-berth-3/blower.no-air')}`

describe.skipIf(why !== null)(`alarms set aside${why === null ? '' : ` (skipped: ${why})`}`, () => {
  let browser: Browser
  beforeAll(async () => {
    browser = await openBrowser()
  })
  afterAll(async () => browser?.close())

  async function visit(path: string, fleet: FleetName = 'eight', width = 360): Promise<{ page: Page; server: FakeServer }> {
    const server = await startFakeServer({ fleet, page: PAGE })
    const context = await browser.newContext({ viewport: { width, height: 740 }, timezoneId: 'Europe/London', reducedMotion: 'reduce' })
    onTestFinished(async () => {
      await context.close()
      await server.stop()
    })
    const page = await context.newPage()
    await page.goto(server.url + path)
    await page.locator('main h1').first().waitFor({ state: 'attached' })
    return { page, server }
  }

  test('with the keyboard alone: reason, time, shelve; it says who, until when and what is left, and comes off again', async () => {
    const { page, server } = await visit(AIR)
    await page.getByRole('button', { name: 'Let it rest' }).focus()
    await page.keyboard.press('Enter')
    await page.getByLabel('Why may it rest').waitFor()
    await page.keyboard.press('Tab')
    await page.keyboard.type('driver is on it')
    for (let i = 0; i < 2; i++) await page.keyboard.press('Tab')
    await page.keyboard.type('30')
    await page.keyboard.press('Tab')
    await page.keyboard.press('Enter')
    await page
      .getByText(/Shelved by Ines C\. until 03:4\d, (29|30)\smin left/)
      .first()
      .waitFor()
    await page.getByText('Why: driver is on it').waitFor()
    expect(server.asked.some((a) => a.startsWith('POST') && a.endsWith('/shelve'))).toBe(true)
    expect(await page.getByRole('button', { name: 'Acknowledge, I have it' }).count()).toBe(0)
    await page.getByRole('button', { name: 'Take off the shelf' }).press('Enter')
    await page.getByRole('button', { name: 'Acknowledge, I have it' }).waitFor()
  })

  test('the second of two people is told what the first one did, keeps what was typed, and can go on from there', async () => {
    const { page, server } = await visit(AIR)
    await page.getByRole('button', { name: 'Take out of service' }).click()
    await page.getByLabel('Why', { exact: true }).fill('switch broken')
    await page.getByLabel('What is done meanwhile in its place').fill('yard looks twice a day')
    server.change('kestrow-berth-3', 'blower.no-air', { note: 'shelved elsewhere' }, 'shelved')
    const send = page.getByRole('form', { name: 'Take out of service' }).getByRole('button')
    await send.click()
    await page.getByRole('alert').getByText('shelved by Tomas W. 2 min ago').waitFor()
    expect(await page.getByLabel('Why', { exact: true }).inputValue()).toBe('switch broken')
    await send.click()
    await page.getByText('Meanwhile: yard looks twice a day').waitFor()
    await page.getByRole('button', { name: 'Bring back into service' }).waitFor()
  })

  test('the list of what is set aside is one click from the alarms, with its count, and fits 360 px', async () => {
    const { page } = await visit('/alarms')
    await page.getByRole('link', { name: 'Set aside 3' }).click()
    for (const name of ['Shelved', 'Suppressed by design', 'Out of service']) expect(await page.getByRole('region', { name }).locator('a').count()).toBe(1)
    expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(360)
  })

  test('a flood is told above the list and takes nothing out of it', async () => {
    const { page } = await visit('/alarms', 'sixty', 1200)
    await page.getByText('8 loops at once:').waitFor()
    const rows = await page.locator('table.standing tbody tr').count()
    await page.getByText('Many alarms at once:').waitFor()
    expect(rows).toBeGreaterThan(10)
  })

  test.each([
    ['/alarms?tab=set-aside', 'eight'],
    ['/alarms', 'sixty'],
    [`/alarms/${encodeURIComponent('ullenwick-bus-north/panel.auto.off')}`, 'eight'],
    ['/loops/ullenwick-bus-north', 'eight'],
  ] as const)('nothing on %s stands in the way of people who listen or use keys, at 360 px', async (path, fleet) => {
    const { page } = await visit(path, fleet)
    await page.getByText('Shelved by').or(page.getByText('Many alarms at once')).first().waitFor()
    for (const b of await page.getByRole('button', { name: /Take out of service|Let it rest/ }).all()) await b.click()
    const { violations } = await new AxeBuilder({ page }).withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']).analyze()
    expect(violations.map((v) => `${v.id}: ${v.nodes[0]?.html}`)).toEqual([])
    expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(360)
  })
})
