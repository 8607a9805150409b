/**
 * `npm run pictures [DIR]`: the pages of the running product over one prepared day of the demo fleet, desktop and phone, light
 * and dark. Without DIR they go where README shows them from, tests/look/pictures. For pages in every odd state see shots.ts.
 */
import { mkdirSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { ensurePage } from '../../server/prepare.mjs'
import { openBrowser } from './browser.ts'
import { openScene } from './scene.ts'
import { signIn } from './sign-in.ts'

const root = fileURLToPath(new URL('../..', import.meta.url))
const dir = process.argv[2] ?? join(root, 'tests', 'look', 'pictures')
mkdirSync(dir, { recursive: true })
await ensurePage((line) => console.log(line))

const scene = await openScene(join(root, 'web', 'dist'))
const browser = await openBrowser()
try {
  const context = await browser.newContext({ timezoneId: 'Europe/London', locale: 'en-GB' })
  const page = await context.newPage()
  page.on('console', (m) => m.type() === 'error' && console.error(`page: ${m.text()}`))
  page.on('pageerror', (e) => console.error(`page: ${e.message}`))
  await signIn(page, scene.page + scene.signIn(), 'Ines C.')
  const worst = scene.core.port.standing().find((a) => a.def.priority === 'high') ?? scene.core.port.standing()[0]
  const pages: readonly (readonly [name: string, path: string])[] = [
    ['fleet', '/'],
    ['loop', '/loops/kestrow-berth-3'],
    ['alarms', '/alarms'],
    ['alarm', `/alarms/${encodeURIComponent(worst?.def.id ?? '')}`],
    ['trend', '/trends/kestrow-berth-3?signals=tu.do,bio1.do,blower.pressure,tu.ph,finished.level,blower.run,transfer.run,hp.run'],
  ]
  for (const [name, path] of pages) {
    for (const [size, width, height] of [
      ['desktop', 1440, 1000],
      ['phone', 390, 844],
    ] as const) {
      for (const scheme of ['light', 'dark'] as const) {
        await page.emulateMedia({ colorScheme: scheme })
        await page.setViewportSize({ width, height })
        await page.goto(scene.page + path)
        await page.getByText(/server heard/).waitFor()
        // Charts and lists come with their own requests: wait for a quiet network, then for one frame.
        await page.waitForLoadState('networkidle')
        await page.evaluate(() => new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r))))
        await page.screenshot({ path: join(dir, `${name}-${size}-${scheme}.png`), fullPage: name === 'trend' || name === 'fleet' })
      }
    }
    console.log(`${name}: 4 pictures`)
  }
} finally {
  await browser.close()
  await scene.stop()
}
