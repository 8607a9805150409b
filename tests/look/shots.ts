/**
 * Pictures of every page, desktop and phone, light and dark, over invented loops. `npm run shots FOLDER [WORD]`; with a word
 * only pages whose name holds it. The folder is made; nothing of it belongs into the repository.
 */
import { mkdirSync } from 'node:fs'
import { join } from 'node:path'
import type { Page } from 'playwright-core'
import { openBrowser, PAGE, whyNot } from './browser.ts'
import { startFakeServer, type FakeServer } from './fake-server.ts'
import type { FleetName } from './yards.ts'

interface Shot {
  readonly name: string
  readonly path: string
  readonly fleet: FleetName
  /** What is done before the picture. */
  readonly before?: (page: Page, server: FakeServer) => Promise<void>
  readonly only?: 'desktop' | 'phone'
}

const ALARM = `/alarms/${encodeURIComponent('kestrow-berth-3/blower.no-air')}`
const SHOTS: readonly Shot[] = [
  { name: 'fleet-8', path: '/', fleet: 'eight' },
  { name: 'fleet-60', path: '/', fleet: 'sixty' },
  { name: 'fleet-240', path: '/', fleet: 'hundreds' },
  { name: 'fleet-2000', path: '/', fleet: 'thousands' },
  { name: 'fleet-quiet', path: '/', fleet: 'quiet' },
  { name: 'fleet-none', path: '/', fleet: 'none' },
  { name: 'fleet-filter', path: '/', fleet: 'sixty', only: 'desktop', before: (p) => p.locator('.counts button').nth(1).click() },
  { name: 'fleet-lost', path: '/', fleet: 'sixty', before: lose },
  { name: 'loop', path: '/loops/kestrow-berth-3', fleet: 'eight' },
  { name: 'loop-quiet', path: '/loops/kestrow-berth-3', fleet: 'quiet' },
  {
    name: 'loop-vital',
    path: '/loops/kestrow-berth-3',
    fleet: 'quiet',
    before: async (p) => {
      await p.locator('.vital summary').first().click()
      await p.locator('#vitals').scrollIntoViewIfNeeded()
    },
  },
  { name: 'loop-poor', path: '/loops/brackfold-refuse-depot', fleet: 'eight' },
  { name: 'loop-silent', path: '/loops/saltrigg-boat-park', fleet: 'eight' },
  { name: 'loop-five', path: '/loops/ullenwick-bus-north', fleet: 'eight' },
  { name: 'loop-held', path: '/loops/thrapplow-quarry-upper', fleet: 'eight' },
  { name: 'loop-lost', path: '/loops/kestrow-berth-3', fleet: 'eight', before: lose },
  { name: 'alarms', path: '/alarms', fleet: 'sixty' },
  { name: 'alarms-history', path: '/alarms?tab=history', fleet: 'sixty' },
  { name: 'alarms-aside', path: '/alarms?tab=set-aside', fleet: 'sixty' },
  {
    name: 'alarm-shelve',
    path: ALARM,
    fleet: 'eight',
    before: async (p) => {
      await p.getByRole('button', { name: 'Let it rest' }).click()
      await p.getByRole('button', { name: 'Take out of service' }).click()
      await p.getByLabel('Why may it rest').scrollIntoViewIfNeeded()
    },
  },
  { name: 'alarm-shelved', path: `/alarms/${encodeURIComponent('ullenwick-bus-north/panel.auto.off')}`, fleet: 'eight' },
  { name: 'alarm', path: ALARM, fleet: 'eight' },
  {
    name: 'alarm-answered',
    path: ALARM,
    fleet: 'eight',
    before: async (p) => {
      await p.getByRole('button', { name: 'Acknowledge, I have it' }).click()
      await p.getByText('Ines C. has it').first().waitFor()
    },
  },
  {
    name: 'alarm-refused',
    path: ALARM,
    fleet: 'eight',
    before: async (p, s) => {
      s.refuseNext('stale-version', 'Tomas W. answered it at 03:15, before you: look at it again.')
      await p.getByRole('button', { name: 'Acknowledge, I have it' }).click()
      await p.getByText('answered it at').waitFor()
    },
  },
  { name: 'trends', path: '/trends/kestrow-berth-3', fleet: 'eight' },
  { name: 'trends-pair', path: '/trends/kestrow-berth-3?signals=tu.do,bio1.do,blower.pressure,tu.ph,finished.level,blower.run,transfer.run', fleet: 'eight' },
  {
    name: 'trends-cursor',
    path: '/trends/kestrow-berth-3?signals=tu.do,bio1.do,blower.pressure,tu.ph,finished.level,blower.run,transfer.run',
    fleet: 'eight',
    only: 'desktop',
    before: async (p) => {
      const box = await p.locator('.lane').nth(1).boundingBox()
      if (box) await p.mouse.move(box.x + box.width * 0.8, box.y + 40)
    },
  },
  { name: 'trends-none', path: '/trends/kestrow-berth-3?signals=tu.do&from=1000000000000&to=1000028800000', fleet: 'eight' },
  { name: 'trends-week', path: '/trends/kestrow-berth-3?signals=tu.do,tu.ph,hp.run&span=604800000', fleet: 'eight' },
  {
    name: 'trends-course',
    path: '/trends/kestrow-berth-3?signals=tu.conductivity,finished.turbidity,tu.do,bio1.do,tu.ph,blower.pressure&span=604800000',
    fleet: 'eight',
    before: async (p) => {
      await p.getByRole('button', { name: 'Drift and steps' }).click()
      await p.locator('.told').first().waitFor()
    },
  },
  {
    name: 'trends-beside',
    path: '/trends/kestrow-berth-3?signals=tu.do,bio1.do,tu.ph,ullenwick-bus-north/tu.do,finished.level,hp.run&span=86400000&with=1d&show=figures',
    fleet: 'eight',
  },
  {
    name: 'trends-choose',
    path: '/trends/kestrow-berth-3?signals=tu.do&with=loop:ullenwick-bus-north&show=figures',
    fleet: 'eight',
    before: (p) => p.locator('.chooser summary', { hasText: 'Signals' }).click(),
  },
  { name: 'trends-compare', path: '/trends/kestrow-berth-3?signals=tu.do,tu.ph&with=7d&zone=mine', fleet: 'eight', before: (p) => p.locator('.compare summary').click() },
  { name: 'trends-pick', path: '/trends', fleet: 'sixty' },
  { name: 'log', path: '/log/kestrow-berth-3', fleet: 'eight' },
  { name: 'intake', path: '/intake', fleet: 'eight' },
  {
    name: 'intake-adopt',
    path: '/intake',
    fleet: 'eight',
    before: (p) =>
      p
        .getByRole('button', { name: /Adopt registers/ })
        .click()
        .then(() => undefined),
  },
  { name: 'health', path: '/health', fleet: 'eight' },
  { name: 'unknown', path: '/loops/nowhere', fleet: 'eight' },
  {
    name: 'signed-out',
    path: '/health',
    fleet: 'eight',
    before: async (p, s) => {
      s.signOut(true)
      s.cut(true)
      await p.getByText('Nobody is signed in here').waitFor({ timeout: 20_000 })
    },
  },
]

/** The page loses its server; its own clock is moved on instead of waiting. */
async function lose(page: Page, server: FakeServer): Promise<void> {
  server.mute(true)
  await page.clock.runFor(24_000)
  await page.getByText('No word from the server for').waitFor()
}

const SIZES = { desktop: { width: 1440, height: 900 }, phone: { width: 390, height: 844 } } as const

async function main(): Promise<void> {
  const [folder, word = ''] = process.argv.slice(2)
  const why = folder === undefined ? 'say into which folder: npm run shots FOLDER [WORD]' : whyNot()
  if (folder === undefined || why !== null) {
    console.error(why)
    process.exitCode = 1
    return
  }
  mkdirSync(folder, { recursive: true })
  const browser = await openBrowser()
  for (const shot of SHOTS.filter((s) => s.name.includes(word))) {
    for (const size of ['desktop', 'phone'] as const) {
      if (shot.only && shot.only !== size) continue
      for (const theme of ['light', 'dark'] as const) {
        const server = await startFakeServer({ fleet: shot.fleet, page: PAGE })
        const context = await browser.newContext({
          viewport: SIZES[size],
          colorScheme: theme,
          deviceScaleFactor: size === 'phone' ? 2 : 1,
          timezoneId: 'Europe/London',
          isMobile: size === 'phone',
          hasTouch: size === 'phone',
        })
        const page = await context.newPage()
        page.on('pageerror', (e) => console.error(`${shot.name} ${size} ${theme}: ${e.message}`))
        page.on('console', (m) => m.type() === 'error' && !/401|404|409/.test(m.text()) && console.error(`${shot.name} ${size} ${theme}: ${m.text()}`))
        if (shot.before === lose) await page.clock.install({ time: server.nowMs() })
        await page.goto(server.url + shot.path)
        await page.locator('main h1').first().waitFor({ state: 'attached' })
        if (shot.before === lose) await page.clock.runFor(2_000)
        await page.waitForLoadState('networkidle')
        await page.evaluate(() => document.fonts.ready)
        await shot.before?.(page, server)
        await page.screenshot({ path: join(folder, `${shot.name}-${size}-${theme}.png`), fullPage: !(size === 'phone' && shot.path === ALARM) })
        await context.close()
        await server.stop()
      }
    }
    console.log(shot.name)
  }
  await browser.close()
}

await main()
