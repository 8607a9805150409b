import fc from 'fast-check'
import { expect, test } from 'vitest'
import type { LogEntry } from '../../gateway/log/entry.ts'
import { counterSettings, replacementsOf } from '../../gateway/process/counter-defaults.ts'
import { counted, increments, sum, type CounterSettings } from '../../gateway/process/counters.ts'

// No published rule covers a whole series; the arithmetic of wrapping registers is that of unsigned integers (RFC 2578 section 7.1.6:
// a Counter32 reaches 2^32 - 1 and starts again at zero; it has no defined start, so only differences mean anything).
const H = 3_600_000
const signal = { id: 'blower.hours', at: 'blower', stage: 'tu', quantity: 'hours', unit: 'h' } as const
const usual = (replacedMs: readonly number[] = []): CounterSettings => {
  const s = counterSettings(signal, replacedMs)
  if (!s) throw new Error('hours are a counter')
  return s
}
const points = (...p: readonly (readonly [h: number, value: number])[]) => p.map(([h, value]) => ({ atMs: h * H, value }))

test('RFC 2578 7.1.6 a 32 bit counter that passes 4294967295 starts again at zero, and the difference is taken over the top', () => {
  const s = counterSettings({ quantity: 'pulses', unit: '{count}' }, [])
  expect(s && increments(points([0, 4_294_967_290], [1, 10]), s)).toEqual([{ fromMs: 0, atMs: H, by: 16, how: 'rollover', jump: -4_294_967_280 }])
})

test('each step of a life is told for what it is: rise, over the top, set back, replaced, typed in', () => {
  const all = increments(points([0, 9998], [1, 9999], [2, 0], [3, 1], [9, 0.5], [10, 1.5], [11, 700], [20, 0], [21, 1]), usual([19 * H]))
  expect(all.map((i) => [i.how, Number(i.by.toFixed(6))])).toEqual([
    ['rise', 1],
    ['rollover', 1],
    ['rise', 1],
    ['reset', 0.5],
    ['rise', 1],
    ['step', 0],
    ['replacement', 0],
    ['rise', 1],
  ])
  expect(sum(all)).toMatchObject({ atLeast: true, rollovers: 1, resets: 1, replacements: 1, steps: [{ by: 698.5 }] })
})

test('without a top in the site file the nearest that explains the fall is taken, and a fall that none explains is a reset', () => {
  expect(counted(points([0, 65_530], [10, 4]), { ...usual(), mostPerH: 60 })).toMatchObject({ rollovers: 1, total: 10 })
  expect(counted(points([0, 99_999.5], [1, 0.3]), usual())).toMatchObject({ rollovers: 1, resets: 0 })
  expect(counted(points([0, 50_000], [1, 0.3]), usual())).toMatchObject({ rollovers: 0, resets: 1, atLeast: true })
})

test('whatever befalls a counter, what is counted is never more than a machine can do in the time', () => {
  fc.assert(
    fc.property(fc.array(fc.tuple(fc.integer({ min: 1, max: 48 }), fc.integer({ min: 0, max: 120_000 })), { minLength: 2, maxLength: 40 }), (pieces) => {
      let atH = 0
      const all = pieces.map(([later, value]) => ({ atMs: (atH += later) * H, value }))
      const s = usual()
      const lasted = ((all.at(-1)?.atMs ?? 0) - (all[0]?.atMs ?? 0)) / H
      return counted(all, s).total <= lasted + s.slack * all.length + 1e-6
    }),
  )
})

const entry = (id: number, more: Partial<LogEntry>): LogEntry => ({ id, site: 'ostrand', kind: 'replacement', atMs: id * H, by: 'Ruth A.', recordedMs: id * H, ...more })

test('a replacement in the site log re-bases the counters it is about, and one that was corrected does not', () => {
  const log = [
    entry(1, { about: 'blower' }),
    entry(2, { about: 'blower.hours' }),
    entry(3, { item: 'controller' }),
    entry(4, { about: 'transfer' }),
    entry(5, { item: 'paper roll' }),
    entry(6, { about: 'blower' }),
    entry(7, { kind: 'note', text: 'the entry before belongs to another yard', corrects: 6 }),
    entry(8, { kind: 'refill', about: 'blower' }),
    entry(9, { about: 'tu', item: 'blower' }),
    entry(10, { about: 'tu', item: 'probe' }),
  ]
  expect(replacementsOf(log, signal)).toEqual([H, 2 * H, 3 * H, 9 * H])
  expect(counted(points([0, 4000], [0.5, 4000.5], [1.5, 0], [2.5, 1]), usual(replacementsOf(log, signal)))).toMatchObject({ total: 0.5, replacements: 2, resets: 0 })
})
