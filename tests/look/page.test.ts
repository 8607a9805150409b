/** The page in a real browser, against invented loops: what an operator would notice if it broke. */
import { gzipSync } from 'node:zlib'
import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { AxeBuilder } from '@axe-core/playwright'
import type { Browser, BrowserContext, Locator, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, onTestFinished, test } from 'vitest'
import { openBrowser, PAGE, whyNot } from './browser.ts'
import { startFakeServer, type FakeServer } from './fake-server.ts'
import type { FleetName } from './yards.ts'

const why = whyNot()
const AIR = `/alarms/${encodeURIComponent('kestrow-berth-3/blower.no-air')}`
const DESK = { width: 1440, height: 900 }
const PHONE = { width: 390, height: 844 }

describe.skipIf(why !== null)(`the page over invented loops${why === null ? '' : ` (skipped: ${why})`}`, () => {
  let browser: Browser
  beforeAll(async () => {
    browser = await openBrowser()
  })
  afterAll(async () => browser?.close())

  interface Visit {
    readonly page: Page
    readonly server: FakeServer
    readonly context: BrowserContext
    /** Script faults, refusals of the content policy, and requests to anybody else. */
    readonly wrong: string[]
  }

  async function visit(
    path: string,
    more: { fleet?: FleetName; size?: { width: number; height: number }; theme?: 'light' | 'dark'; zone?: string; handClock?: boolean } = {},
  ): Promise<Visit> {
    const server = await startFakeServer({ fleet: more.fleet ?? 'eight', page: PAGE })
    const context = await browser.newContext({ viewport: more.size ?? DESK, colorScheme: more.theme ?? 'light', timezoneId: more.zone ?? 'Europe/London', reducedMotion: 'reduce' })
    const page = await context.newPage()
    const wrong: string[] = []
    page.on('pageerror', (e) => wrong.push(e.message))
    page.on('console', (m) => m.type() === 'error' && !/status of 4\d\d|WebSocket/.test(m.text()) && wrong.push(m.text()))
    page.on('request', (r) => !r.url().startsWith(server.url) && !r.url().startsWith('data:') && !r.url().startsWith('blob:') && wrong.push(`asked another host: ${r.url()}`))
    onTestFinished(async () => {
      await context.close()
      await server.stop()
    })
    if (more.handClock) await page.clock.install({ time: server.nowMs() })
    await page.goto(server.url + path)
    await page.locator('main h1').first().waitFor({ state: 'attached' })
    return { page, server, context, wrong }
  }

  /** Moves the page's clock on, half a second at a time, until something stands there: a minute of it at most. */
  async function advanceUntil(page: Page, what: Locator): Promise<void> {
    for (let i = 0; i < 120 && (await what.count()) === 0; i++) await page.clock.runFor(500)
    await what.first().waitFor({ timeout: 1000 })
  }

  test('the fleet shows what nobody has answered first, worst first', async () => {
    const { page, wrong } = await visit('/')
    const rows = await page.locator('section[aria-label="Loops that need someone"] a').allTextContents()
    expect(rows[0]).toContain('Kestrow Ferry Terminal, berth 3')
    expect(rows[0]).toContain('No air in')
    expect(rows[1]).toContain('Thrapplow Quarry')
    const at = (text: string): number => rows.findIndex((r) => r.includes(text))
    expect(at('Saltrigg')).toBeLessThan(at('Ullenwick'))
    expect(wrong).toEqual([])
  })

  test('a new alarm rises to the top and is said once to people who listen', async () => {
    const { page, server } = await visit('/')
    await page.mouse.move(5, 5)
    server.change('bramscar-slate-yard', 'blower.no-air', { state: 'unacknowledged', occurrence: 'new', raisedMs: server.nowMs() })
    const first = page.locator('section[aria-label="Loops that need someone"] a').first()
    await first.getByText('Bramscar Slate Yard').waitFor({ timeout: 2000 })
    expect(await page.locator('p[role="status"]').first().textContent()).toContain('Bramscar Slate Yard')
  })

  test('a changed value stands on the page within a second', async () => {
    const { page, server } = await visit('/loops/kestrow-berth-3')
    const row = page.locator('tr', { has: page.getByRole('link', { name: 'Oxygen, treatment unit' }) })
    await row.waitFor()
    server.tell('kestrow-berth-3', 'tu.do', 6.4)
    await row.getByText('6.4').waitFor({ timeout: 1000 })
  })

  test('a dead link is told within 10 s, everywhere it matters, and taken back when the server is heard again', async () => {
    const { page, server } = await visit('/', { handClock: true })
    await page.getByText('server heard').waitFor()
    await page.clock.runFor(2000)
    expect(await page.getByText('No word from the server').count()).toBe(0)
    server.mute(true)
    await page.clock.runFor(10_000)
    const band = page.getByRole('alert').filter({ hasText: 'No word from the server' })
    await band.waitFor({ timeout: 3000, state: 'attached' })
    await page.getByText(/^No word from the server for \d+\u00a0s\.$/).waitFor()
    expect(await band.textContent()).toMatch(/frozen at \d\d:\d\d:\d\d/)
    expect(await page.locator('body').getAttribute('class')).toContain('lost')
    await page.getByText('quiet, when last heard').waitFor()
    // No drop in the mark of the product: the screen itself is not alive.
    expect(await page.locator('.brand .b-drop').count()).toBe(0)
    server.mute(false)
    await advanceUntil(page, page.getByText(/^Back at \d\d:\d\d:\d\d\.$/))
    expect(await band.count()).toBe(0)
    expect(await page.locator('.brand .b-drop').count()).toBe(1)
  })

  test('a link cut off and mended comes back by itself', async () => {
    const { page, server } = await visit('/', { handClock: true })
    await page.getByText('server heard').waitFor()
    server.cut(true)
    await page.clock.runFor(12_000)
    await page.getByRole('alert').filter({ hasText: 'No word from the server' }).waitFor({ timeout: 3000, state: 'attached' })
    server.cut(false)
    await advanceUntil(page, page.getByText(/^Back at/))
    expect(await page.getByRole('alert').filter({ hasText: 'No word from the server' }).count()).toBe(0)
  })

  test('an acknowledgement is shown as given only when the server has said so', async () => {
    const { page, server } = await visit(AIR, { size: PHONE })
    const release = server.holdAnswers()
    await page.getByRole('button', { name: 'Acknowledge, I have it' }).click()
    await page.getByRole('button', { name: 'Not sent yet, trying' }).waitFor()
    expect(await page.getByText('Ines C. has it').count()).toBe(0)
    release()
    await page.getByText('Ines C. has it').first().waitFor()
    expect(await page.getByRole('button', { name: 'Acknowledge, I have it' }).count()).toBe(0)
  })

  test('a refused acknowledgement is told in words, and the alarm is not shown as answered', async () => {
    const { page, server } = await visit(AIR, { size: PHONE })
    server.refuseNext('stale-version', 'Tomas W. answered it at 03:15: look at it again.')
    await page.getByRole('button', { name: 'Acknowledge, I have it' }).click()
    await page.getByRole('alert').filter({ hasText: 'Tomas W. answered it at 03:15' }).waitFor()
    expect(await page.getByText('Ines C. has it').count()).toBe(0)
  })

  test('answered by somebody else meanwhile: the page says who has it', async () => {
    const { page, server } = await visit(AIR, { size: PHONE })
    server.change('kestrow-berth-3', 'blower.no-air', { state: 'acknowledged', acknowledgedBy: 'Tomas W.', acknowledgedMs: server.nowMs() }, 'acknowledged')
    await page.getByText('Tomas W. has it since').first().waitFor({ timeout: 2000 })
  })

  test('the night call fits the phone: what, where, how long and the main button without scrolling, nothing cut', async () => {
    const { page } = await visit(AIR, { size: PHONE })
    const button = page.getByRole('button', { name: 'Acknowledge, I have it' })
    for (const part of [page.locator('main h1'), page.getByText('to respond'), page.getByText('Kestrow Ferry Terminal, berth 3'), button, page.locator('.steps li').first()]) {
      const box = await part.first().boundingBox()
      expect(box).not.toBeNull()
      expect(box!.y).toBeGreaterThanOrEqual(0)
      expect(box!.y + box!.height).toBeLessThanOrEqual(PHONE.height)
      expect(box!.x + box!.width).toBeLessThanOrEqual(PHONE.width)
    }
    expect((await button.boundingBox())?.height).toBeGreaterThanOrEqual(76)
  })

  test('the alarm page leads with the time until harm, has the verdict directly under it, and says who has it, who is there and what should have acted', async () => {
    const { page, server } = await visit(AIR, { size: PHONE })
    const facts = page.locator('.facts')
    await facts.getByText('until harm is possible').waitFor()
    await facts.getByText(/min to respond$/).waitFor()
    expect(await facts.evaluate((e) => e.nextElementSibling?.querySelector('h2')?.textContent)).toBe('Must I get up?')
    expect(await page.locator('.steps').evaluate((e) => (document.querySelector('#get-up')?.compareDocumentPosition(e) ?? 0) & Node.DOCUMENT_POSITION_FOLLOWING)).toBeGreaterThan(0)
    for (const [term, said] of [
      ['Who has it', 'nobody yet'],
      ['On site', 'nobody has said so'],
      ['Local protection', 'none is expected to act for this'],
    ] as const)
      await page
        .locator('.why > div', { has: page.locator('dt', { hasText: new RegExp(`^${term}$`) }) })
        .getByText(said)
        .waitFor()
    await page.getByRole('button', { name: 'Acknowledge, I have it' }).click()
    await page.locator('.why dd', { hasText: /^Ines C\., since/ }).waitFor()
    expect(server.asked.filter((a) => a.endsWith('/call')).length).toBeGreaterThan(0)
  })

  test('a site log entry is written from the phone and stands in the list', async () => {
    const { page, server } = await visit('/log/kestrow-berth-3', { size: PHONE })
    await page.locator('select[name="kind"]').selectOption('note')
    await page.locator('textarea[name="text"]').fill('Gate was open, nobody there')
    await page.getByRole('button', { name: 'Write it down' }).click()
    await page.locator('.entries').getByText('Gate was open, nobody there').waitFor()
    expect(server.asked.filter((a) => a === 'POST /api/log')).toHaveLength(1)
  })

  test('the trend draws its lanes, says where nothing was heard, and keeps its canvases when values come', async () => {
    const { page, server, wrong } = await visit('/trends/kestrow-berth-3?signals=tu.do,tu.ph,blower.run')
    await page.locator('.lane canvas').nth(1).waitFor()
    await page.getByText('of the time has readings').waitFor()
    const canvases = await page.locator('.lane canvas').count()
    for (let i = 0; i < 5; i++) server.tell('kestrow-berth-3', 'tu.do', 4 + i / 10)
    await page.locator('.gutter').getByText('4.4').waitFor({ timeout: 2000 })
    expect(await page.locator('.lane canvas').count()).toBe(canvases)
    expect(wrong).toEqual([])
  })

  test('drift and steps are off at first; asked for, each lane says them in a sentence with its interval, and off again nothing stays', async () => {
    const { page, server, wrong } = await visit('/trends/kestrow-berth-3?signals=tu.conductivity,finished.turbidity,finished.level&span=604800000', { size: PHONE })
    await page.locator('.lane canvas').nth(2).waitFor()
    const button = page.getByRole('button', { name: 'Drift and steps' })
    expect(await button.getAttribute('aria-pressed')).toBe('false')
    expect(server.asked.filter((a) => a.includes('/course'))).toEqual([])
    const bare = await page.locator('.lane canvas').first().screenshot()
    await button.click()
    const told = page.locator('.told p')
    await told.nth(2).waitFor()
    const [salt = '', turbidity = ''] = await told.allInnerTexts()
    expect(salt).toMatch(/^Conductivity, treatment unit\. Rising: \+1\d\sµS\/cm per day, between \+\d+ and \+\d+\./)
    expect(turbidity).toMatch(/The level changed at Sat \d\d:\d\d, between Sat \d\d:\d\d and Sat \d\d:\d\d: 12 before, 7\sNTU after\./)
    await page.locator('p[role="status"]', { hasText: 'Drift and steps are told under each lane.' }).waitFor({ state: 'attached' })
    // Nothing runs out of a phone, and the drawing itself has changed.
    expect(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth)).toBe(true)
    expect((await page.locator('.lane canvas').first().screenshot()).equals(bare)).toBe(false)
    await button.click()
    await told.first().waitFor({ state: 'detached' })
    expect(wrong).toEqual([])
  })

  test('a hundred visits to a trend leave neither a canvas nor a listener behind', async () => {
    const { page } = await visit('/health')
    const left = await page.evaluate(async () => {
      // Listeners on what outlives a chart: window and document, and the questions asked of the screen.
      let listeners = 0
      const { addEventListener, removeEventListener } = EventTarget.prototype
      for (const target of [window, document] as EventTarget[]) {
        target.addEventListener = (...a) => {
          listeners++
          addEventListener.apply(target, a)
        }
        target.removeEventListener = (...a) => {
          listeners--
          removeEventListener.apply(target, a)
        }
      }
      const click = async (href: string, until: () => boolean): Promise<void> => {
        const a = Object.assign(document.createElement('a'), { href })
        document.body.append(a)
        a.click()
        a.remove()
        for (let i = 0; i < 400 && !until(); i++) await new Promise((r) => setTimeout(r, 5))
      }
      const canvases = (): number => document.querySelectorAll('canvas').length
      const visits = async (n: number): Promise<void> => {
        for (let i = 0; i < n; i++) {
          await click('/trends/kestrow-berth-3?signals=tu.do', () => canvases() > 0)
          await click('/health', () => canvases() === 0)
        }
      }
      await visits(5)
      const early = listeners
      await visits(100)
      // The last page may still be on its way out.
      for (let i = 0; i < 400 && listeners > early; i++) await new Promise((r) => setTimeout(r, 5))
      return { canvases: canvases(), more: Math.max(0, listeners - early) }
    })
    expect(left).toEqual({ canvases: 0, more: 0 })
  })

  test('times of a trend are those of the site, whatever zone the browser stands in', async () => {
    const { page } = await visit('/trends/kestrow-berth-3?signals=tu.do', { zone: 'America/New_York' })
    await page.locator('.tools').getByText('UTC+0').waitFor()
    await page.getByRole('button', { name: 'As a table' }).click()
    // 03:16 in London is 22:16 in New York.
    await page.locator('table caption').getByText('Europe/London').waitFor()
    expect(await page.locator('table.list tbody tr td').first().textContent()).toMatch(/^03:1\d$/)
  })

  test('nobody signed in: the page says where the sign-in link is printed', async () => {
    const { page, server } = await visit('/health', { handClock: true })
    server.signOut(true)
    server.cut(true)
    await page.clock.runFor(8000)
    await page.getByText('gateway prints on its console').waitFor({ timeout: 5000 })
  })

  test('everything in the head, the counts and the list can be reached and seen by keyboard', async () => {
    const { page } = await visit('/')
    const seen: string[] = []
    for (let i = 0; i < 17; i++) {
      await page.keyboard.press('Tab')
      const at = await page.evaluate(() => {
        const e = document.activeElement as HTMLElement
        return { text: (e.textContent ?? '').trim().slice(0, 40), outline: Number.parseFloat(getComputedStyle(e).outlineWidth) }
      })
      seen.push(at.text)
      expect(at.outline, `focus on "${at.text}" can be seen`).toBeGreaterThanOrEqual(2)
    }
    expect(seen[0]).toBe('To the page')
    for (const word of ['Alarms', 'Trends', 'Intake', 'Health', 'Freeze list']) expect(seen).toContain(word)
    expect(seen.some((s) => s.includes('Kestrow'))).toBe(true)
  })

  test('the page says once, not every second, that the server is lost', async () => {
    const { page, server } = await visit('/', { handClock: true })
    await page.getByText('server heard').waitFor()
    server.mute(true)
    await page.clock.runFor(12_000)
    const said = page.getByRole('alert')
    await said.waitFor({ state: 'attached', timeout: 3000 })
    const first = await said.textContent()
    await page.clock.runFor(5_000)
    expect(await said.textContent()).toBe(first)
  })

  test('a filter shows one group and still every A that nobody has answered', async () => {
    const { page } = await visit('/', { fleet: 'sixty' })
    await page.locator('.counts button').nth(2).click()
    const rows = await page.locator('section[aria-label="Loops that need someone"] a').allTextContents()
    expect(rows[0]).toContain('Kestrow')
    expect(rows.some((r) => r.includes('Thrapplow'))).toBe(false)
    expect(rows.some((r) => r.includes('Nothing heard'))).toBe(true)
  })

  test('of 2,000 loops an area opens into its rings, and a loop is found by its name', async () => {
    const { page } = await visit('/', { fleet: 'thousands' })
    expect(await page.locator('section[aria-label="All loops"] a').count()).toBeLessThan(40)
    await page.getByRole('link', { name: /^Ferry lines/ }).click()
    expect(await page.locator('.cell').count()).toBeGreaterThan(90)
    await page.getByRole('link', { name: 'All areas' }).click()
    await page.getByRole('searchbox', { name: 'Find a loop' }).fill('kestrow berth')
    await page
      .getByRole('link', { name: /^Kestrow Ferry Terminal, berth 3: act now/ })
      .last()
      .click()
    await page.getByRole('heading', { level: 1, name: /Kestrow/ }).waitFor()
  })

  test('the cursor of a trend moves by arrow keys, stands in the gutter and on the axis, and lets go', async () => {
    const { page } = await visit('/trends/kestrow-berth-3?signals=tu.do,blower.pressure')
    await page.locator('.lane canvas').nth(1).waitFor()
    await page.getByText('of the time has readings').waitFor()
    const gutter = page.locator('.laneRow .rv')
    expect(await gutter.nth(1).textContent()).toBe('3')
    await page.locator('.stage').focus()
    await page.keyboard.press('Home')
    await page.keyboard.press('Shift+ArrowRight')
    // Eight hours in 600 spans: ten of them are 8 min after 19:16 of the evening before.
    await page.locator('.cursorLine span', { hasText: /^19:2\d$/ }).waitFor()
    expect(Number(await gutter.nth(1).textContent())).toBeGreaterThan(190)
    expect(await page.locator('.stage p[role="status"]').textContent()).toMatch(/^19:2\d: Oxygen, treatment unit \d\.\d.milligrams? per lit/)
    expect(await page.getByText('the ring at 19:2').count()).toBe(1)
    await page.keyboard.press('Escape')
    await page.locator('.cursorLine').waitFor({ state: 'hidden', timeout: 2000 })
  })

  test('an alarm that began before the span and still stands is told above the lanes', async () => {
    const { page } = await visit('/trends/kestrow-berth-3?signals=tu.do&span=3600000')
    // Raised three hours ago; the three newest are drawn, the fourth is counted.
    await page.getByText('and 1 more').waitFor({ timeout: 3000 })
    const poor = await visit('/trends/saltrigg-boat-park?span=1800000')
    await poor.page.getByRole('img', { name: /Nothing heard of this loop for 2 h, 02:09/ }).waitFor({ timeout: 3000 })
  })

  test('Earlier, Closer and a fixed address move the span; the way back to the present is one press', async () => {
    const { page } = await visit('/trends/kestrow-berth-3?signals=tu.do')
    await page.getByRole('button', { name: 'Earlier' }).click()
    expect(page.url()).toMatch(/from=\d+&to=\d+/)
    await page.locator('.tools').getByText('Mon 15:16 to Mon 23:16').waitFor()
    await page.getByRole('button', { name: '8 h' }).click()
    await page.locator('.tools').getByText('to now').waitFor()
  })

  test('whoever has it says that he is on site, and the site log holds it', async () => {
    const { page, server } = await visit(AIR, { size: PHONE })
    await page.getByRole('button', { name: 'Acknowledge, I have it' }).click()
    await page.getByRole('button', { name: 'I am on site' }).click()
    await page.getByText('In the site log: you are on site.').waitFor()
    expect(server.asked.filter((a) => a === 'POST /api/log')).toHaveLength(1)
    await page.getByRole('link', { name: 'Write what you found' }).click()
    await page.locator('.entries').getByText('Visit begins').waitFor()
  })

  test('a figure that is no number is told in words and nothing is sent or lost', async () => {
    const { page, server } = await visit('/log/kestrow-berth-3', { size: PHONE })
    await page.locator('select[name="kind"]').selectOption('kit')
    await page.getByRole('button', { name: 'alkalinity' }).click()
    await page.locator('input[name="value"]').fill('8o')
    await page.getByRole('button', { name: 'Write it down' }).click()
    await page.getByText('“8o” is no number').waitFor()
    expect(server.asked.filter((a) => a.startsWith('POST'))).toEqual([])
    expect(await page.locator('input[name="value"]').inputValue()).toBe('8o')
    await page.locator('input[name="value"]').fill('80,5')
    await page.getByRole('button', { name: 'Write it down' }).click()
    await page.locator('.entries').getByText('alkalinity, 80.5').waitFor()
  })

  test('refused messages stand with their reason in plain words, what to do, topic, size, and how often', async () => {
    const { page } = await visit('/intake')
    const row = page.getByRole('row', { name: /The text is not JSON/ })
    await row.waitFor()
    for (const text of ['Check the controller', 'loopkeeper/v1/kestrow-berth-3', '17', '12']) expect(await row.textContent()).toContain(text)
    await page.getByText(/runs? over/).waitFor()
    expect(await page.getByRole('row', { name: /will run over/ }).textContent()).toContain('142\u00a0% of 20\u00a0MB')
  })

  test('a signal in no site file is taken in only when somebody has said what it is, and the page names file and line', async () => {
    const { page, server } = await visit('/intake', { size: PHONE })
    await page.getByRole('button', { name: /Adopt registers/ }).click()
    await page.getByRole('button', { name: 'Write it into the site file' }).click()
    await page.getByText('Nobody has said what it measures').waitFor()
    expect(server.asked.filter((a) => a.startsWith('POST'))).toEqual([])
    await page.getByRole('button', { name: /Leave it|Adopt registers/ }).click()
    await page.getByRole('button', { name: /Adopt panel\.x7/ }).click()
    await page.getByText('The guess is').waitFor()
    server.refuseNext('not-adopted', 'panel.x7 is in kestrow-berth-3.yaml already.')
    await page.getByRole('button', { name: 'Yes, it is pH: write it down' }).click()
    await page.getByRole('alert').filter({ hasText: 'Not written: panel.x7 is in kestrow-berth-3.yaml already.' }).waitFor()
    await page.getByRole('button', { name: 'Yes, it is pH: write it down' }).click()
    await page.getByText('panel.x7 stands in kestrow-berth-3.yaml, line 41').waitFor()
    await page.getByRole('button', { name: /Adopt panel\.x7/ }).waitFor({ state: 'detached', timeout: 12_000 })
  })

  test('a vital tells its figure with the span of the truth, and on a press how it was computed; what cannot be told names what would unlock it', async () => {
    const { page } = await visit('/loops/kestrow-berth-3', { fleet: 'quiet' })
    const saturation = page.getByRole('region', { name: 'Vitals, Treatment unit' }).locator('details', { hasText: 'Oxygen saturation' })
    await saturation.getByText(/^\d+ to \d+.%$/).waitFor()
    expect(await saturation.getByText('How this was computed').isVisible()).toBe(false)
    await saturation.locator('summary').press('Enter')
    await saturation.getByText('How this was computed').waitFor()
    await saturation.getByText(/Benson & Krause/).waitFor()
    await page.getByText('How an air-off test is made here').click()
    await page.getByText('A local timer stops the air, not this page').waitFor()
    await saturation.getByRole('link', { name: 'Trend' }).click()
    await page.locator('.chooser, figure').first().waitFor()
    expect(new URL(page.url()).searchParams.get('signals') ?? page.url()).toContain('tu.do.saturation')
    const poor = await visit('/loops/brackfold-refuse-depot')
    // No oxygen probe, no test.
    expect(await poor.page.getByText('How an air-off test is made here').count()).toBe(0)
    const lacking = poor.page.getByRole('region', { name: 'Vitals that cannot be told here' })
    await lacking.getByText('Oxygen and temperature in the treatment unit').waitFor()
    await lacking
      .getByText(/Oxygen uptake, treatment unit/)
      .first()
      .waitFor()
  })

  test('what comes next is dated with its span and what it rests on; what cannot be told names what would unlock it', async () => {
    const { page } = await visit('/loops/kestrow-berth-3')
    const next = page.getByRole('region', { name: 'What comes next' })
    const acid = next.getByRole('row', { name: /Sulfuric acid 35 % used up/ })
    await acid.getByText(/^about \d+ \w{3,4}( \d{4})?$/).waitFor()
    await acid.getByText(/ to \d+ \w{3}/).waitFor()
    await acid.getByText(/L left, at 0\.\d+ L\/m³ and \d+\.\d m³ a day/).waitFor()
    await next.getByText('Unlock: Each change of the paper roll in the site log.').waitFor()
  })

  test('on a poor loop nothing is dated', async () => {
    const { page } = await visit('/loops/brackfold-refuse-depot')
    const next = page.getByRole('region', { name: 'What comes next' })
    await next.getByText('Nothing can be dated on this loop now.').waitFor()
    expect(await next.getByRole('table').count()).toBe(0)
    const lines = await next.getByRole('listitem').allTextContents()
    expect(lines.length).toBeGreaterThan(4)
    for (const line of lines) expect(line).toMatch(/Withheld: .+\. Unlock: .+\./)
  })

  test('beside a vital stands what is usual on this loop, or how many days are missing; its panel gives both numbers', async () => {
    const { page } = await visit('/loops/kestrow-berth-3')
    const vitals = page.getByRole('region', { name: 'Vitals', exact: true })
    await vitals.getByText('no band yet: 12 of 28 days').first().waitFor()
    await vitals.getByText('Learning what is usual is paused: an alarm stands.').waitFor()
    const one = vitals.locator('details', { hasText: /usually [\d ]+ to / }).first()
    await one.locator('summary').press('Enter')
    await one.getByText(/First weeks, up to \d+ \w{3,4} \d{4}: .*Frozen\./).waitFor()
    await page
      .locator('tr', { hasText: 'Oxygen, treatment unit' })
      .getByText(/^usually /)
      .or(page.locator('tr .noteLine', { hasText: /^usually / }))
      .first()
      .waitFor()
  })

  test('every press on a phone is at least 24 px, and the ones of the night call 60', async () => {
    for (const path of ['/', '/alarms', AIR, '/intake', '/log/kestrow-berth-3', '/trends/kestrow-berth-3', '/loops/kestrow-berth-3']) {
      const { page } = await visit(path, { size: PHONE })
      await page.waitForLoadState('networkidle')
      const small = await page.evaluate(() =>
        [...document.querySelectorAll('button, select, textarea, input:not([type="checkbox"]), summary, a.btn')]
          .map((e) => ({ text: (e.textContent ?? '').slice(0, 30), box: e.getBoundingClientRect() }))
          .filter(({ box }) => box.width > 0 && (box.height < 24 || box.width < 24))
          .map(({ text, box }) => `${text} ${Math.round(box.width)}x${Math.round(box.height)}`),
      )
      expect(small, path).toEqual([])
      if (path === AIR) {
        const foot = await page.locator('.foot .btn').evaluateAll((all) => all.map((e) => e.getBoundingClientRect().height))
        expect(Math.min(...foot)).toBeGreaterThanOrEqual(60)
      }
    }
  })

  /** Panels that say how a vital was computed are looked at as well. */
  const openAll = (page: Page): Promise<void> =>
    page.evaluate(() => {
      for (const d of document.querySelectorAll<HTMLDetailsElement>('details.vital')) d.open = true
    })

  const PAGES: readonly (readonly [string, string, FleetName])[] = [
    ['fleet', '/', 'sixty'],
    ['fleet of 2,000', '/', 'thousands'],
    ['fleet without loops', '/', 'none'],
    ['loop', '/loops/kestrow-berth-3', 'eight'],
    ['poor loop', '/loops/brackfold-refuse-depot', 'eight'],
    ['silent loop', '/loops/saltrigg-boat-park', 'eight'],
    ['alarms', '/alarms', 'sixty'],
    ['alarm history', '/alarms?tab=history', 'sixty'],
    ['alarm', AIR, 'eight'],
    ['trends', '/trends/kestrow-berth-3', 'eight'],
    ['site log', '/log/kestrow-berth-3', 'eight'],
    ['intake', '/intake', 'eight'],
    ['intake without loops', '/intake', 'none'],
    ['health', '/health', 'eight'],
    ['set-aside list', '/alarms?tab=set-aside', 'sixty'],
    ['changes', '/alarms?tab=changes', 'eight'],
    ['change of an alarm', `${AIR}/change`, 'eight'],
    ['due list', '/due', 'eight'],
    ['due list of a loop', '/due?site=kestrow-berth-3', 'eight'],
    ['alarm rules', '/rules/brackfold-refuse-depot', 'eight'],
  ]
  for (const [name, path, fleet] of PAGES) {
    for (const theme of ['light', 'dark'] as const) {
      test(`${name}, ${theme}: no finding of axe, no script fault, nobody else is asked`, async () => {
        const { page, wrong } = await visit(path, { fleet, theme })
        await page.waitForLoadState('networkidle')
        await openAll(page)
        const found = await new AxeBuilder({ page }).withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']).analyze()
        expect(found.passes.length, 'rules that looked at something').toBeGreaterThan(15)
        expect(found.violations.map((v) => `${v.id}: ${v.nodes[0]?.html.slice(0, 160)} (${v.nodes.length})`)).toEqual([])
        expect(wrong).toEqual([])
      })
    }
    test(`${name}: at 320 px nothing is wider than the screen`, async () => {
      const { page } = await visit(path, { fleet, size: { width: 320, height: 640 } })
      await page.waitForLoadState('networkidle')
      await openAll(page)
      const wide = await page.evaluate(() => {
        const inScroller = (e: Element): boolean => {
          for (let p = e.parentElement; p; p = p.parentElement) if (['auto', 'scroll', 'hidden', 'clip'].includes(getComputedStyle(p).overflowX)) return true
          return false
        }
        return [...document.querySelectorAll('body *')]
          .filter((e) => e.getBoundingClientRect().right > innerWidth + 1 && !inScroller(e) && !e.closest('svg, .vh, .skip'))
          .map((e) => `${e.tagName.toLowerCase()}.${e.className} ${(e.textContent ?? '').slice(0, 30)}`)
          .slice(0, 5)
      })
      expect(wide).toEqual([])
      expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(320)
    })
  }

  /** Bytes as gzip sends them of what a path makes the browser fetch below /assets, fonts aside. */
  const fetched = (asked: readonly string[]): number =>
    asked
      .map((a) => a.split(' ')[1] ?? '')
      .filter((p) => /^\/assets\/.*\.(js|css)$/.test(p))
      .reduce((sum, p) => sum + gzipSync(readFileSync(join(PAGE, p)), { level: 9 }).length, 0)

  test('the first page loads at most 110 kB of script and style as they are sent, and so does the page of an alarm', async () => {
    for (const path of ['/', AIR]) {
      const { page, server } = await visit(path)
      await page.waitForLoadState('networkidle')
      expect(fetched(server.asked), path).toBeGreaterThan(1000)
      expect(fetched(server.asked), path).toBeLessThanOrEqual(110_000)
    }
  })

  test('script and style of all parts together are at most 165 kB as they are sent', () => {
    const all = readdirSync(join(PAGE, 'assets')).map((f) => `GET /assets/${f}`)
    expect(fetched(all)).toBeGreaterThan(1000)
    expect(fetched(all)).toBeLessThanOrEqual(165_000)
  })

  test('a part that cannot be had is told in words and loaded on a press, while the rest of the page runs on', async () => {
    const { page, context } = await visit('/')
    await context.route(/\/assets\/health-/, (r) => r.abort())
    await page
      .getByRole('link', { name: /health/i })
      .first()
      .click()
    await page.getByRole('alert').filter({ hasText: 'The health page could not be loaded' }).waitFor()
    await context.unroute(/\/assets\/health-/)
    await page.getByRole('button', { name: 'Load it again' }).click()
    await page.locator('main h1', { hasText: 'Health' }).waitFor()
  })

  test('an old page that asks for a part an update has taken away loads itself anew, once', async () => {
    const { page, context } = await visit('/')
    let loads = 0
    page.on('framenavigated', () => loads++)
    await context.route(/\/assets\/health-/, (r) => r.fulfill({ status: 404, body: '' }))
    const html = readFileSync(join(PAGE, 'index.html'), 'utf8')
    // As after an update: the page the server gives now starts with another script (the same one here, under another name).
    const newer = html.replace(/(<script[^>]+src="[^"]+)"/, '$1?newer"')
    await context.route(
      (url) => url.pathname === '/' || url.pathname === '/health',
      (r) => r.fulfill({ status: 200, contentType: 'text/html', body: newer }),
    )
    await page.evaluate(() => ((window as unknown as { same: boolean }).same = true))
    await page
      .getByRole('link', { name: /health/i })
      .first()
      .click()
    await page.waitForFunction(() => !(window as unknown as { same?: boolean }).same)
    await page.getByRole('alert').filter({ hasText: 'could not be loaded' }).waitFor()
    // Its address changed, and it was loaded once more; never in a circle.
    expect(await page.evaluate(() => performance.getEntriesByType('navigation').length)).toBe(1)
    expect(loads).toBe(2)
  })
})
