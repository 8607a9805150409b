import { expect, onTestFinished, test } from 'vitest'
import { openEmbedded } from '../../gateway/history/embedded.ts'
import { makeFolder, startProduct, threeSignals, until } from '../product.ts'
import { reading } from '../history.contract.ts'

const DAY = 86_400_000

test('the running product forgets what --keep-days says, shows how much, and its trend begins after it', async () => {
  const folder = makeFolder({ 'yard-1.yaml': threeSignals })
  onTestFinished(() => folder.remove())
  const now = Math.floor(Date.now() / DAY) * DAY
  const store = openEmbedded({ dir: folder.data, clock: { nowMs: () => Date.now(), steadyMs: () => performance.now() } })
  store.commit(Array.from({ length: 90 }, (_, i) => reading('yard-1/tu.do', now - i * DAY, 6)))
  await store.close()
  const product = await startProduct(folder, ['--fleet', 'none', '--keep-days', '40'])
  onTestFinished(() => product.kill())
  const counter = async (name: string): Promise<number | undefined> =>
    ((await (await product.api('/api/health')).json()) as { counters: { name: string; value: number }[] }).counters.find((c) => c.name === name)?.value
  await until(
    async () => (await counter('historyForgotten')) === 49,
    30_000,
    () => 'nothing was forgotten',
  )
  const trend = (await (await product.api(`/api/history/yard-1/tu.do?from=${now - 100 * DAY}&to=${now + 1}&points=1`)).json()) as { extent: { firstMs: number }; count: number[] }
  expect([trend.extent.firstMs, trend.count[0]]).toEqual([now - 40 * DAY, 41])
  expect(await product.stop()).toBe(0)
})
