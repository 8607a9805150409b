/** A limit is changed in the page of the whole product, is in force, and is taken back; two people are at one alarm. */
import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import mqtt from 'mqtt'
import type { Browser, Page } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { alarmBody, changesBody, loopDetailBody } from '../../server/wire.ts'
import { openBrowser, whyNot } from '../look/browser.ts'
import { signIn } from '../look/sign-in.ts'
import { makeFolder, startProduct, threeSignals, until, type Folder, type Product } from '../product.ts'

const why = whyNot()
const SUMP = encodeURIComponent('yard-1/sump.level.high')

describe.skipIf(why !== null)(`changing an alarm in the page${why === null ? '' : ` (skipped: ${why})`}`, () => {
  let folder: Folder
  let product: Product
  let browser: Browser
  let desk: Page
  let other: Page
  let controller: mqtt.MqttClient
  let sending: NodeJS.Timeout
  let level = 60
  const alarm = async () => alarmBody.parse(await (await product.api(`/api/alarms/${SUMP}`)).json())

  beforeAll(async () => {
    folder = makeFolder({ 'yard-1.yaml': threeSignals })
    product = await startProduct(folder)
    controller = await mqtt.connectAsync(`mqtt://127.0.0.1:${product.mqttPort}`, { username: 'yard-1', password: product.secrets.get('yard-1') ?? '' })
    const send = () => void controller.publishAsync('loopkeeper/v1/yard-1', JSON.stringify({ t: Date.now(), signals: { 'sump.level': level } }), { qos: 1 }).catch(() => undefined)
    send()
    sending = setInterval(send, 500)
    browser = await openBrowser()
    desk = await (await browser.newContext({ viewport: { width: 1280, height: 900 } })).newPage()
    await signIn(desk, product.signIn, 'Ines C.')
    // One link lets one person in; the other browser is the same session under the same name, and sees what the first one does.
    other = await (await browser.newContext({ viewport: { width: 390, height: 844 }, storageState: await desk.context().storageState() })).newPage()
  })
  afterAll(async () => {
    clearInterval(sending)
    await controller?.endAsync(true)
    await browser?.close()
    await product?.kill()
    folder?.remove()
  })

  test('a limit is looked at before it is saved, is in force at once, raises the alarm, and is listed with who, why, old and new', async () => {
    await desk.goto(`${product.page}/alarms/${SUMP}/change`)
    await other.goto(`${product.page}/alarms/${SUMP}/change`)
    await other.getByLabel('Limit, %').waitFor()
    await desk.getByLabel('Limit, %').fill('140')
    await desk.getByRole('button', { name: 'Show what it does' }).click()
    await desk.getByText(/Not possible: limit 140 found: sump\.level reports 0 to 110 %, so it would never be passed; give one inside\.$/).waitFor()
    await desk.getByLabel('Limit, %').fill('50')
    await desk.getByRole('button', { name: 'Show what it does' }).click()
    const preview = desk.getByRole('row', { name: /^Limit/ })
    await preview.waitFor()
    expect(await preview.textContent()).toMatch(/Limit80.%50.%/)
    expect(await desk.getByText(/The site file changes this alarm too/).count()).toBe(1)
    expect((await alarm()).limit, 'nothing is saved by looking').toBe(80)
    await desk.getByLabel('Why').fill('the sump overflowed at 55 %')
    await desk.getByRole('button', { name: 'Save this change' }).click()
    await until(
      async () => (await alarm()).limit === 50,
      5000,
      () => 'the limit is not in force',
    )
    await until(
      async () => (await alarm()).state === 'unacknowledged',
      10_000,
      () => 'not raised by the new limit',
    )
    await desk.goto(`${product.page}/alarms?tab=changes`)
    const row = desk.getByRole('row', { name: /overflowed/ })
    await row.waitFor()
    expect(await row.textContent()).toMatch(/Ines C\..*the sump overflowed at 55 %/)
    expect(await row.textContent()).toMatch(/Limit: 80.% → 50.%/)
  })

  test('the other browser is told that the alarm was changed under its hands, and cannot save past it', async () => {
    await other.getByText('This alarm has been changed while you were looking.').waitFor({ timeout: 10_000 })
    await other.getByLabel('Limit, %').fill('70')
    await other.getByRole('button', { name: 'Show what it does' }).click()
    await other.getByLabel('Why').fill('too many calls')
    await other.getByRole('button', { name: 'Save this change' }).click()
    await other.getByText(/Not saved: The alarm is not what it was when you looked \(newest change: 1 by Ines C\./).waitFor()
    expect((await alarm()).limit).toBe(50)
    await other.getByRole('button', { name: 'Show what is in force' }).click()
    await until(
      async () => (await other.getByLabel('Limit, %').inputValue()) === '50',
      5000,
      () => 'the form does not show what is in force',
    )
  })

  test('a change is taken back with a reason, by a change of its own; the alarm clears by its value and says what it was raised under', async () => {
    await desk.getByRole('button', { name: 'Take back change 1' }).click()
    await desk.getByLabel('Why').fill('the float was stuck')
    await desk.getByRole('button', { name: 'Take it back' }).click()
    await desk.getByText('taken back by 2').waitFor()
    await desk.goto(`${product.page}/alarms/${SUMP}`)
    await desk.getByText(/Raised under another rule than the one in force now: limit 50.%, now 80.%/).waitFor()
    await until(
      async () => (await alarm()).state === 'returned',
      10_000,
      () => 'not cleared by the old limit',
    )
    const all = changesBody.parse(await (await product.api('/api/changes')).json()).changes
    expect(all.map((c) => [c.id, c.undoes])).toEqual([
      [2, 1],
      [1, null],
    ])
  })

  test('the journal of one alarm is a click from its page, is filtered by kind and words, and is saved as a file', async () => {
    await desk.getByRole('link', { name: 'Its journal' }).click()
    await desk.getByRole('cell', { name: 'raised', exact: true }).waitFor()
    await desk.getByLabel('Happened').selectOption('cleared')
    await until(
      async () => (await desk.getByRole('cell', { name: 'raised', exact: true }).count()) === 0 && (await desk.getByRole('cell', { name: 'back to normal' }).count()) === 1,
      5000,
      () => 'the filter does nothing',
    )
    expect(new URL(desk.url()).searchParams.get('kind')).toBe('cleared')
    const csv = await (await product.api(`/api/journal.csv?alarm=${SUMP}`)).text()
    const lines = csv.trimEnd().split('\r\n')
    expect(lines[0]).toMatch(/^number,time,recorded,loop/)
    expect(lines.slice(1).map((l) => /,(raised|cleared),/.exec(l)?.[1])).toEqual(['cleared', 'raised'])
    await desk.getByLabel('Words').fill('no such words')
    await desk.getByLabel('Words').press('Enter')
    await desk.getByText('that this asks for').waitFor()
  })

  test('a site file changed on disk changes its alarms within seconds, and a signal added to it is watched without a restart', async () => {
    writeFileSync(join(folder.data, 'sites', 'yard-1.yaml'), threeSignals.replace('limit: 80', 'limit: 55').replace('  finished.level:\n', '  finished.level:\n  tu.ph:\n'))
    await until(
      async () => (await alarm()).limit === 55,
      15_000,
      () => 'the site file is not followed',
    )
    const { signals } = loopDetailBody.parse(await (await product.api('/api/loops/yard-1')).json())
    expect(signals.find((s) => s.id === 'tu.ph')?.limits.length).toBeGreaterThan(0)
    level = 40
  })
})
