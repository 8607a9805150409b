/**
 * Planted mistakes: each changed comparison must be found by the vectors named beside it, in both forms. What the published vectors do
 * not hold, equality in the attenuated test and a real gap, stands in qartod-live.test.ts.
 */
import { afterEach, expect, test, vi } from 'vitest'
import { differences, VECTORS, type Vector } from './qartod-cases.ts'
import { bySeries, byStream, type Forms } from './qartod-forms.ts'

const COMPARE = '../../gateway/intake/qartod-compare.ts'
type Compare = typeof import('../../gateway/intake/qartod-compare.ts')

afterEach(() => {
  vi.doUnmock(COMPARE)
  vi.resetModules()
})

/** The forms with some comparisons replaced. */
async function changed(over: Partial<Compare>): Promise<Forms> {
  vi.resetModules()
  vi.doMock(COMPARE, async (original) => ({ ...(await original<Compare>()), ...over }))
  return {
    series: await import('../../gateway/intake/qartod-series.ts'),
    stream: await import('../../gateway/intake/qartod-stream.ts'),
    words: await import('../../gateway/intake/qartod.ts'),
  }
}

const found = (ask: (v: Vector) => ReturnType<typeof bySeries>, vectors: readonly Vector[]): readonly string[] =>
  vectors.flatMap((v) => differences(ask(v), v.expected).map((d) => `${v.id} ${d}`))

test('nothing replaced, nothing found', async () => {
  const f = await changed({})
  expect(found((v) => bySeries(f, v), VECTORS)).toEqual([])
})

test.each<[string, Partial<Compare>, readonly string[]]>([
  ['`>=` for `>` in spike and rate', { above: (x, limit) => x >= limit }, ['SP-7 4: 4 for 3', 'SP-7 1: 3 for 1', 'RC-5 3: 4 for 3', 'RC-5 1: 3 for 1', 'SD-1 5: 3 for 1']],
  ['`>` without forgiveness for rounding', { above: (x, limit) => x > limit }, ['RC-2 8: 4 for 3']],
  ['`<` for `>`', { above: (x, limit) => x < limit }, ['SP-1 2: 1 for 4', 'RC-4 1: 1 for 3', 'FL-3 3: 1 for 3']],
  ['never below', { below: () => false }, ['AT-6 0: 1 for 4', 'AT-8 3: 1 for 3']],
  ['`<=` for `<` in gross range', { outside: (x, [low, high]) => x <= low || x >= high }, ['GR-1 1: 4 for 3', 'GR-3 3: 3 for 1', 'GR-4 1: 4 for 3', 'DO-1 4: 4 for 3']],
  ['gross range blind above', { outside: (x, [low]) => x < low }, ['GR-1 9: 1 for 4', 'GR-4 8: 1 for 4']],
  ['gaps one step too early', { longer: (ms, limitMs) => ms >= limitMs }, ['RC-3 6: 2 for 1']],
])('planted: %s', async (_what, over, expected) => {
  const f = await changed(over)
  const inSeries = found((v) => bySeries(f, v), VECTORS)
  expect(inSeries).toEqual(expect.arrayContaining([...expected]))
  const inLive = found(
    (v) => byStream(f, v),
    VECTORS.filter((v) => v.test !== 'aggregate' && !v.whole),
  )
  expect(inLive).toEqual(expect.arrayContaining([...expected]))
})
