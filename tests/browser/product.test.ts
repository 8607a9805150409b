import { execFileSync } from 'node:child_process'
import { existsSync } from 'node:fs'
import type { Browser, BrowserContext, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { alarmsBody } from '../../server/wire.ts'
import { openBrowser, whyNot } from '../look/browser.ts'
import { signIn } from '../look/sign-in.ts'
import { makeFolder, startProduct, threeSignals, until, type Folder, type Product } from '../product.ts'

const CLIENT = '/usr/bin/mosquitto_pub'
const why = whyNot() ?? (existsSync(CLIENT) ? null : `no MQTT client at ${CLIENT}: apt-get install mosquitto-clients`)

describe.skipIf(why !== null)(`the running product in a real browser${why === null ? '' : ` (skipped: ${why})`}`, () => {
  let folder: Folder
  let product: Product
  let browser: Browser
  let desk: Page
  let phone: Page
  const contexts: BrowserContext[] = []
  const problems: string[] = []

  const person = async (name: string, link: string, width: number): Promise<Page> => {
    const context = await browser.newContext({ viewport: { width, height: 844 }, timezoneId: 'America/New_York' })
    contexts.push(context)
    const page = await context.newPage()
    page.on('pageerror', (e) => problems.push(e.message))
    page.on('console', (m) => m.type() === 'error' && problems.push(m.text()))
    page.on('request', (r) => !r.url().startsWith(product.page) && problems.push(`asked another host: ${r.url()}`))
    await signIn(page, link, name)
    return page
  }
  const publish = (signal: string, payload: string): void => {
    execFileSync(CLIENT, [
      '-h',
      '127.0.0.1',
      '-p',
      String(product.mqttPort),
      '-q',
      '1',
      '-u',
      'yard-1',
      '-P',
      product.secrets.get('yard-1') ?? '',
      '-t',
      `loopkeeper/v1/yard-1/${signal}`,
      '-m',
      payload,
    ])
  }
  /** A second sign-in link, as the command for it makes one. */
  const anotherLink = (): string => {
    const text = execFileSync(process.execPath, ['--import', 'tsx', 'server/signin-link.ts', '--data', folder.data], { encoding: 'utf8' })
    return product.page + (/\/signin\?once=\S+/.exec(text)?.[0] ?? '')
  }

  beforeAll(async () => {
    folder = makeFolder({ 'yard-1.yaml': threeSignals })
    product = await startProduct(folder)
    browser = await openBrowser()
    desk = await person('Ines C.', product.signIn, 1440)
    phone = await person('Tomas W.', anotherLink(), 390)
  })
  afterAll(async () => {
    await browser?.close()
    await product?.kill()
    folder?.remove()
  })

  test('a sign-in link works once', async () => {
    expect((await fetch(product.signIn)).status).toBeGreaterThanOrEqual(400)
  })

  test('a reading published by an MQTT client stands on the open page within a second', async () => {
    await desk.goto(`${product.page}/loops/yard-1`)
    const row = desk.getByRole('row', { name: /Level, sump/ })
    await row.waitFor()
    publish('sump.level', '43')
    await row.getByText('43', { exact: true }).waitFor({ timeout: 1000 })
    publish('sump.level', '47')
    await row.getByText('47', { exact: true }).waitFor({ timeout: 1000 })
  })

  test('past its limit it is an alarm on the fleet page, and answering it in one browser shows in the other within a second', async () => {
    await desk.goto(`${product.page}/`)
    await phone.goto(`${product.page}/`)
    await desk.getByText('Nobody is needed').waitFor()
    await phone.getByText('Nobody is needed').waitFor()
    publish('sump.level', '88')
    const needed = (p: Page) => p.getByRole('region', { name: 'Loops that need someone' }).getByRole('link', { name: /Sump almost full/ })
    const row = needed(desk)
    await row.waitFor({ timeout: 1000 })
    await needed(phone).click({ timeout: 1000 })
    await phone.getByRole('heading', { name: 'Do', exact: true }).waitFor()
    await phone.getByText('Can hurt').waitFor()
    await phone.getByRole('button', { name: 'Acknowledge, I have it' }).click()
    await row.getByText(/Tomas W\. has it since/).waitFor({ timeout: 1000 })
    await phone
      .getByRole('status')
      .getByText(/Tomas W\. has it since/)
      .waitFor()
    const { alarms } = alarmsBody.parse(await (await product.api('/api/alarms')).json())
    expect(alarms.find((a) => a.id === 'yard-1/sump.level.high')).toMatchObject({ state: 'acknowledged', acknowledgedBy: 'Tomas W.' })
  })

  test('an entry written on the phone stands in the site log and on the trend', async () => {
    await phone.goto(`${product.page}/log/yard-1`)
    await phone.getByLabel('or another').fill('white foam')
    await phone.getByLabel('What was seen').fill('a hand high')
    await phone.getByRole('button', { name: 'Write it down' }).click()
    await phone.getByText('Written.').waitFor()
    await desk.goto(`${product.page}/trends/yard-1?signals=sump.level`)
    await desk.getByText(/white foam, a hand high, Tomas W\./).waitFor()
    expect(await desk.locator('canvas').count()).toBeGreaterThan(0)
  })

  test('names and notes that look like markup stay text, and no page reports an error or asks another host', async () => {
    await phone.goto(`${product.page}/log/yard-1`)
    await phone.getByLabel('or another').fill('<img src=x onerror=alert(1)>')
    await phone.getByRole('button', { name: 'Write it down' }).click()
    await phone.getByText('Written.').waitFor()
    await desk.goto(`${product.page}/loops/yard-1`)
    await desk.getByText('<img src=x onerror=alert(1)>').first().waitFor()
    for (const path of ['/alarms', '/alarms?tab=history', '/health', '/trends']) {
      await desk.goto(product.page + path)
      await desk.getByText(/server heard/).waitFor()
    }
    expect(problems).toEqual([])
  })

  test('a site is silent three reports and 10 s after its last message, and says so', async () => {
    // The shortest report of this site is 10 s, so 40 s; the answer above was the last message.
    await desk.goto(`${product.page}/loops/yard-1`)
    await desk.getByText('Silent', { exact: true }).first().waitFor({ timeout: 60_000 })
  })

  test('when the server dies every open page says so within 10 s, and comes back by itself', async () => {
    await desk.goto(`${product.page}/`)
    await desk.getByText(/server heard/).waitFor()
    await product.kill()
    await desk
      .getByRole('alert')
      .getByText(/No word from the server/)
      .waitFor({ timeout: 10_000 })
    await until(
      () => desk.evaluate(() => document.body.classList.contains('lost')),
      1000,
      () => 'the page does not look lost',
    )
    product = await startProduct(folder, ['--fleet', 'none', '--port', new URL(product.page).port])
    await desk.getByRole('alert').waitFor({ state: 'detached', timeout: 30_000 })
    await desk
      .getByRole('link', { name: /Sump almost full/ })
      .first()
      .waitFor()
  })
})
