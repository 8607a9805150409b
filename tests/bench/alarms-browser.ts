/**
 * From PUBLISH to the alarm standing in the page of a real browser (headless Chromium), without an on-delay, while other loops report: the whole
 * product as its user starts it, journal on disk included. `npm run bench alarms` runs it; the page must have been built (npx vite build).
 * Both ends are stamped by the clock of this machine, the end by an observer of changes inside the page. Baseline: a message of the same
 * length echoed through a plain socket of the loopback, under the same load.
 */
import { spawn } from 'node:child_process'
import { connect, createServer, type AddressInfo } from 'node:net'
import { performance } from 'node:perf_hooks'
import { fileURLToPath } from 'node:url'
import mqtt from 'mqtt'
import { openBrowser, whyNot } from '../look/browser.ts'
import { signIn } from '../look/sign-in.ts'
import { makeFolder, startProduct } from '../product.ts'
import { median, printFigures } from './figure.ts'

/** Loops that raise one alarm each, one after the other, and loops that only report. */
const MEASURED = 40
const BACKGROUND = 200
const SIGNALS = 6
const BETWEEN_MS = 400
const LATEST_MS = 20_000

const why = whyNot()
if (why !== null) {
  console.log(`alarms.toBrowserP95 is not measured: ${why}`)
  process.exit(1)
}

const pause = (ms: number): Promise<void> => new Promise((done) => setTimeout(done, ms))
const name = (i: number): string => `quay-${String(i).padStart(3, '0')}`
const mark = (id: string): string => `Level beyond its mark at ${id}`
const siteFile = (id: string): string => `id: ${id}
name: Ferry ${id}
zone: Europe/Lisbon
sampleEvery: 1s
reportEvery: 1s
train: [{ stage: sump }, { stage: treatment }, { stage: bio }, { stage: finished }]
signals:
  tu.do:
  tu.ph:
  tu.temperature:
  sump.level:
  finished.level:
  tu.orp:
alarms:
  sump.level.high: { onDelay: 0s, what: ${mark(id)}, why: measured without a delay }
`
const ids = Array.from({ length: MEASURED + BACKGROUND }, (_, i) => name(i))
const folder = makeFolder(Object.fromEntries(ids.map((id) => [`${id}.yaml`, siteFile(id)])))
const product = await startProduct(folder)
const secretOf = (id: string): string => {
  const secret = product.secrets.get(id)
  if (secret === undefined) throw new Error(`no password was printed for ${id}:\n${product.printed().slice(0, 2000)}`)
  return secret
}
const users = ids.slice(MEASURED).map((id) => [id, secretOf(id)])
const load = spawn(process.execPath, ['--import', 'tsx', fileURLToPath(new URL('alarms-browser-load.ts', import.meta.url)), String(product.mqttPort)], {
  stdio: ['pipe', 'pipe', 'inherit'],
})
load.stdin.end(JSON.stringify(users))
await new Promise((connected) => load.stdout.once('data', connected))

const echo = createServer((s) => s.pipe(s)).listen(0, '127.0.0.1')
await new Promise((listening) => echo.once('listening', listening))
const wire = connect((echo.address() as AddressInfo).port, '127.0.0.1')
wire.setNoDelay(true)

/** ms there and back. */
async function echoed(text: string): Promise<number> {
  const t0 = performance.now()
  let got = 0
  const back = new Promise<void>((done) => {
    const take = (d: Buffer): void => {
      got += d.length
      if (got < text.length) return
      wire.off('data', take)
      done()
    }
    wire.on('data', take)
  })
  wire.write(text)
  await back
  return performance.now() - t0
}

const browser = await openBrowser()
try {
  const page = await (await browser.newContext({ viewport: { width: 1440, height: 900 } })).newPage()
  await signIn(page, product.signIn, 'Ines C.')
  await page.getByRole('region', { name: 'Loops that need someone' }).waitFor()
  // Notes when each mark is first read in the list, on the clock of this machine.
  await page.evaluate(`
    window.firstSeen = {}
    const look = () => {
      const text = document.querySelector('section[aria-label="Loops that need someone"]')?.textContent ?? ''
      for (const [, id] of text.matchAll(/Level beyond its mark at (quay-\\d{3})/g)) window.firstSeen[id] ??= Date.now()
    }
    new MutationObserver(look).observe(document.body, { childList: true, subtree: true, characterData: true })
    look()
  `)
  const panels = await Promise.all(
    ids.slice(0, MEASURED).map((id) => mqtt.connectAsync(`mqtt://127.0.0.1:${product.mqttPort}`, { username: id, password: secretOf(id), clientId: `panel-${id}` })),
  )
  const ways: number[] = []
  const echoes: number[] = []
  for (const [i, panel] of panels.entries()) {
    const id = name(i)
    panel.publish(`loopkeeper/v1/${id}`, JSON.stringify({ t: Date.now(), signals: { 'sump.level': 40 } }), { qos: 1 })
    await pause(BETWEEN_MS)
    const text = JSON.stringify({ t: Date.now(), signals: { 'sump.level': 95 } })
    echoes.push(await echoed(text))
    const sentMs = Date.now()
    panel.publish(`loopkeeper/v1/${id}`, text, { qos: 1 })
    let seenMs = 0
    while (seenMs === 0) {
      if (Date.now() - sentMs > LATEST_MS) throw new Error(`the alarm of ${id} does not stand in the page after ${LATEST_MS / 1000} s\n${product.printed().slice(-2000)}`)
      await pause(20)
      seenMs = Number(await page.evaluate(`window.firstSeen[${JSON.stringify(id)}] ?? 0`))
    }
    ways.push(seenMs - sentMs)
  }
  const p95 = (all: readonly number[]): number => all.toSorted((a, b) => a - b)[Math.ceil(0.95 * all.length) - 1] ?? Number.NaN
  console.log(
    `${BACKGROUND} loops report ${BACKGROUND * SIGNALS} readings/s meanwhile; PUBLISH to page: median ${Math.round(median(ways))} ms, 95th of 100 ${Math.round(p95(ways))} ms, slowest ${Math.round(Math.max(...ways))} ms`,
  )
  printFigures([
    {
      bench: 'alarms.toBrowserP95',
      value: p95(ways),
      unit: 'ms',
      baseline: p95(echoes),
      target: 500,
      better: 'less',
      n: `${ways.length} alarms, ${BACKGROUND * SIGNALS} readings/s beside`,
    },
  ])
  await Promise.all(panels.map((p) => p.endAsync(true)))
} finally {
  load.kill('SIGKILL')
  await browser.close()
  await product.kill()
  wire.destroy()
  echo.close()
  folder.remove()
}
