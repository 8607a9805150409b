import { spawnSync } from 'node:child_process'
import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { loopDetailBody } from '../../server/wire.ts'
import { openBrowser, whyNot } from '../look/browser.ts'
import { signIn } from '../look/sign-in.ts'
import { makeFolder, startProduct, threeSignals, until, type Folder, type Product } from '../product.ts'

const CLIENT = '/usr/bin/mosquitto_pub'
const why = whyNot() ?? (existsSync(CLIENT) ? null : `no MQTT client at ${CLIENT}: apt-get install mosquitto-clients`)

/** One signal of the loop comes in a shape of its own, on a topic of its own. */
const FOREIGN = `${threeSignals}
dataPlanMb: 20
foreign:
  - topic: quay/unit7
    rows: ch
    time: { path: /ts }
    signals:
      tu.do: { path: val, when: { path: name, is: AI1 } }
`

describe.skipIf(why !== null)(`the intake page of the running product${why === null ? '' : ` (skipped: ${why})`}`, () => {
  let folder: Folder
  let product: Product
  let browser: Browser
  let desk: Page
  const file = (): string => readFileSync(join(folder.data, 'sites', 'yard-1.yaml'), 'utf8')
  /** As a controller sends it; gives the exit code of the client. */
  const publish = (topic: string, payload: string): number | null => {
    const body = join(folder.dir, 'payload')
    writeFileSync(body, payload)
    const port = String(product.mqttPort)
    const args = ['-h', '127.0.0.1', '-p', port, '-q', '1', '-u', 'yard-1', '-P', product.secrets.get('yard-1') ?? '', '-t', topic, '-f', body]
    return spawnSync(CLIENT, args, { timeout: 10_000 }).status
  }

  beforeAll(async () => {
    folder = makeFolder({ 'yard-1.yaml': FOREIGN })
    product = await startProduct(folder)
    browser = await openBrowser()
    desk = await (await browser.newContext({ viewport: { width: 1280, height: 900 } })).newPage()
    await signIn(desk, product.signIn, 'Ines C.')
  })
  afterAll(async () => {
    await browser?.close()
    await product?.kill()
    folder?.remove()
  })

  test('a refused message is listed within seconds, with its reason in words and nothing of what it held', async () => {
    await desk.goto(`${product.page}/intake`)
    await desk.getByText('Everything that arrived since the start was taken.').waitFor()
    expect(publish('loopkeeper/v1/yard-1/tu.do', 'password=hunter2')).toBe(0)
    await desk.getByRole('row', { name: /The value is not a finite number/ }).waitFor({ timeout: 10_000 })
    expect(await desk.content()).not.toContain('hunter2')
  })

  test('a packet of a megabyte is refused and listed with its topic and size', async () => {
    publish('loopkeeper/v1/yard-1', 'x'.repeat(1_048_576))
    const row = desk.getByRole('row', { name: /more bytes than one message may have/ })
    await row.waitFor({ timeout: 10_000 })
    expect(await row.textContent()).toContain('loopkeeper/v1/yard-1')
    expect(await row.textContent()).toMatch(/1.048.\d{3}/)
  })

  test('a signal in no site file is adopted from the page, stands in its file where the page says, and its readings are taken', async () => {
    for (const v of [7.1, 7.2, 7.15]) publish('loopkeeper/v1/yard-1/tu.ph', String(v))
    await desk.getByRole('button', { name: /Adopt tu\.ph/ }).click({ timeout: 10_000 })
    await desk.getByRole('button', { name: 'Yes, it is pH: write it down' }).click()
    const told = desk.getByText(/tu\.ph stands in yard-1\.yaml, line \d+/)
    await told.waitFor()
    const line = Number(/line (\d+)/.exec((await told.textContent()) ?? '')?.[1])
    expect(file().split('\n')[line - 1]).toBe('  tu.ph: { quantity: "ph" }')
    await desk.getByRole('button', { name: /Adopt tu\.ph/ }).waitFor({ state: 'detached', timeout: 15_000 })
    publish('loopkeeper/v1/yard-1/tu.ph', '7.3')
    const ph = async () => loopDetailBody.parse(await (await product.api('/api/loops/yard-1')).json()).signals.find((s) => s.id === 'tu.ph')?.value
    await until(
      async () => (await ph()) === 7.3,
      5000,
      () => 'tu.ph is not taken',
    )
    expect(await (await product.api('/api/log?site=yard-1')).text()).toContain(`yard-1.yaml, line ${line}`)
  })

  test('a figure of a foreign payload that no mapping names is listed, and adopting it writes signal and mapping', async () => {
    const send = (level: number): void =>
      void publish(
        'quay/unit7',
        JSON.stringify({
          ts: Date.now(),
          ch: [
            { name: 'AI1', val: 6 },
            { name: 'LVL', val: level },
          ],
          serial: 'A-77',
        }),
      )
    send(900)
    await desk.getByText('val where name is LVL').waitFor({ timeout: 10_000 })
    expect(await desk.content()).not.toContain('A-77')
    await desk.getByRole('button', { name: /Adopt val where name is LVL/ }).click()
    await desk.getByLabel('Kept under the id').fill('bio1.oxygen')
    await desk.getByLabel('It measures').selectOption('do')
    await desk.getByLabel('Sent in').selectOption('ug/L')
    await desk.getByRole('button', { name: 'Yes, it is oxygen: write it down' }).click()
    await desk.getByText(/bio1\.oxygen stands in yard-1\.yaml/).waitFor()
    expect(file()).toContain('      bio1.oxygen: { path: "val", when: {"path":"name","is":"LVL"}, unit: "ug/L" }')
    await desk.getByText('val where name is LVL').waitFor({ state: 'detached', timeout: 15_000 })
    send(950)
    const oxygen = async () => loopDetailBody.parse(await (await product.api('/api/loops/yard-1')).json()).signals.find((s) => s.id === 'bio1.oxygen')?.value
    await until(
      async () => (await oxygen()) === 0.95,
      5000,
      () => 'bio1.oxygen is not taken',
    )
  })

  test('what the site sent this month stands against its data plan', async () => {
    const row = desk.getByRole('row', { name: /Ellmarsh Bus Works/ })
    await row.getByText(/20.MB, too early to say/).waitFor()
  })
})
