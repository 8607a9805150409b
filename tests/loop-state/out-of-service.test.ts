import { afterEach, expect, test } from 'vitest'
import { MIN, openStage, SITE, type Stage } from './stage.ts'

const open: Stage[] = []
afterEach(async () => {
  for (const s of open.splice(0)) await s.close()
})

test('an alarm taken out of service stands in the due list at once and on the health page from its date of review, and leaves both when it is back', async () => {
  const s = await openStage()
  open.push(s)
  await s.minutes(2)
  const { port } = s.core()
  const lines = async () => ((await port.due(SITE))?.items ?? []).filter((d) => d.id === 'out-of-service tu.do.low')
  expect(await lines()).toEqual([])
  const { id } = s.alarm('tu.do.low').def
  const reviewMs = s.clock.nowMs() + 30 * MIN
  const taken = await port.outOfService(id, { reason: 'probe broken', measure: 'kit every morning', reviewMs }, 'Ines', s.alarm('tu.do.low').version)
  expect(taken).toMatchObject({ ok: true })
  expect(await lines()).toMatchObject([{ dueMs: reviewMs, kind: 'review', stage: 'tu' }])
  const nags = () => port.troubles().filter((t) => t.includes('Out of service beyond'))
  expect(nags()).toEqual([])
  await s.minutes(31)
  expect(nags()).toEqual([expect.stringContaining(s.alarm('tu.do.low').def.what)])
  expect(await lines()).toHaveLength(1)
  await port.inService(id, 'Ines', s.alarm('tu.do.low').version)
  expect(nags()).toEqual([])
  expect(await lines()).toEqual([])
})
