/** A site is changed in the page of the whole product, is in force, and nobody saves past somebody else. */
import { readdirSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { AxeBuilder } from '@axe-core/playwright'
import mqtt from 'mqtt'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { loopDetailBody } from '../../server/wire.ts'
import { openBrowser, whyNot } from '../look/browser.ts'
import { signIn } from '../look/sign-in.ts'
import { makeFolder, startProduct, threeSignals, until, type Folder, type Product } from '../product.ts'

const why = whyNot()
const FILE = threeSignals.replace('  tu.do:\n', '  # the probe from 2024\n  tu.do: # optical\n')

describe.skipIf(why !== null)(`setting up sites in the page${why === null ? '' : ` (skipped: ${why})`}`, () => {
  let folder: Folder
  let product: Product
  let browser: Browser
  let desk: Page
  let other: Page
  const path = (): string => join(folder.data, 'sites', 'yard-1.yaml')
  const onDisk = (): string => readFileSync(path(), 'utf8')
  const loop = async (id = 'yard-1') => loopDetailBody.parse(await (await product.api(`/api/loops/${id}`)).json())

  beforeAll(async () => {
    folder = makeFolder({ 'yard-1.yaml': FILE })
    product = await startProduct(folder)
    browser = await openBrowser()
    desk = await (await browser.newContext({ viewport: { width: 1280, height: 900 } })).newPage()
    await signIn(desk, product.signIn, 'Ines C.')
    other = await (await browser.newContext({ viewport: { width: 360, height: 780 }, storageState: await desk.context().storageState() })).newPage()
  })
  afterAll(async () => {
    await browser?.close()
    await product?.kill()
    folder?.remove()
  })

  test('a range is changed in the form: the lines and what they mean are shown, then the file has that one line changed, and it is in force', async () => {
    await desk.goto(`${product.page}/setup`)
    await other.goto(`${product.page}/setup/sites/yard-1.yaml`)
    await other.getByLabel('Phone of the yard').waitFor()
    await desk.getByRole('link', { name: 'Ellmarsh Bus Works, wash lane' }).click()
    await desk.getByText('Signals, 3').click()
    await desk.getByText('finished.level').click()
    await desk.getByLabel('Lowest it can report').fill('0')
    await desk.getByLabel('Highest it can report').fill('-5')
    await desk.getByText('two numbers, the lower first').waitFor()
    await desk.getByLabel('Highest it can report').fill('140')
    await desk.getByRole('button', { name: 'Show what it does' }).click()
    await desk.getByRole('heading', { name: 'What changes in the file' }).waitFor()
    expect(await desk.locator('.diff .goes code').allTextContents()).toEqual(['goes:   finished.level:'])
    expect(await desk.locator('.diff .comes code').allTextContents()).toEqual(['comes:   finished.level: { range: [0, 140] }'])
    await desk.getByText('Signals that change').waitFor()
    expect(onDisk(), 'nothing is saved by looking').toBe(FILE)
    await desk.getByLabel('Why').fill('a longer probe was put in')
    await desk.getByRole('button', { name: 'Save the file' }).click()
    await desk.getByText('Saved: yard-1.yaml').waitFor()
    expect(onDisk()).toBe(FILE.replace('  finished.level:\n', '  finished.level: { range: [0, 140] }\n'))
    await until(
      async () => (await loop()).signals.find((s) => s.id === 'finished.level')?.range[1] === 140,
      15_000,
      () => 'the range is not in force',
    )
    expect(readdirSync(join(folder.data, 'sites', '.before'))).toHaveLength(1)
    expect(await (await product.api('/api/log?site=yard-1')).text()).toContain('a longer probe was put in')
  })

  test('a second person who saw the file before is refused, keeps what they typed, and saves it on the file as it is now', async () => {
    await other.getByLabel('Phone of the yard').fill('555-0177')
    await other.getByLabel('Getting in').fill('Gate B, key safe behind the ticket hut; ring the office first, because lorries move without warning there')
    await other.getByText(/has been changed since you looked/).waitFor()
    await other.getByRole('button', { name: 'Show the file as it is now' }).click()
    await other.getByRole('button', { name: 'Show what it does' }).click()
    await other.getByLabel('Why').fill('new phone')
    expect(await other.evaluate(() => document.documentElement.scrollWidth), 'long lines of the difference scroll in their own box').toBeLessThanOrEqual(360)
    expect((await new AxeBuilder({ page: other }).analyze()).violations.map((v) => v.id)).toEqual([])
    await other.getByRole('button', { name: 'Save the file' }).click()
    await other.getByText('Saved: yard-1.yaml').waitFor()
    expect(onDisk()).toContain('range: [0, 140]')
    expect(onDisk()).toContain('yardPhone: "555-0177"')
    expect(onDisk()).toContain('  # the probe from 2024\n  tu.do: # optical\n')
  })

  test('a limit of an alarm is changed in the text: old and new stand side by side, and a file edited on disk meanwhile is not overwritten', async () => {
    await desk.goto(`${product.page}/setup/sites/yard-1.yaml`)
    await desk.getByRole('button', { name: 'Text' }).click()
    const text = desk.getByLabel('Text of the site file').last()
    await text.fill((await text.inputValue()).replace('limit: 80', 'limit: x'))
    await desk.getByRole('button', { name: /^Line \d+/ }).waitFor()
    await text.fill((await text.inputValue()).replace('limit: x', 'limit: 60'))
    await desk.getByRole('button', { name: /^Line \d+/ }).waitFor({ state: 'detached' })
    await desk.getByRole('button', { name: 'Show what it does' }).click()
    const row = desk.getByRole('row', { name: /Limit/ })
    await row.waitFor()
    expect(await row.textContent()).toMatch(/80.%60.%/)
    const before = onDisk()
    writeFileSync(path(), `${before}# by hand\n`)
    await desk.getByLabel('Why').fill('the sump is small')
    await desk.getByRole('button', { name: 'Save the file' }).click()
    await desk.getByText(/Not saved: yard-1\.yaml has been changed since you looked/).waitFor()
    expect(onDisk()).toBe(`${before}# by hand\n`)
    await desk.getByRole('button', { name: 'Show the file as it is now' }).click()
    await desk.getByText('What you had written').waitFor()
    await text.fill((await text.inputValue()).replace('limit: 80', 'limit: 60'))
    await desk.getByRole('button', { name: 'Show what it does' }).click()
    await desk.getByLabel('Why').fill('the sump is small')
    await desk.getByRole('button', { name: 'Save the file' }).click()
    await desk.getByText('Saved: yard-1.yaml').waitFor()
    await until(
      async () => /"limit":60\b/.test(await (await product.api(`/api/alarms/${encodeURIComponent('yard-1/sump.level.high')}`)).text()),
      15_000,
      () => 'the limit is not in force',
    )
  })

  test('a new site is made as a copy, its credential is shown once and opens the broker, is made anew, and withdrawn', async () => {
    await desk.goto(`${product.page}/setup/new`)
    await desk.getByLabel('Name').fill('Ellmarsh Bus Works, second lane')
    await desk.getByLabel('Id').fill('yard-2')
    await desk.getByLabel('Begin from').selectOption('yard-1.yaml')
    await desk.getByRole('button', { name: 'Go on' }).click()
    await desk.getByRole('button', { name: 'Show what it does' }).click()
    await desk.getByText(/Signals that come/).waitFor()
    await desk.getByLabel('Why').fill('a second lane')
    await desk.getByRole('button', { name: 'Save the file' }).click()
    await desk.getByText(/shown only now/).waitFor()
    const first = await desk.locator('.secret dd').last().textContent()
    const connect = (password: string) => mqtt.connectAsync(`mqtt://127.0.0.1:${product.mqttPort}`, { username: 'yard-2', password, reconnectPeriod: 0 })
    await until(
      async () => (await product.api('/api/loops/yard-2')).ok,
      15_000,
      () => 'the new loop is not there',
    )
    await desk.goto(`${product.page}/setup/credentials`)
    const line = desk.getByRole('listitem').filter({ hasText: 'second lane' })
    await line.getByText('Never used').waitFor()
    const client = await connect(first ?? '')
    await line.getByText(/Last used/).waitFor({ timeout: 15_000 })
    const ended = new Promise<void>((over) => client.once('close', () => over()))
    await line.getByRole('button', { name: /^Replace/ }).click()
    await line.getByRole('button', { name: 'Yes, make it anew' }).click()
    await desk.getByText(/shown only now/).waitFor()
    await ended
    await expect(connect(first ?? '')).rejects.toThrow()
    const second = await desk.locator('.secret dd').last().textContent()
    const again = await connect(second ?? '')
    const cut = new Promise<void>((over) => again.once('close', () => over()))
    await line.getByRole('button', { name: /^Withdraw/ }).click()
    await line.getByRole('button', { name: 'Yes, withdraw it' }).click()
    await desk.getByText(/is withdrawn/).waitFor()
    await cut
    await line.getByText('No credential').waitFor()
  })

  test('the pages hold on a phone of 360 px and pass the checks of accessibility in both themes', async () => {
    for (const address of ['/setup', '/setup/sites/yard-1.yaml', '/setup/new', '/setup/credentials']) {
      await other.goto(product.page + address)
      await other.locator('.list, form, .credentials, .siteFiles').first().waitFor()
      expect(await other.evaluate(() => document.documentElement.scrollWidth), address).toBeLessThanOrEqual(360)
      for (const theme of ['light', 'dark'] as const) {
        await other.emulateMedia({ colorScheme: theme })
        const found = await new AxeBuilder({ page: other }).analyze()
        expect(
          found.violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.html.slice(0, 120)).join(' | ')}`),
          `${address} ${theme}`,
        ).toEqual([])
      }
    }
  })
})
