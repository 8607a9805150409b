/** Sites that report in four ways, side by side, each a process of its own: right ages, and nobody silent or late who is not. */
import { spawn, type ChildProcess } from 'node:child_process'
import { fileURLToPath } from 'node:url'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { healthBody, journalBody, loopDetailBody, loopsBody, type LoopDetailBody } from '../../server/wire.ts'
import { openBrowser, whyNot } from '../look/browser.ts'
import { signIn } from '../look/sign-in.ts'
import { makeFolder, startProduct, until, type Folder, type Product } from '../product.ts'

const KINDS = ['native', 'foreign', 'blocks', 'change'] as const
type Kind = (typeof KINDS)[number]
const REPORT_S: Readonly<Record<Kind, number>> = { native: 2, foreign: 2, blocks: 6, change: 6 }
const FOREIGN = `foreign:
  - topic: quay/unit7/telemetry
    rows: ch
    time: { path: /hdr.ts, in: s }
    signals:
      tu.do: { path: v, when: { path: n, is: AI1 } }
      sump.level: { path: v, when: { path: n, is: AI2 }, scale: 0.1 }
`
const siteFile = (kind: Kind): string => `id: yard-${kind}
name: Ellmarsh yard, ${kind}
zone: ${kind === 'blocks' ? 'Europe/Helsinki' : 'Europe/Lisbon'}
sampleEvery: ${kind === 'blocks' ? 1 : REPORT_S[kind]}s
reportEvery: ${REPORT_S[kind]}s
train: [{ stage: sump }, { stage: treatment }, { stage: bio }, { stage: finished }]
signals:
  tu.do:
  sump.level:
${kind === 'foreign' ? FOREIGN : ''}${kind === 'blocks' ? 'clock: { zone: local }\n' : ''}`

/** The longest report needs 3 x 6 + 10 s to be silent: watched for longer than that. */
const WATCH_S = 32
const why = whyNot()

describe.skipIf(why !== null)(`four kinds of site side by side${why === null ? '' : ` (skipped: ${why})`}`, () => {
  let folder: Folder
  let product: Product
  let browser: Browser
  let desk: Page
  const controllers = new Map<Kind, ChildProcess>()
  const json = async (path: string): Promise<unknown> => (await product.api(path)).json()
  const loops = async () => loopsBody.parse(await json('/api/loops')).loops
  const detail = async (kind: Kind): Promise<LoopDetailBody> => loopDetailBody.parse(await json(`/api/loops/yard-${kind}`))
  const counter = async (name: string): Promise<number> => healthBody.parse(await json('/api/health')).counters.find((c) => c.name === name)?.value ?? Number.NaN

  beforeAll(async () => {
    folder = makeFolder(Object.fromEntries(KINDS.map((k) => [`yard-${k}.yaml`, siteFile(k)])))
    product = await startProduct(folder)
    const program = fileURLToPath(new URL('controller.ts', import.meta.url))
    for (const kind of KINDS) {
      const args = ['--import', 'tsx', program, kind, String(product.mqttPort), `yard-${kind}`, product.secrets.get(`yard-${kind}`) ?? '']
      controllers.set(kind, spawn(process.execPath, args, { stdio: 'inherit' }))
    }
    browser = await openBrowser()
    desk = await (await browser.newContext({ viewport: { width: 1280, height: 900 }, timezoneId: 'America/New_York' })).newPage()
    await signIn(desk, product.signIn, 'Ines C.')
    await until(
      async () => (await loops()).every((l) => !l.silent),
      30_000,
      () => `not every site is heard\n${product.printed()}`,
    )
    await until(
      async () => (await Promise.all(KINDS.map(detail))).every((d) => d.signals.every((s) => s.value !== null)),
      20_000,
      () => 'not every signal has a value',
    )
  })
  afterAll(async () => {
    for (const c of controllers.values()) c.kill('SIGKILL')
    await browser?.close()
    await product?.kill()
    folder?.remove()
  })

  test('while all report as they say, nobody is silent, no reading is late, doubtful or wrongly clocked, and every age is that of the last report', async () => {
    const pages = new Map<Kind, Page>()
    for (const kind of KINDS) {
      const page = await desk.context().newPage()
      await page.goto(`${product.page}/loops/yard-${kind}`)
      await page.getByRole('row', { name: /Oxygen, treatment/ }).waitFor()
      pages.set(kind, page)
    }
    const wrong: string[] = []
    const oldest = new Map<Kind, number>()
    const end = performance.now() + WATCH_S * 1000
    while (performance.now() < end) {
      for (const l of await loops()) if (l.silent) wrong.push(`${l.id} is silent`)
      for (const kind of KINDS) {
        const nowMs = Date.now()
        for (const s of (await detail(kind)).signals) {
          const age = nowMs - (s.sourceMs ?? 0)
          oldest.set(kind, Math.max(oldest.get(kind) ?? 0, age))
          if (age < -1000) wrong.push(`${kind} ${s.id}: ${-age} ms ahead`)
          if (s.quality !== 'good' || s.sub !== 'ok') wrong.push(`${kind} ${s.id}: ${s.quality} ${s.sub}`)
          if (s.id === 'sump.level' && s.value !== 40) wrong.push(`${kind} ${s.id}: ${s.value}`)
        }
        const text = (await pages.get(kind)?.locator('main').textContent()) ?? ''
        const said = /Silent|silent for|nothing for|\d+.(?:s|min|h) old|clock of the sender|doubtful/.exec(text)
        if (said) wrong.push(`page of ${kind} says "${said[0]}"`)
      }
      await new Promise((resolve) => setTimeout(resolve, 1000))
    }
    expect(wrong).toEqual([])
    // No older than its report, the step of its clock and what a busy machine takes.
    for (const kind of KINDS) expect(oldest.get(kind), kind).toBeLessThan((REPORT_S[kind] + 1) * 1000 + 4000)
    // Every reading was news: none was taken for an old one, whole blocks of rows included.
    expect(await counter('readingsLate')).toBe(0)
    expect(await counter('readingsClockSuspect')).toBe(0)
    expect(await counter('readingsRejected')).toBe(0)
    const { events } = journalBody.parse(await json(`/api/journal?from=0&to=${Date.now() + 60_000}&limit=100`))
    expect(events.filter((e) => e.alarm.endsWith('/site.silent'))).toEqual([])
    for (const page of pages.values()) await page.close()
  })

  test('the one that dies is silent after three of its reports and 10 s, and no other is', async () => {
    controllers.get('blocks')?.kill('SIGKILL')
    await desk.goto(`${product.page}/loops/yard-blocks`)
    await desk
      .getByText('Silent', { exact: true })
      .first()
      .waitFor({ timeout: (3 * REPORT_S.blocks + 10 + 20) * 1000 })
    expect((await loops()).filter((l) => l.silent).map((l) => l.id)).toEqual(['yard-blocks'])
  })
})
