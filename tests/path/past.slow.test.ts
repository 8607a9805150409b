/** The simulated fleet's past, as `npm start` loads it: behind the live readings, once, and without a false word. */
import { afterEach, expect, test } from 'vitest'
import { healthBody, historyBody, journalBody, logBody, loopsBody } from '../../server/wire.ts'
import { makeFolder, startProduct, until, type Folder, type Product } from '../product.ts'

const DAY = 86_400_000
const DAYS = 15
const open: { products: Product[]; folders: Folder[] } = { products: [], folders: [] }
afterEach(async () => {
  for (const p of open.products.splice(0)) await p.kill()
  for (const f of open.folders.splice(0)) f.remove()
})

const start = async (f: Folder): Promise<Product> => {
  const p = await startProduct(f, ['--fleet', 'demo', '--fill-days', String(DAYS)])
  open.products.push(p)
  return p
}
const json = async (p: Product, path: string): Promise<unknown> => (await p.api(path)).json()
const health = async (p: Product) => healthBody.parse(await json(p, '/api/health'))
const counter = async (p: Product, name: string) => (await health(p)).counters.find((c) => c.name === name)?.value
const pct = async (p: Product) => (await health(p)).fill?.pct ?? -1
const rowsOf = async (p: Product, key: string, fromMs: number, toMs: number): Promise<number> => {
  const h = historyBody.parse(await json(p, `/api/history/${key}?from=${fromMs}&to=${toMs}&points=1`))
  return (h.count[0] ?? 0) + (h.bad[0] ?? 0)
}

test('the past loads behind live values, goes on after kill -9 without doubles, raises nothing, and loads once', async () => {
  const f = makeFolder({})
  open.folders.push(f)
  const beganMs = Date.now()
  const first = await start(f)
  await until(
    () => first.printed().includes('loaded in the background'),
    30_000,
    () => first.printed(),
  )

  // Live while the past is on its way.
  await until(
    async () => (await pct(first)) >= 30,
    900_000,
    () => `no past\n${first.printed()}`,
  )
  expect((await health(first)).fill).toMatchObject({ done: false })
  const { loops, nowMs } = loopsBody.parse(await json(first, '/api/loops'))
  expect(loops.filter((l) => l.silent || nowMs - (l.heardMs ?? 0) > 180_000).map((l) => l.id)).toEqual([])
  const level = loops.find((l) => l.id === 'ullenwick-bus-north')
  expect(level?.waterPct).not.toBeNull()
  await first.kill()

  const second = await start(f)
  await until(
    async () => (await health(second)).fill?.done === true,
    900_000,
    () => `the past did not come to its end\n${second.printed()}`,
  )
  expect(second.printed()).toMatch(/the past is loaded to \d+ %, the rest follows/)
  const told = (await health(second)).fill
  const [fromMs, toMs] = [told?.fromMs ?? 0, told?.toMs ?? 0]
  expect(toMs - fromMs).toBe(DAYS * DAY)
  expect(toMs).toBeGreaterThan(beganMs - 60_000)
  // Every row of the older past once: one in five minutes. Nothing came twice with another figure, nothing was doubted for its age.
  for (const key of ['kestrow-berth-3/tu.do', 'bramscar-slate-yard/tu.temperature', 'vantlemoor-tram-works/hp.volume'])
    expect(Math.abs((await rowsOf(second, key, fromMs, toMs - DAY)) - (DAYS - 1) * 288), key).toBeLessThanOrEqual(1)
  expect(await counter(second, 'readingsConflict')).toBe(0)
  expect(await counter(second, 'readingsClockSuspect')).toBe(0)
  expect((await health(second)).troubles.filter((t) => /clock|plan/i.test(t))).toEqual([])

  // No alarm of the past: whatever was raised is of now.
  const { events } = journalBody.parse(await json(second, `/api/journal?from=0&to=${Date.now() + DAY}&limit=1000`))
  expect(events.filter((e) => e.atMs < beganMs - 10 * 60_000)).toEqual([])
  // What people did then stands in the log, once each.
  const log = logBody.parse(await json(second, `/api/log?from=${fromMs}&to=${toMs}`)).entries.filter((e) => e.by === 'demo fleet')
  const kinds = log.map((e) => e.kind).sort()
  expect(kinds.filter((k) => k !== 'refill')).toEqual(['calibration', 'visit-in', 'visit-in', 'visit-out', 'visit-out'])
  // The culture poured in after the crash, and the drums filled on the visits.
  expect(kinds.filter((k) => k === 'refill').length).toBeGreaterThan(1)
  expect(new Set(log.map((e) => [e.site, e.kind, e.atMs, e.about, e.item].join(' '))).size).toBe(log.length)
  const stored = await rowsOf(second, 'kestrow-berth-3/tu.do', fromMs, toMs)
  expect(await second.stop()).toBe(0)

  const third = await start(f)
  await until(
    () => third.printed().includes('fleet: live'),
    60_000,
    () => third.printed(),
  )
  expect(third.printed()).not.toMatch(/filled|loaded/)
  expect((await health(third)).fill).toBeNull()
  expect(await rowsOf(third, 'kestrow-berth-3/tu.do', fromMs, toMs)).toBe(stored)
  expect(await third.stop()).toBe(0)
}, 2_000_000)
